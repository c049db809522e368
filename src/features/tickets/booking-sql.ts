import { v7 as uuidv7 } from 'uuid'
import type { Day } from '../../domain/day.ts'
import type { ObligationState } from '../../domain/notices/types.ts'
import { type Look, lookKeys } from '../../domain/tickets/twins.ts'
import { openAlike } from './alike.ts'
import type { Booker, Booking } from './booking.ts'
import { readRef } from './desk.ts'

type Due = { kind: string; rule: string; dueOn: string } & Pick<
  ObligationState,
  'comingUpFrom' | 'noticesDueOn' | 'overdueFrom' | 'stopOn'
>

export type Background = {
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
  due: Due[] | null
  warnings: string[] | null
  settings: Record<string, unknown> | null
  pictures: number
  earlier: { id: string; watch: string; ended: boolean } | null
  /** earlier tickets gave guarantees on it */
  guaranteed: boolean
}

type Guarantee = { ticket: string; what: string; startsOn: Day; months: number; daysAdded: number }

const background = `
  with locked as materialized (select * from watch where id = $1::uuid for no key update)
  select nextval('ticket_serial')::int as serial,
    (select jsonb_build_object('id', o.id, 'name', o.name, 'standing', o.standing, 'deceased', o.deceased_on is not null, 'merged', o.merged_into,
      'erased', o.erased_on is not null) from owner o where o.id = $2::uuid) as owner,
    (select jsonb_build_object('id', w.id, 'owner', w.owner_id, 'maker', w.maker, 'model', w.model, 'metal', w.case_material, 'diameter', w.diameter_mm,
      'doNot', w.do_not, 'inside', (select t.number from ticket t where t.watch_id = w.id and t.ended is null)) from locked w) as watch,
    (select jsonb_agg(jsonb_build_object('kind', o.kind, 'rule', o.rule, 'dueOn', o.due_on, 'comingUpFrom', o.coming_up_from,
        'noticesDueOn', o.notices_due_on, 'overdueFrom', o.overdue_from, 'stopOn', o.stop_on) order by o.due_on, o.kind)
      from obligation o where o.watch_id = $1::uuid and o.rule is not null and o.coming_up_from <= $3::date) as due,
    (select jsonb_agg(distinct x.w) from (
      select unnest(o.warnings) as w from obligation o where o.watch_id = $1::uuid
      union all select 'recall' from recall_watch r join recall c on c.id = r.recall_id and c.closed_on is null
        where r.watch_id = $1::uuid and r.state <> 'settled') x) as warnings,
    (select jsonb_object_agg(key, value) from rules_in_force($3::date)
      where key in ('workingWeekdays', 'holidays', 'bookedInWorkingDays', 'twinMillimetres')) as settings,
    (select count(*)::int from picture_file f where f.id = any($4::uuid[])) as pictures,
    (select jsonb_build_object('id', t.id, 'watch', t.watch_id, 'ended', t.ended is not null) from ticket t
      where t.id = $5::uuid or t.number = $6) as earlier,
    exists (select from guarantee g where g.watch_id = $1::uuid) as guaranteed`

/** What has to be known before anything is written, in one statement; the watch is locked, so it comes in once. */
export async function readBackground(at: Booker, input: Booking, owner: string, watch: string): Promise<Background> {
  const files = (input.pictures ?? []).map((picture) => picture.id)
  const earlier = input.comebackOf === undefined ? null : readRef(input.comebackOf)
  const rows = await at.query<Background>('booking-background', background, [
    watch,
    owner,
    at.today,
    files,
    earlier && 'id' in earlier ? earlier.id : null,
    earlier && 'number' in earlier ? earlier.number : null,
  ])
  return rows[0]!
}

const guarantees = `
  select t.number as ticket, g.what, g.starts_on::text as "startsOn", g.months,
    coalesce((select sum(d.days) from guarantee_days d where d.guarantee_id = g.id), 0)::int as "daysAdded"
  from guarantee g join ticket t on t.id = g.ticket_id where g.watch_id = $1::uuid and not exists (
    select from ticket b join ticket_record r on r.ticket_id = b.id and r.kind = 'comeback' cross join jsonb_array_elements(r.data -> 'lines') d
    where b.comeback_of = g.ticket_id and d ->> 'line' = g.line_id::text and d ->> 'voided' <> 'no'
      and not exists (select from ticket_record s where s.strikes = r.id)
      and not exists (select from ticket_record n where n.ticket_id = b.id and n.kind = 'comeback' and n.seq > r.seq
        and not exists (select from ticket_record s where s.strikes = n.id)))
  order by g.id`

/** Guarantees of earlier tickets that no comeback found voided; asked only of a watch that has any. */
export const readGuarantees = (at: Booker, watch: string): Promise<Guarantee[]> =>
  at.query<Guarantee>('booking-guarantees', guarantees, [watch])

