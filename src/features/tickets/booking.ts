import { v7 as uuidv7 } from 'uuid'
import type { Day } from '../../domain/day.ts'
import type { Money } from '../../domain/money.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { nextFor } from '../../domain/tickets/next.ts'
import { ticketNumber } from '../../domain/tickets/number.ts'
import { readSettings } from '../../domain/tickets/settings.ts'
import { type Look, lookKeys, mightBeTaken } from '../../domain/tickets/twins.ts'
import type { Created } from '../../http/creating.ts'
import { rewriteObligations } from '../obligations/rewrite.ts'
import { addOwners, likelyDoubles, type NewOwner } from '../owners/owners.ts'
import { addWatches, findBySerial, type NewWatch } from '../watches/watches.ts'
import { calendarOf, type Desk, readRef } from './desk.ts'

export type Booking = {
  owner: { id: string } | { new: NewOwner; confirmedNew?: boolean | undefined }
  watch: { id: string } | { new: Omit<NewWatch, 'ownerId'>; confirmedNew?: boolean | undefined }
  broughtBy?: string | undefined
  complaint: string
  returnWish?: string | undefined
  place: string
  dial?: string | undefined
  pictures?: { id: string; view: string }[] | undefined
  condition?: { marks: unknown[] | null; clasp: string; agreed?: string | null | undefined } | undefined
  looseItems?: { bag: string; words: string }[] | undefined
  declaredValue?: Money | null | undefined
  ceiling?: Money | undefined
  doNot?: string[] | undefined
  mayApprove?: string[] | undefined
  mayCollect?: string[] | undefined
  willCallIn?: boolean | undefined
  hazards?: { kind: string; note?: string | undefined; confirmedBy?: string | undefined }[] | undefined
  comebackOf?: string | undefined
  handingIn?: string | undefined
}

type Background = {
  serial: number
  owner: {
    id: string
    name: string
    standing: string
    deceased: boolean
    merged: string | null
    erased: boolean
  } | null
  watch: {
    id: string
    owner: string | null
    maker: string
    model: string | null
    metal: string | null
    diameter: number | null
    inside: string | null
    doNot: string[]
  } | null
  due: { kind: string; rule: string; dueOn: string; standing: string }[] | null
  warnings: string[] | null
  settings: Record<string, unknown> | null
  pictures: number
  earlier: { id: string; watch: string; ended: boolean } | null
}

/**
 * Books a watch in: in one act the owner and the watch (found or made), the ticket with everything said at the counter, the
 * watch's first place. Answers with what else is due on it and with the watches in the house it might be taken for.
 */
export async function bookIn(desk: Desk, input: Booking, country: string): Promise<Created> {
  const owner = 'id' in input.owner ? input.owner.id : await newOwner(desk, input.owner, country)
  const watch = 'id' in input.watch ? input.watch.id : await newWatch(desk, input.watch, owner)
  const background = await readBackground(desk, input, owner, watch)
  const made = ownerAndWatch(background, input)
  const look: Look = {
    maker: made.watch.maker,
    model: made.watch.model,
    metal: made.watch.metal,
    dial: input.dial ?? null,
    diameterMm: made.watch.diameter,
  }
  const id = uuidv7()
  const number = ticketNumber(background.serial)
  const settings = readSettings(background.settings ?? {}, desk.currency)
  const next = nextFor('booked-in', desk.today, calendarOf(settings))!
  await write(desk, { id, number, input, owner, watch, ownerName: made.owner.name, look, next, background })
  const twins = await twinsOf(desk, id, look)
  return {
    location: `/v1/tickets/${id}`,
    body: {
      id,
      number,
      step: 'booked-in',
      watchId: watch,
      ownerId: owner,
      nextActor: next.actor,
      nextBy: next.by,
      alsoDue: background.due ?? [],
      warnings: background.warnings ?? [],
      twins,
      doNot: [...new Set([...made.watch.doNot, ...(input.doNot ?? [])])],
    },
  }
}

async function newOwner(
  desk: Desk,
  owner: { new: NewOwner; confirmedNew?: boolean | undefined },
  country: string,
): Promise<string> {
  if (!owner.confirmedNew) {
    const candidates = await likelyDoubles(desk.tx, owner.new, country)
    if (candidates.length > 0) throw new Refusal('likely-double', { what: 'an owner', part: 'owner', candidates })
  }
  const [id] = await addOwners(desk, [owner.new], country, () => '/owner/new')
  return id!
}

async function newWatch(
  desk: Desk,
  watch: { new: Omit<NewWatch, 'ownerId'>; confirmedNew?: boolean | undefined },
  owner: string,
): Promise<string> {
  const { serial, maker, model } = watch.new
  const known = serial ? await findBySerial(desk.tx, maker, serial) : null
  if (known && !watch.new.knownDuplicate)
    throw new Refusal('likely-double', { what: 'a watch', part: 'watch', candidates: [known] })
  if (!watch.confirmedNew && !serial) {
    const alike = await desk.tx.watch.findMany({
      where: {
        ownerId: owner,
        maker: { equals: maker, mode: 'insensitive' },
        ...(model ? { model: { equals: model, mode: 'insensitive' } } : {}),
      },
      select: { id: true },
      take: 10,
    })
    if (alike.length > 0)
      throw new Refusal('likely-double', { what: 'a watch', part: 'watch', candidates: alike.map((row) => row.id) })
  }
  const [id] = await addWatches(desk, [{ ...watch.new, ownerId: owner }])
  await rewriteObligations(desk.tx, [id!], desk.today)
  return id!
}

