import { v7 as uuidv7 } from 'uuid'
import { type Db, dateOf, dayOrNull } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { nameKey } from '../../domain/searching.ts'
import type { Created } from '../../http/creating.ts'
import { etagOf } from '../../http/editing.ts'
import type { Act } from '../../http/service.ts'
import { keepBefore } from '../edits.ts'
import { lookAgain, lookAgainAtFallen } from '../notices/look-again.ts'
import { type Means, type NewContact, searchValue } from './contacts.ts'
import { likelyDouble, likelyDoubles } from './doubles.ts'

export type NewChoice = {
  kind: 'complete-service' | 'water-check' | 'cell-change'
  choice: 'yes' | 'no' | 'not-asked'
  on?: Day | undefined
  means: string
  wording: string
}
export type NewOwner = {
  name: string
  formOfAddress?: string | undefined
  language: string
  isFirm?: boolean | undefined
  standing?: 'normal' | 'business-account' | 'do-not-serve' | 'in-dispute' | undefined
  taxNumber?: string | null | undefined
  paymentDays?: number | null | undefined
  discountClass?: string | null | undefined
  contacts: NewContact[]
  noticeChoices?: NewChoice[] | undefined
}

const businessFields = ['taxNumber', 'paymentDays', 'discountClass'] as const

/** Tax number, terms of payment and discount class are of a firm or a business on account. */
function refuseOfAPerson(owner: Partial<NewOwner>, business: boolean, pointer: string): void {
  const wrong = business ? [] : businessFields.filter((field) => (owner[field] ?? null) !== null)
  if (wrong.length > 0)
    throw faulty(
      ...wrong.map((field) => [`${pointer}/${field}`, 'is kept of a firm or a business account only'] as const),
    )
}

/** Writes any number of new owners with their contacts and choices; ids in the order given. */
export async function addOwners(
  { tx, today, who }: Act,
  owners: readonly NewOwner[],
  country: string,
  pointer = (index: number) => `/${index}`,
): Promise<string[]> {
  for (const [index, owner] of owners.entries())
    refuseOfAPerson(owner, owner.isFirm === true || owner.standing === 'business-account', pointer(index))
  const ids = owners.map(() => uuidv7())
  const idOf = (index: number) => ids[index] ?? ''
  // one statement a table, whatever the number of rows: the ORM compiles a createMany anew for every number of them
  const rows = owners.map((owner, index) => ({
    id: idOf(index),
    name: owner.name,
    form_of_address: owner.formOfAddress ?? null,
    language: owner.language,
    is_firm: owner.isFirm ?? false,
    standing: owner.standing ?? 'normal',
    search_name: nameKey(owner.name),
    tax_number: owner.taxNumber ?? null,
    payment_days: owner.paymentDays ?? null,
    discount_class: owner.discountClass ?? null,
  }))
  await tx.$executeRaw`
    insert into owner (id, name, form_of_address, language, is_firm, standing, search_name, tax_number, payment_days, discount_class, created_by)
    select id, name, form_of_address, language, is_firm, standing, search_name, tax_number, payment_days, discount_class, ${who.name}
    from jsonb_to_recordset(${JSON.stringify(rows)}::jsonb) as r (id uuid, name text, form_of_address text, language text, is_firm boolean,
      standing text, search_name text, tax_number text, payment_days int, discount_class text)`
  const contacts = owners.flatMap((owner, index) =>
    owner.contacts.map((contact, at) => ({
      id: uuidv7(),
      owner_id: idOf(index),
      means: contact.means,
      value: contact.value,
      search_value: searchValue(contact, country, `${pointer(index)}/contacts/${at}/value`),
      preferred_for: contact.preferredFor ?? [],
      tested_on: contact.testedOn ?? null,
    })),
  )
  if (contacts.length > 0)
    await tx.$executeRaw`
      insert into contact (id, owner_id, means, value, search_value, preferred_for, tested_on, created_by)
      select id, owner_id, means, value, search_value, preferred_for, tested_on, ${who.name}
      from jsonb_to_recordset(${JSON.stringify(contacts)}::jsonb) as r (id uuid, owner_id uuid, means text, value text, search_value text,
        preferred_for text[], tested_on date)`
  const choices = owners.flatMap((owner, index) =>
    (owner.noticeChoices ?? []).map(({ on, ...choice }) => ({
      id: uuidv7(),
      owner_id: idOf(index),
      chosen_on: on ?? today,
      ...choice,
    })),
  )
  if (choices.length > 0)
    await tx.$executeRaw`
      insert into notice_choice (id, owner_id, kind, choice, chosen_on, means, wording, recorded_by)
      select id, owner_id, kind, choice, chosen_on, means, wording, ${who.name}
      from jsonb_to_recordset(${JSON.stringify(choices)}::jsonb) as r (id uuid, owner_id uuid, kind text, choice text, chosen_on date,
        means text, wording text)`
  return ids
}

