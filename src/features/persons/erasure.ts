import { rm } from 'node:fs/promises'
import path from 'node:path'
import { type Db, dateOf, dayFrom, dayOrNull } from '../../db/open.ts'
import { addMonths, type Day } from '../../domain/day.ts'
import { Refusal } from '../../domain/refusals.ts'
import type { Created } from '../../http/creating.ts'
import type { Act, Service } from '../../http/service.ts'
import { linkSecret } from '../../letters/links.ts'
import { withdrawQueued } from '../owners/owners.ts'
import { ERASED, forgetInRecords } from './forgetting.ts'
import { openWith } from './open-things.ts'
import { suppress } from './suppression.ts'

/** The person is told this with the answer: it cannot be mended afterwards. */
const CONSEQUENCE =
  'Letters, and warnings such as the recall of a cell lot, can no longer reach this person. The technical life of the watches, the lots, and the money records that tax law demands stay, without the name. A guarantee that still runs stays with the watch.'

/** What an erasure needs besides the database: the secret of the marks, the folder of letters as files, the house's currency. */
export type Keeper = { secret: string; lettersFolder: string; currency: string }
export const keeperOf = ({ config }: Pick<Service, 'config'>): Keeper => ({
  secret: linkSecret(config.linkSecret, config.dataFolder),
  lettersFolder: config.letters.folder,
  currency: config.centre.currency,
})

type Group = { root: string; ids: string[] }

/** The record and all that were merged with it are one person, and are forgotten together. */
async function lockGroup(tx: Db, ownerId: string): Promise<Group> {
  const rows = await tx.$queryRaw<{ id: string; merged_into: string | null; erased_on: Date | null }[]>`
    select o.id, o.merged_into, o.erased_on
    from owner o, (select coalesce(merged_into, id) as root from owner where id = ${ownerId}::uuid) as kept
    where o.id = root or o.merged_into = root order by o.id for update of o`
  const root = rows.find((row) => row.merged_into === null)
  if (!root) throw new Refusal('not-found', { what: 'owner', id: ownerId })
  if (root.erased_on) throw new Refusal('owner-erased')
  return { root: root.id, ids: rows.map((row) => row.id) }
}

/**
 * Forgets a person, or notes that they asked while something is still open: then no letter goes any more and the hourly
 * housekeeping forgets them when it is closed.
 */
export async function askErasure(
  act: Act,
  ownerId: string,
  input: { askedOn?: Day | undefined; how: string },
  keeper: Keeper,
): Promise<Created> {
  const { tx, today, who } = act
  const askedOn = input.askedOn ?? today
  if (askedOn > today)
    throw new Refusal('fact-in-future', { what: 'The day it was asked', today }, [
      { pointer: '/askedOn', detail: `lies after today, ${today}` },
    ])
  const group = await lockGroup(tx, ownerId)
  const before = await tx.erasure.findUnique({ where: { ownerId: group.root } })
  if (before) throw new Refusal('erasure-postponed', { because: before.because })
  // GDPR Article 12(3): within one month of the request, by the calendar
  const answerBy = addMonths(askedOn, 1)
  const because = await openWith(act, group.ids, keeper.currency)
  const row = await tx.erasure.create({
    data: {
      ownerId: group.root,
      askedOn: dateOf(askedOn),
      answerBy: dateOf(answerBy),
      how: input.how,
      state: 'postponed',
      because,
      recordedBy: who.name,
    },
  })
  const words =
    because.length === 0
      ? `Answer the person who asked to be forgotten: it was done on ${today}. ${CONSEQUENCE}`
      : `Answer the person who asked to be forgotten: it waits, because ${because.join('; ')}. It is done by itself when that is closed.`
  await tx.task.create({
    data: {
      kind: 'erasure-answer',
      role: 'manager',
      dedupe: `erasure-answer/${row.id}`,
      ownerId: group.root,
      words,
      dueOn: dateOf(answerBy),
    },
  })
  for (const id of group.ids) await withdrawQueued(act, id, 'owner asked to be forgotten', { ready: 'withdrawn' })
  if (because.length === 0) await carryOut(act, row.id, group, keeper)
  else
    for (const id of group.ids)
      for (const kind of ['complete-service', 'water-check', 'cell-change'])
        await tx.noticeChoice.create({
          data: {
            ownerId: id,
            kind,
            choice: 'no',
            chosenOn: dateOf(today),
            means: 'asked to be forgotten',
            wording: 'none',
            recordedBy: who.name,
          },
        })
  return { location: `/v1/erasures/${row.id}`, body: await getErasure(tx, row.id) }
}