/** What has to be known before anything is written, in one statement; the watch is locked, so it comes in once. */
async function readBackground(desk: Desk, input: Booking, owner: string, watch: string): Promise<Background> {
  const files = (input.pictures ?? []).map((picture) => picture.id)
  const earlier = input.comebackOf === undefined ? null : readRef(input.comebackOf)
  const rows = await desk.tx.$queryRaw<Background[]>`
    with locked as materialized (select * from watch where id = ${watch}::uuid for no key update)
    select nextval('ticket_serial')::int as serial,
      (select jsonb_build_object('id', o.id, 'name', o.name, 'standing', o.standing, 'deceased', o.deceased_on is not null, 'merged', o.merged_into,
        'erased', o.erased_on is not null) from owner o where o.id = ${owner}::uuid) as owner,
      (select jsonb_build_object('id', w.id, 'owner', w.owner_id, 'maker', w.maker, 'model', w.model, 'metal', w.case_material, 'diameter', w.diameter_mm,
        'doNot', w.do_not, 'inside', (select t.number from ticket t where t.watch_id = w.id and t.ended is null)) from locked w) as watch,
      (select jsonb_agg(jsonb_build_object('kind', o.kind, 'rule', o.rule, 'dueOn', o.due_on, 'standing',
          case when o.rule = 'unknown-base' then 'to-be-assessed' when o.overdue_from is not null and ${desk.today}::date >= o.stop_on then 'asked-enough'
            when ${desk.today}::date >= o.overdue_from then 'overdue' when ${desk.today}::date >= o.notices_due_on then 'due' else 'coming-up' end) order by o.due_on, o.kind)
        from obligation o where o.watch_id = ${watch}::uuid and o.rule is not null and o.coming_up_from <= ${desk.today}::date) as due,
      (select jsonb_agg(distinct x.w) from obligation o, unnest(o.warnings) as x (w) where o.watch_id = ${watch}::uuid) as warnings,
      (select jsonb_object_agg(key, value) from (select distinct on (key) key, value from house_rule
        where key in ('workingWeekdays', 'holidays') and from_day <= ${desk.today}::date order by key, from_day desc, id desc) s) as settings,
      (select count(*)::int from picture_file f where f.id = any(${files}::uuid[])) as pictures,
      (select jsonb_build_object('id', t.id, 'watch', t.watch_id, 'ended', t.ended is not null) from ticket t
        where t.id = ${earlier && 'id' in earlier ? earlier.id : null}::uuid or t.number = ${earlier && 'number' in earlier ? earlier.number : null}) as earlier`
  return rows[0]!
}

function ownerAndWatch(background: Background, input: Booking) {
  const { owner, watch, earlier } = background
  if (!owner) throw new Refusal('not-found', { what: 'owner', id: 'id' in input.owner ? input.owner.id : '' })
  if (!watch) throw new Refusal('not-found', { what: 'watch', id: 'id' in input.watch ? input.watch.id : '' })
  if (owner.merged !== null) throw new Refusal('owner-merged', { into: owner.merged })
  if (owner.erased) throw new Refusal('owner-erased')
  if (owner.standing === 'do-not-serve') throw new Refusal('owner-not-served')
  if (watch.inside !== null) throw new Refusal('watch-in-house', { number: watch.inside })
  if (watch.owner !== null && watch.owner !== owner.id) throw new Refusal('watch-of-another', { owner: watch.owner })
  const wanted = new Set((input.pictures ?? []).map((picture) => picture.id))
  if (background.pictures !== wanted.size || wanted.size !== (input.pictures ?? []).length) {
    throw faulty(['/pictures', 'names a picture that was not uploaded here, or one twice'])
  }
  if (input.comebackOf !== undefined) {
    if (!earlier) throw new Refusal('not-found', { what: 'ticket', id: input.comebackOf })
    if (earlier.watch !== watch.id) throw faulty(['/comebackOf', 'is the ticket of another watch'])
    if (!earlier.ended) throw faulty(['/comebackOf', 'is a ticket that has not ended'])
  }
  return { owner, watch }
}

type Writing = {
  id: string
  number: string
  input: Booking
  owner: string
  watch: string
  ownerName: string
  look: Look
  next: { actor: string; by: Day }
  background: Background
}