/** A new owner; a likely double (whoever shares a means of contact, or the full name) is offered, not silently made. */
export async function addOwner(
  act: Act,
  input: NewOwner & { confirmedNew?: boolean | undefined },
  country: string,
): Promise<Created> {
  const { confirmedNew, ...owner } = input
  if (!confirmedNew) {
    const doubles = await likelyDoubles(act.tx, owner, country)
    if (doubles.length > 0) throw likelyDouble('an owner', doubles)
  }
  const [id] = await addOwners(act, [owner], country, () => '')
  return { location: `/v1/owners/${id}`, etag: etagOf(1), body: await getOwner(act.tx, id ?? '') }
}

export async function getOwner(db: Db, id: string) {
  const row = await db.owner.findUnique({ where: { id } })
  if (!row) throw new Refusal('not-found', { what: 'owner', id })
  const [contacts, choices, watches] = await Promise.all([
    db.contact.findMany({ where: { ownerId: id, endedOn: null }, orderBy: { id: 'asc' } }),
    db.noticeChoice.findMany({ where: { ownerId: id }, orderBy: { id: 'asc' } }),
    db.watch.findMany({ where: { ownerId: id }, orderBy: { id: 'asc' }, select: { id: true } }),
  ])
  const latest = new Map(choices.map((choice) => [choice.kind, choice]))
  return {
    id: row.id,
    version: row.version,
    name: row.name,
    formOfAddress: row.formOfAddress,
    language: row.language,
    isFirm: row.isFirm,
    standing: row.standing,
    taxNumber: row.taxNumber,
    paymentDays: row.paymentDays,
    discountClass: row.discountClass,
    deceasedOn: dayOrNull(row.deceasedOn),
    deceasedToldBy: row.deceasedToldBy,
    erasedOn: dayOrNull(row.erasedOn),
    mergedInto: row.mergedInto,
    contacts: contacts.map((contact) => ({
      id: contact.id,
      means: contact.means,
      value: contact.value,
      preferredFor: contact.preferredFor,
      testedOn: dayOrNull(contact.testedOn),
      failedOn: dayOrNull(contact.failedOn),
      failedWhy: contact.failedWhy,
    })),
    noticeChoices: [...latest.values()].map((choice) => ({
      kind: choice.kind,
      choice: choice.choice,
      on: dayOrNull(choice.chosenOn) ?? '',
      means: choice.means,
      wording: choice.wording,
    })),
    watchIds: watches.map((watch) => watch.id),
    createdAt: row.createdAt.toISOString(),
  }
}

export type OwnerEdit = Partial<
  Pick<NewOwner, 'name' | 'formOfAddress' | 'language' | 'isFirm' | 'standing' | (typeof businessFields)[number]>
> & {
  reason?: string | undefined
}

export async function editOwner(act: Act, id: string, expected: (version: number) => void, input: OwnerEdit) {
  const { tx } = act
  const before = await lockOwner(tx, id)
  expected(before.version)
  await keepBefore(act, 'owner', before, input.reason)
  const { reason: _, ...edit } = input
  const business = (edit.isFirm ?? before.isFirm) || (edit.standing ?? before.standing) === 'business-account'
  refuseOfAPerson(edit, business, '')
  await tx.owner.update({
    where: { id },
    data: {
      ...definedOf(edit),
      ...(edit.name !== undefined && { searchName: nameKey(edit.name) }),
      version: { increment: 1 },
    },
  })
  await wakeNotices(tx, [id], act.today)
  return getOwner(tx, id)
}

const definedOf = <T extends object>(value: T) =>
  Object.fromEntries(Object.entries(value).filter(([, part]) => part !== undefined)) as {
    [K in keyof T]: Exclude<T[K], undefined>
  }

async function lockOwner(tx: Db, id: string) {
  await tx.$queryRaw`select 1 from owner where id = ${id}::uuid for update`
  const row = await tx.owner.findUnique({ where: { id } })
  if (!row) throw new Refusal('not-found', { what: 'owner', id })
  if (row.erasedOn) throw new Refusal('owner-erased')
  return row
}