const writing = `
  with said_now as (select $1::jsonb as t, $2::timestamptz as now, $3::date as today, $4::uuid as key, $5::text as name),
  made as (
    insert into ticket (id, number, watch_id, owner_id, handing_in, brought_by, complaint, return_wish, comeback_of, booked_on, next_actor, next_by, place, holder,
      declared_value, declared_currency, look_model, look_dial, dial, created_at, created_by)
    select r.id, r.number, r.watch, r.owner, r."handingIn", r."broughtBy", r.complaint, r."returnWish", r.earlier, s.today, r."nextActor", r."nextBy", r.place, s.name,
      r.value, r.currency, r."lookModel", r."lookDial", r.dial, s.now, s.name
    from said_now s, jsonb_to_record(s.t) as r (id uuid, number text, watch uuid, owner uuid, "handingIn" uuid, "broughtBy" text, complaint text, "returnWish" text,
      earlier uuid, "nextActor" text, "nextBy" date, place text, value bigint, currency text, "lookModel" text, "lookDial" text, dial text)
    returning id, watch_id, declared_value, declared_currency, place),
  told as (
    insert into ticket_record (ticket_id, kind, at, on_day, data, recorded_at, by_key, recorded_by)
    select made.id, r.kind, s.now, s.today, r.data, s.now, s.key, s.name from made, said_now s, jsonb_to_recordset(s.t -> 'records') as r (kind text, data jsonb)),
  placed as (
    insert into custody_move (ticket_id, n, to_place, holder, at, recorded_at, by_key, recorded_by)
    select made.id, 1, made.place, s.name, s.now, s.now, s.key, s.name from made, said_now s),
  shown as (
    insert into ticket_picture (ticket_id, file_id, view, at, recorded_at, by_key, recorded_by)
    select made.id, p.id, p.view, s.now, s.now, s.key, s.name from made, said_now s, jsonb_to_recordset(s.t -> 'pictures') as p (id uuid, view text)),
  bagged as (
    insert into loose_item (ticket_id, bag, words, recorded_at, by_key, recorded_by)
    select made.id, l.bag, l.words, s.now, s.key, s.name from made, said_now s, jsonb_to_recordset(s.t -> 'looseItems') as l (bag text, words text)),
  seen as (
    insert into hazard (id, watch_id, kind, note, confirmed_by, seen_on, recorded_at, recorded_by)
    select h.id, made.watch_id, h.kind, h.note, h."confirmedBy", s.today, s.now, s.name
    from made, said_now s, jsonb_to_recordset(s.t -> 'hazards') as h (id uuid, kind text, note text, "confirmedBy" text)),
  inside as (
    update watch set in_house = true, declared_value = coalesce(made.declared_value, watch.declared_value),
      declared_currency = coalesce(made.declared_currency, watch.declared_currency),
      declared_on = case when made.declared_value is null then watch.declared_on else s.today end
    from made, said_now s where watch.id = made.watch_id)
  select x.number, w.maker, w.model, w.case_material as metal, x.dial, x.place, w.diameter_mm::float8 as "diameterMm"
  from (${openAlike('$6::text', '$7::text')}) alike
  join ticket x on x.id = alike.id
  join watch w on w.id = x.watch_id order by x.number`

export type Twin = {
  number: string
  maker: string
  model: string | null
  metal: string | null
  dial: string | null
  place: string | null
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
  earlier: string | null
}

/**
 * Ticket, records, first place, pictures, loose items and hazards, in one statement. It answers with the open tickets whose
 * watch looks like this one by what is filed; whether they might be taken for it is for the domain.
 */
export async function writeTicket(at: Booker, w: Writing): Promise<(Twin & { diameterMm: number | null })[]> {
  const { input } = w
  const hazards = (input.hazards ?? []).map((hazard) => ({ id: uuidv7(), ...hazard }))
  const records: { kind: string; data: object }[] = [
    {
      kind: 'booked',
      data: { complaint: input.complaint, hazards: hazards.map((hazard) => hazard.id), comebackOf: w.earlier },
    },
    {
      kind: 'people',
      data: { approve: input.mayApprove ?? [], collect: input.mayCollect ?? [], willCallIn: input.willCallIn ?? false },
    },
  ]
  if (input.condition) records.push({ kind: 'condition', data: input.condition })
  if (input.declaredValue !== undefined) records.push({ kind: 'value', data: { value: input.declaredValue } })
  if (input.ceiling) records.push({ kind: 'ceiling', data: { amount: input.ceiling } })
  if (input.doNot && input.doNot.length > 0) records.push({ kind: 'do-not', data: { list: input.doNot } })
  const keys = lookKeys(w.look)
  const ticket = {
    id: w.id,
    number: w.number,
    watch: w.watch,
    owner: w.owner,
    handingIn: input.handingIn ?? null,
    broughtBy: input.broughtBy ?? w.ownerName,
    complaint: input.complaint,
    returnWish: input.returnWish ?? null,
    earlier: w.earlier,
    nextActor: w.next.actor,
    nextBy: w.next.by,
    place: input.place,
    value: input.declaredValue?.amount ?? null,
    currency: input.declaredValue?.currency ?? null,
    lookModel: keys.model,
    lookDial: keys.dial,
    dial: input.dial ?? null,
    records,
    pictures: input.pictures ?? [],
    looseItems: input.looseItems ?? [],
    hazards,
  }
  return at.query('booking-write', writing, [
    JSON.stringify(ticket),
    at.now,
    at.today,
    at.who.keyId,
    at.who.name,
    keys.model,
    keys.dial,
  ])
}