/** Ticket, records, first place, pictures, loose items and hazards, in one statement. */
async function write(desk: Desk, w: Writing): Promise<void> {
  const { input } = w
  const hazards = (input.hazards ?? []).map((hazard) => ({ id: uuidv7(), ...hazard }))
  const { marks: _, ...condition } = input.condition ?? { marks: null, clasp: 'there' }
  const records: { kind: string; data: object }[] = [
    {
      kind: 'booked',
      data: {
        complaint: input.complaint,
        hazards: hazards.map((hazard) => hazard.id),
        comebackOf: w.background.earlier?.id ?? null,
      },
    },
    {
      kind: 'people',
      data: { approve: input.mayApprove ?? [], collect: input.mayCollect ?? [], willCallIn: input.willCallIn ?? false },
    },
  ]
  if (input.condition) records.push({ kind: 'condition', data: { ...condition, marks: input.condition.marks } })
  if (input.declaredValue !== undefined) records.push({ kind: 'value', data: { value: input.declaredValue } })
  if (input.ceiling) records.push({ kind: 'ceiling', data: { amount: input.ceiling } })
  if (input.doNot && input.doNot.length > 0) records.push({ kind: 'do-not', data: { list: input.doNot } })
  const keys = lookKeys(w.look)
  const { now, today, who } = desk
  await desk.tx.$executeRaw`
    with made as (
      insert into ticket (id, number, watch_id, owner_id, handing_in, brought_by, complaint, return_wish, comeback_of, booked_on, next_actor, next_by, place, holder,
        declared_value, declared_currency, look_model, look_dial, dial, created_at, created_by)
      values (${w.id}::uuid, ${w.number}, ${w.watch}::uuid, ${w.owner}::uuid, ${input.handingIn ?? null}::uuid, ${input.broughtBy ?? w.ownerName}, ${input.complaint},
        ${input.returnWish ?? null}, ${w.background.earlier?.id ?? null}::uuid, ${today}::date, ${w.next.actor}, ${w.next.by}::date, ${input.place}, ${who.name},
        ${input.declaredValue?.amount ?? null}::bigint, ${input.declaredValue?.currency ?? null}, ${keys.model}, ${keys.dial}, ${input.dial ?? null}, ${now}, ${who.name})),
    said as (
      insert into ticket_record (ticket_id, kind, at, on_day, data, recorded_at, by_key, recorded_by)
      select ${w.id}::uuid, r.kind, ${now}, ${today}::date, r.data, ${now}, ${who.keyId}::uuid, ${who.name}
      from jsonb_to_recordset(${JSON.stringify(records)}::jsonb) as r (kind text, data jsonb)),
    placed as (
      insert into custody_move (ticket_id, n, to_place, holder, at, recorded_at, by_key, recorded_by)
      values (${w.id}::uuid, 1, ${input.place}, ${who.name}, ${now}, ${now}, ${who.keyId}::uuid, ${who.name})),
    shown as (
      insert into ticket_picture (ticket_id, file_id, view, at, recorded_at, by_key, recorded_by)
      select ${w.id}::uuid, p.id, p.view, ${now}, ${now}, ${who.keyId}::uuid, ${who.name}
      from jsonb_to_recordset(${JSON.stringify(input.pictures ?? [])}::jsonb) as p (id uuid, view text)),
    bagged as (
      insert into loose_item (ticket_id, bag, words, recorded_at, by_key, recorded_by)
      select ${w.id}::uuid, l.bag, l.words, ${now}, ${who.keyId}::uuid, ${who.name}
      from jsonb_to_recordset(${JSON.stringify(input.looseItems ?? [])}::jsonb) as l (bag text, words text)),
    seen as (
      insert into hazard (id, watch_id, kind, note, confirmed_by, seen_on, recorded_at, recorded_by)
      select h.id, ${w.watch}::uuid, h.kind, h.note, h."confirmedBy", ${today}::date, ${now}, ${who.name}
      from jsonb_to_recordset(${JSON.stringify(hazards)}::jsonb) as h (id uuid, kind text, note text, "confirmedBy" text))
    update watch set in_house = true,
      declared_value = coalesce(${input.declaredValue?.amount ?? null}::bigint, declared_value),
      declared_currency = coalesce(${input.declaredValue?.currency ?? null}, declared_currency),
      declared_on = case when ${input.declaredValue?.amount ?? null}::bigint is null then declared_on else ${today}::date end
    where id = ${w.watch}::uuid`
}

export type Twin = {
  number: string
  maker: string
  model: string | null
  metal: string | null
  dial: string | null
  place: string | null
}

/** Open tickets of watches that this one might be taken for. */
async function twinsOf(desk: Desk, id: string, look: Look): Promise<Twin[]> {
  const keys = lookKeys(look)
  const rows = await desk.tx.$queryRaw<(Twin & { diameterMm: number | null })[]>`
    select x.number, w.maker, w.model, w.case_material as metal, x.dial, x.place, w.diameter_mm::float8 as "diameterMm"
    from (select * from ticket where ended is null and look_model = ${keys.model}
      union select * from ticket where ended is null and look_dial = ${keys.dial} limit 50) x
    join watch w on w.id = x.watch_id where x.id <> ${id}::uuid order by x.number`
  return rows.filter((row) => mightBeTaken(look, row)).map(({ diameterMm: _, ...twin }) => twin)
}