/** All erasures that wait for something to be closed, the first asked for first. */
export async function postponedErasures(db: Db): Promise<string[]> {
  const rows = await db.$queryRaw<{ id: string }[]>`
    select id from erasure where state = 'postponed' order by asked_on, id`
  return rows.map((row) => row.id)
}

/** Carries out what was postponed if nothing is open any more; true when the person was forgotten now. */
export async function carryOutPostponed(act: Act, id: string, keeper: Keeper): Promise<boolean> {
  const { tx } = act
  const [waiting] = await tx.$queryRaw<{ owner_id: string }[]>`
    select owner_id from erasure where id = ${id}::uuid and state = 'postponed' for update skip locked`
  if (!waiting) return false
  const group = await lockGroup(tx, waiting.owner_id).catch((error) => {
    if (error instanceof Refusal && error.code === 'owner-erased') return null
    throw error
  })
  if (group === null) {
    // asked for under two records that were found to be one person: forgotten with the other
    await tx.$executeRaw`update erasure set state = 'done', done_on = ${act.today}::date, because = '{}' where id = ${id}::uuid`
    return false
  }
  const because = await openWith(act, group.ids, keeper.currency)
  if (because.length > 0) {
    await tx.$executeRaw`update erasure set because = ${because} where id = ${id}::uuid and because <> ${because}`
    return false
  }
  await carryOut(act, id, group, keeper)
  return true
}