export async function addContact(act: Act, ownerId: string, input: NewContact, country: string): Promise<Created> {
  const { tx, who, today } = act
  await lockOwner(tx, ownerId)
  const row = await tx.contact.create({
    data: {
      ownerId,
      means: input.means,
      value: input.value,
      searchValue: searchValue(input, country, '/value'),
      preferredFor: input.preferredFor ?? [],
      testedOn: input.testedOn ? dateOf(input.testedOn) : null,
      createdBy: who.name,
    },
  })
  await wakeNotices(tx, [ownerId], today)
  return { location: `/v1/owners/${ownerId}`, body: { id: row.id, owner: await getOwner(tx, ownerId) } }
}

export type ContactEdit = {
  testedOn?: Day | undefined
  failedOn?: Day | undefined
  why?: string | undefined
  preferredFor?: string[] | undefined
}

/** What became of a means of contact: it was tried and worked, or failed. The last word counts. */
export async function editContact(
  act: Act,
  ownerId: string,
  contactId: string,
  expected: (version: number) => void,
  input: ContactEdit,
) {
  const { tx } = act
  const owner = await lockOwner(tx, ownerId)
  expected(owner.version)
  if (input.testedOn !== undefined && input.failedOn !== undefined)
    throw faulty(['/failedOn', 'contradicts /testedOn: say which came last'])
  if (input.why !== undefined && input.failedOn === undefined) throw faulty(['/why', 'belongs to /failedOn'])
  await setContact(act, owner, contactId, input)
  return getOwner(tx, ownerId)
}

async function setContact(act: Act, owner: { id: string; version: number }, contactId: string, input: ContactEdit) {
  const { tx, today } = act
  for (const key of ['testedOn', 'failedOn'] as const)
    if ((input[key] ?? today) > today)
      throw new Refusal('fact-in-future', { what: 'A test of a contact', today }, [
        { pointer: `/${key}`, detail: `lies after today, ${today}` },
      ])
  const before = await tx.contact.findFirst({ where: { id: contactId, ownerId: owner.id, endedOn: null } })
  if (!before) throw new Refusal('not-found', { what: 'contact of this owner', id: contactId })
  await keepBefore(act, 'contact', { ...before, version: owner.version }, input.why)
  await tx.contact.update({
    where: { id: contactId },
    data: {
      ...(input.testedOn !== undefined && { testedOn: dateOf(input.testedOn), failedOn: null, failedWhy: null }),
      ...(input.failedOn !== undefined && { failedOn: dateOf(input.failedOn), failedWhy: input.why ?? null }),
      ...(input.preferredFor !== undefined && { preferredFor: input.preferredFor }),
    },
  })
  await tx.owner.update({ where: { id: owner.id }, data: { version: { increment: 1 } } })
  await wakeNotices(tx, [owner.id], today)
}

/** Which contact a test was of: the one that is named, or the only one of its means. @throws faulty-input for any other */
export async function contactTested(db: Db, ownerId: string, means: Means, named: string | undefined): Promise<string> {
  const held = await db.contact.findMany({ where: { ownerId, means, endedOn: null }, select: { id: true } })
  const found = named === undefined && held.length === 1 ? held[0] : held.find((contact) => contact.id === named)
  if (found) return found.id
  if (named !== undefined) throw faulty(['/contact', `is no ${means} contact of this owner`])
  if (held.length === 0) throw faulty(['/means', `has no contact on file; put it on file first`])
  throw faulty(['/contact', `is missing: the owner has ${held.length} of ${means}; say which was tested`])
}

/** A contact was tried out: from a failure on it counts as failed until it is seen to work. */
export async function recordTest(act: Act, ownerId: string, contactId: string, worked: boolean, why?: string) {
  const owner = await lockOwner(act.tx, ownerId)
  const { today } = act
  await setContact(
    act,
    owner,
    contactId,
    worked ? { testedOn: today } : { failedOn: today, why: why ?? 'a test of it failed' },
  )
}

/** A means of contact that no longer holds; it stays on file as ended. */
export async function endContact({ tx, today }: Act, ownerId: string, contactId: string) {
  const { count } = await tx.contact.updateMany({
    where: { id: contactId, ownerId, endedOn: null },
    data: { endedOn: dateOf(today) },
  })
  if (count === 0) throw new Refusal('not-found', { what: 'contact of this owner', id: contactId })
  return getOwner(tx, ownerId)
}

export async function recordChoice(act: Act, ownerId: string, input: NewChoice): Promise<Created> {
  const { tx, today, who } = act
  await lockOwner(tx, ownerId)
  if (input.on && input.on > today)
    throw new Refusal('fact-in-future', { what: 'A choice', today }, [
      { pointer: '/on', detail: `lies after today, ${today}` },
    ])
  const { on, ...choice } = input
  await tx.noticeChoice.create({ data: { ...choice, ownerId, chosenOn: dateOf(on ?? today), recordedBy: who.name } })
  await wakeNotices(tx, [ownerId], today)
  return { location: `/v1/owners/${ownerId}`, body: await getOwner(tx, ownerId) }
}

/** All letters stop on the day this is told, those already queued too; in the same transaction. */
export async function markDeceased(
  act: Act,
  ownerId: string,
  input: { on?: Day | undefined; toldBy: string },
): Promise<Created> {
  const { tx, today } = act
  const before = await lockOwner(tx, ownerId)
  const on = input.on ?? today
  if (on > today)
    throw new Refusal('fact-in-future', { what: 'This day', today }, [
      { pointer: '/on', detail: `lies after today, ${today}` },
    ])
  await keepBefore(act, 'owner', before, `deceased, told by ${input.toldBy}`)
  await tx.owner.update({
    where: { id: ownerId },
    data: { deceasedOn: dateOf(on), deceasedToldBy: input.toldBy, version: { increment: 1 } },
  })
  await withdrawQueued(act, ownerId, 'owner deceased', { ready: 'withdrawn' })
  return { location: `/v1/owners/${ownerId}`, body: await getOwner(tx, ownerId) }
}

/**
 * Letters to an owner that have not gone do not go; what else stood in them is written about again. A letter that a watch
 * is ready stays, unless nobody may be written to at all: the last look asks its ticket.
 */
export async function withdrawQueued(
  { tx, today, who }: Pick<Act, 'tx' | 'today' | 'who'>,
  ownerId: string,
  why: string,
  { recalls = 'withdrawn', ready = 'stay' }: { recalls?: 'withdrawn' | 'stay'; ready?: 'withdrawn' | 'stay' } = {},
): Promise<void> {
  const gone = await tx.$queryRaw<{ id: string }[]>`
    with gone as (
      update notice set state = 'withdrawn', withdrawn_by = ${who.name}, withdrawn_why = ${why}
      where owner_id = ${ownerId}::uuid and state in ('queued', 'held', 'claimed')
        and (${recalls} = 'withdrawn' or plan -> 'recall' is null) and (${ready} = 'withdrawn' or plan -> 'ready' is null) returning id),
    freed as (update notice_item set key_taken = false from gone where notice_item.notice_id = gone.id)
    select id from gone`
  await lookAgainAtFallen(
    tx,
    today,
    gone.map((notice) => notice.id),
  )
}

/** One record of the same person is kept and the other points to it; both keep their numbers, so it can be undone. */
export async function mergeOwners(act: Act, id: string, into: string): Promise<Created> {
  const { tx, today } = act
  if (id === into) throw new Refusal('merge-impossible', { why: 'they are the same record' })
  // in id order, so that two merges the other way round cannot wait for each other
  for (const one of [id, into].sort()) await lockOwner(tx, one)
  const [merged, kept] = await Promise.all([
    tx.owner.findUniqueOrThrow({ where: { id } }),
    tx.owner.findUniqueOrThrow({ where: { id: into } }),
  ])
  if (merged.mergedInto) throw new Refusal('owner-merged', { into: merged.mergedInto })
  if (kept.mergedInto) throw new Refusal('owner-merged', { into: kept.mergedInto })
  const carries = await tx.owner.count({ where: { mergedInto: id } })
  if (carries > 0)
    throw new Refusal('merge-impossible', {
      why: 'others were merged into the first; merge those into the second themselves',
    })
  await keepBefore(act, 'owner', merged, `merged into ${into}`)
  await tx.owner.update({ where: { id }, data: { mergedInto: into, version: { increment: 1 } } })
  await withdrawQueued(act, id, 'owner merged')
  await wakeNotices(tx, [id, into], today)
  return { status: 200, body: await getOwner(tx, id) }
}

export async function unmergeOwner(act: Act, id: string): Promise<Created> {
  const { tx, today } = act
  const row = await lockOwner(tx, id)
  if (!row.mergedInto) throw new Refusal('merge-impossible', { why: 'this record is not merged' })
  await keepBefore(act, 'owner', row, 'unmerged')
  await tx.owner.update({ where: { id }, data: { mergedInto: null, version: { increment: 1 } } })
  await wakeNotices(tx, [id, row.mergedInto], today)
  return { status: 200, body: await getOwner(tx, id) }
}

/** A fact about the person may have ended a reason that held letters back: their watches are looked at in the next nightly run. */
export async function wakeNotices(tx: Db, ownerIds: readonly string[], today: Day): Promise<void> {
  await lookAgain(tx, today, { owners: ownerIds })
}