async function carryOut(act: Act, erasureId: string, group: Group, keeper: Keeper): Promise<void> {
  const { tx, today, who } = act
  const { ids } = group
  const contacts = await tx.contact.findMany({
    where: { ownerId: { in: ids } },
    select: { id: true, means: true, searchValue: true },
  })
  await suppress(tx, keeper.secret, contacts, today)
  const known = await tx.$queryRaw<{ name: string | null }[]>`
    select name from owner where id = any(${ids}::uuid[])
    union select before ->> 'name' from edit where record = 'owner' and record_id = any(${ids}::uuid[])`
  const names = known.map((row) => row.name).filter((name) => name !== null)
  const contactIds = contacts.map((contact) => contact.id)
  await tx.$executeRaw`
    update contact set value = ${ERASED}, search_value = ${ERASED}, preferred_for = '{}', tested_on = null, failed_on = null, failed_why = null,
      ended_on = coalesce(ended_on, ${today}::date)
    where owner_id = any(${ids}::uuid[])`
  await tx.$executeRaw`
    update owner set name = ${ERASED}, form_of_address = null, search_name = '', deceased_told_by = null, tax_number = null, payment_days = null, discount_class = null, erased_on = ${today}::date, version = version + 1
    where id = any(${ids}::uuid[])`

  // the tables that are never rewritten let go of a person, and of nothing else
  await tx.$executeRaw`select set_config('mainplate.erasing', 'yes', true)`
  const emptied = {
    edit: await tx.$executeRaw`
      update edit set before = '{}', reason = null, personal_salt = null
      where personal_salt is not null and record in ('owner', 'contact') and record_id = any(${[...ids, ...contactIds]}::uuid[])`,
    notice_choice: await tx.$executeRaw`
      update notice_choice set means = ${ERASED}, personal_salt = null where personal_salt is not null and owner_id = any(${ids}::uuid[])`,
    // letters at their end; what is not at its end is emptied below, since it may still change
    notice: await tx.$executeRaw`
      update notice set held_why = case when held_why is not null then ${ERASED} end, withdrawn_why = case when withdrawn_why is not null then ${ERASED} end,
        response = case when response is not null then ${ERASED} end, last_error = case when last_error is not null then ${ERASED} end, personal_salt = null
      where owner_id = any(${ids}::uuid[]) and ended_at is not null and personal_salt is not null
        and num_nonnulls(held_why, withdrawn_why, response, last_error) > 0`,
    letter: await tx.$executeRaw`
      update letter set contents = null, personal_salt = null from notice
      where notice.id = letter.notice_id and notice.owner_id = any(${ids}::uuid[]) and letter.personal_salt is not null`,
    ...(await forgetInRecords(tx, ids, names)),
  }
  await tx.$executeRaw`select set_config('mainplate.erasing', '', true)`

  await tx.$executeRaw`
    update notice set held_why = null, response = null, last_error = null where owner_id = any(${ids}::uuid[]) and ended_at is null`
  await tx.$executeRaw`update owner_link set revoked_at = now(), revoked_by = ${who.name} where owner_id = any(${ids}::uuid[]) and revoked_at is null`
  await tx.$executeRaw`
    update task set words = ${ERASED}, done_at = coalesce(done_at, now()), done_by = coalesce(done_by, ${who.name}), done_how = coalesce(done_how, 'the person was forgotten')
    where owner_id = any(${ids}::uuid[]) and kind <> 'erasure-answer'`
  // answers kept for repetitions of a request hold what was written then: a repetition is told that it was erased
  await tx.$executeRaw`
    update idempotency_key set status = 410, body = null, headers = null
    where body is not null and body::text ~ ${ids.join('|')}`
  await tx.$executeRaw`
    update erasure set state = 'done', done_on = ${today}::date, because = '{}', emptied = ${JSON.stringify(emptied)}::jsonb where id = ${erasureId}::uuid`
  // before the commit: a crash may leave a person on file without these copies, but no copies of a forgotten person
  const notices = await tx.notice.findMany({ where: { ownerId: { in: ids } }, select: { id: true } })
  for (const { id } of notices) await rm(path.join(keeper.lettersFolder, `${id}.eml`), { force: true })
}

export async function getErasure(db: Db, id: string) {
  const row = await db.erasure.findUnique({ where: { id } })
  if (!row) throw new Refusal('not-found', { what: 'erasure', id })
  return erasureShown(row)
}

type ErasureRow = NonNullable<Awaited<ReturnType<Db['erasure']['findUnique']>>>
export const erasureShown = (row: ErasureRow) => ({
  id: row.id,
  ownerId: row.ownerId,
  askedOn: dayFrom(row.askedOn),
  answerBy: dayFrom(row.answerBy),
  how: row.how,
  state: row.state,
  because: row.because,
  doneOn: dayOrNull(row.doneOn),
  consequence: CONSEQUENCE,
})

/**
 * After a backup was restored: forgets anew those who were forgotten since it was made. The list holds ids and days only.
 * Open things do not postpone it: it was carried out once. Returns the ids that were forgotten now.
 */
export async function reapply(
  act: Act,
  erased: readonly { ownerId: string; askedOn: Day }[],
  keeper: Keeper,
): Promise<string[]> {
  const { tx, who } = act
  const done: string[] = []
  for (const { ownerId, askedOn } of erased) {
    const owner = await tx.owner.findUnique({ where: { id: ownerId } })
    if (!owner || owner.erasedOn) continue
    const group = await lockGroup(tx, ownerId)
    for (const id of group.ids) await withdrawQueued(act, id, 'owner was forgotten before', { ready: 'withdrawn' })
    const row = await tx.erasure.upsert({
      where: { ownerId: group.root },
      create: {
        ownerId: group.root,
        askedOn: dateOf(askedOn),
        answerBy: dateOf(addMonths(askedOn, 1)),
        how: 'applied again after a backup was restored',
        state: 'postponed',
        recordedBy: who.name,
      },
      update: {},
    })
    await carryOut(act, row.id, group, keeper)
    done.push(ownerId)
  }
  return done
}
