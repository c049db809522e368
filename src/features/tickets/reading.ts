import type pg from 'pg'
import type { Db } from '../../db/open.ts'
import { isDay } from '../../domain/day.ts'
import type { FailedCheck } from '../../domain/readings/tools.ts'
import type { GuaranteeKind } from '../../domain/tickets/guarantee.ts'
import { openAlike } from './alike.ts'

/** The whole record of one ticket in one statement; `$1` its id, `$2` the day whose settings count. */
const statement = `
with t as (select * from ticket where id = $1::uuid),
struck as (select * from ticket_record where ticket_id = $1::uuid and strikes is not null),
gone as (select * from ticket_record where ticket_id = $1::uuid and id in (select strikes from struck)),
rec as (select * from ticket_record r where ticket_id = $1::uuid and r.strikes is null and r.id not in (select strikes from struck))
select to_jsonb(t) as ticket,
  (select to_jsonb(w) from watch w where w.id = t.watch_id) as watch,
  (select jsonb_build_object('name', o.name, 'standing', o.standing, 'deceased', o.deceased_on is not null, 'language', o.language,
     'reachable', exists (select from contact c where c.owner_id = o.id and c.ended_on is null and c.failed_on is null))
   from owner o where o.id = t.owner_id) as owner,
  (select jsonb_agg(jsonb_build_object('id', r.id, 'seq', r.seq, 'kind', r.kind, 'at', (extract(epoch from r.at) * 1000)::bigint, 'on', r.on_day,
     'data', r.data, 'line', r.line_id, 'tool', r.tool_id, 'lot', r.lot_id, 'by', coalesce(r.by_key::text, r.recorded_by), 'name', r.recorded_by)
     order by r.seq) from rec r) as records,
  (select jsonb_agg(jsonb_build_object('id', p.id, 'seq', p.seq, 'view', p.view, 'stage', p.stage, 'at', (extract(epoch from p.at) * 1000)::bigint, 'by', p.recorded_by)
     order by p.seq) from ticket_picture p where p.ticket_id = t.id) as pictures,
  (select jsonb_agg(jsonb_build_object('id', c.id, 'seq', c.seq, 'n', c.n, 'from', c.from_place, 'to', c.to_place, 'holder', c.holder,
     'at', (extract(epoch from c.at) * 1000)::bigint, 'by', c.recorded_by) order by c.n) from custody_move c where c.ticket_id = t.id) as custody,
  (select jsonb_agg(jsonb_build_object('bag', l.bag, 'words', l.words) order by l.seq) from loose_item l where l.ticket_id = t.id
     and (not exists (select from gone, jsonb_array_elements(gone.data -> 'oldParts') b where gone.kind = 'operation' and b ->> 'bag' = l.bag)
       or exists (select from rec, jsonb_array_elements(rec.data -> 'oldParts') b where rec.kind = 'operation' and b ->> 'bag' = l.bag))) as loose,
  (select jsonb_agg(jsonb_build_object('id', e.id, 'seq', e.seq, 'n', e.n, 'kind', e.kind, 'currency', e.currency, 'rounding', e.rounding, 'validUntil', e.valid_until,
     'net', e.net, 'tax', e.tax, 'total', e.total, 'madeOn', e.made_on, 'by', e.recorded_by, 'at', (extract(epoch from e.recorded_at) * 1000)::bigint,
     'lines', (select jsonb_agg(to_jsonb(l) order by l.place) from estimate_line l where l.estimate_id = e.id)) order by e.n)
     from estimate e where e.ticket_id = t.id) as estimates,
  (select jsonb_agg(jsonb_build_object('id', a.id, 'seq', a.seq, 'version', a.version, 'line', a.line_id, 'answer', a.answer, 'person', a.person, 'how', a.how,
     'on', a.on_day, 'at', (extract(epoch from a.at) * 1000)::bigint, 'total', a.total, 'by', a.recorded_by) order by a.seq)
     from estimate_answer a where a.ticket_id = t.id) as answers,
  (select jsonb_agg(jsonb_build_object('id', h.id, 'kind', h.kind, 'note', h.note, 'on', h.seen_on, 'by', h.recorded_by, 'over', exists (
     select from ticket x join ticket_record r on r.ticket_id = x.id and r.kind = 'hazard-over' and r.data ->> 'hazard' = h.id::text
     where x.watch_id = t.watch_id and not exists (select from ticket_record s where s.strikes = r.id))) order by h.id)
     from hazard h where h.watch_id = t.watch_id and not exists (select from strike s where s.fact_id = h.id)) as hazards,
  (select jsonb_object_agg(x.id, x.tool) from (
     select o.id, jsonb_build_object('blocked', o.blocked_why is not null, 'certificates', coalesce((select jsonb_agg(jsonb_build_object('id', c.id, 'on', c.on_day,
       'asFound', c.as_found, 'asLeft', c.as_left, 'months', c.months) order by c.on_day, c.id) from tool_certificate c where c.tool_id = o.id), '[]'),
       'failed', coalesce((select jsonb_agg(jsonb_build_object('from', f.on_day, 'to', (select p.on_day from tool_check p
         where p.tool_id = f.tool_id and p.passed and p.id > f.id order by p.id limit 1))) from tool_check f where f.tool_id = o.id and not f.passed), '[]')) as tool
     from tool o where o.id in (select tool_id from rec where tool_id is not null)) x) as tools,
  (select jsonb_object_agg(s.key, s.value) from rules_in_force($2::date) s) as settings,
  (select jsonb_agg(distinct k.staff_key_id) from staff_skill k
     where k.staff_key_id in (select by_key from rec where kind = 'final-check') and k.level = 'may-check' and k.from_day <= $2::date
       and not exists (select from staff_skill l where l.staff_key_id = k.staff_key_id and l.skill = k.skill and (l.from_day, l.id) > (k.from_day, k.id) and l.from_day <= $2::date)) as checkers,
  (select jsonb_build_object('reserve', c.power_reserve_hours, 'consumptionMax', c.consumption_max_microamps,
     'withModuleMax', c.consumption_with_module_max_microamps, 'coilMin', c.coil_resistance_min_kiloohm, 'coilMax', c.coil_resistance_max_kiloohm, 'workingVoltageMax', c.working_voltage_max,
     'beats', c.beats_per_hour, 'lift', c.lift_angle_degrees, 'inhibition', c.inhibition_period_seconds, 'energy', c.energy, 'cell', c.cell_designation, 'thermocompensated', c.thermocompensated,
     'limits', (select limits from calibre_tolerance k where k.calibre_id = c.id order by k.id desc limit 1))
   from movement m join calibre c on c.id = m.calibre_id where m.watch_id = t.watch_id
     and not exists (select from strike s where s.fact_id = m.id) order by m.from_day desc, m.id desc limit 1) as calibre,
  (select jsonb_agg(jsonb_build_object('number', x.number, 'maker', w2.maker, 'model', w2.model, 'metal', w2.case_material, 'dial', x.dial, 'place', x.place, 'diameterMm', w2.diameter_mm) order by x.number)
   from (${openAlike('t.look_model', 't.look_dial')}) y
   join ticket x on x.id = y.id
   join watch w2 on w2.id = x.watch_id where x.id <> t.id) as alike,
  (select jsonb_agg(r.id) from rec r where r.kind = 'fitting'
     and r.lot_id in (select l.lot_id from recall_lot l join recall c on c.id = l.recall_id and c.closed_on is null)
     and not exists (select from rec later where later.kind = 'fitting' and later.seq > r.seq
       and (later.data ->> 'what' = r.data ->> 'what'
         or (r.data ->> 'opening' = 'cell-fitted' and later.data ->> 'opening' in ('cell-fitted', 'cell-removed', 'movement-fitted'))))) as recalled,
  (select count(*)::int from guarantee g where g.ticket_id = t.comeback_of) as earlier_lines,
  (select jsonb_agg(jsonb_build_object('record', r.id, 'notice', n.id, 'state', n.state, 'returned', n.returned_at is not null,
     'deliveredAt', (extract(epoch from n.delivered_at) * 1000)::bigint))
   from rec r join notice n on n.id = (r.data ->> 'notice')::uuid where r.kind = 'contact') as notices,
  (select jsonb_agg(jsonb_build_object('amount', c.cost, 'currency', c.currency) order by c.currency) from (
     select e.currency, sum(l.house_cost * l.quantity)::float8 as cost from guarantee g join estimate_line l on l.under_guarantee_of = g.line_id
       join estimate e on e.id = l.estimate_id
     where g.ticket_id = t.id and exists (select from ticket_record r where r.ticket_id = e.ticket_id and r.kind = 'operation' and r.line_id = l.id
       and r.data ->> 'state' = 'done' and not exists (select from ticket_record s where s.strikes = r.id)) group by 1) c) as comeback_cost,
  (select jsonb_agg(jsonb_build_object('seq', s.seq, 'kind', s.data ->> 'kind', 'restored', coalesce(s.data -> 'restored', '[]')) order by s.seq) from struck s) as strikes,
  (select jsonb_agg(jsonb_build_object('name', x.recorded_by, 'on', x.on_day)) from (
     select r.recorded_by, max(r.on_day) as on_day from ticket_record r where r.ticket_id = $1::uuid
       and (r.kind in ('opening', 'fitting', 'water-test') or r.kind = 'operation' and r.data ->> 'state' = 'done' and not r.data ? 'carriedFrom') group by 1) x) as workers,
  (select jsonb_object_agg(s.replaced_by, s.fact_id) from strike s where s.watch_id = t.watch_id and s.replaced_by is not null) as replaced,
  (select jsonb_agg(jsonb_build_object('id', v.id, 'event', v.event, 'at', (extract(epoch from v.recorded_at) * 1000)::bigint, 'by', v.recorded_by, 'on', v.learned)) from watch_event v
     where v.watch_id = t.watch_id and v.source = 'own-record' and v.recorded_at >= t.created_at and v.event in ('case-opened', 'seals-replaced', 'cell-fitted', 'cell-removed', 'movement-fitted')
       and not exists (select from strike s where s.fact_id = v.id)) as opened
from t`

export type RecordRow = {
  readonly id: string
  readonly seq: number
  readonly kind: string
  /** milliseconds of UTC */
  readonly at: number
  readonly on: string
  readonly data: Record<string, unknown>
  readonly line: string | null
  readonly tool: string | null
  readonly lot: string | null
  /** staff key, or the name where there is none */
  readonly by: string
  readonly name: string
}

type Json = Record<string, unknown>
export type EstimateRow = {
  id: string
  seq: number
  n: number
  kind: string
  currency: string
  rounding: 'per-line' | 'per-total'
  validUntil: string | null
  net: number
  tax: number
  total: number
  madeOn: string
  by: string
  at: number
  lines: LineRow[] | null
}
export type LineRow = {
  id: string
  place: number
  code: string | null
  what: string
  part: boolean
  quantity: number
  unit_price: number | null
  tax_class: string | null
  tax_rate: number | null
  choice: 'must' | 'should' | 'could'
  required_by: string | null
  guarantee_months: number
  /** null where the line named its months itself */
  guarantee_kind: GuaranteeKind | null
  /** the line of the earlier ticket whose guarantee covers this one, and what a piece of it costs the house */
  under_guarantee_of: string | null
  house_cost: number | null
  opens_case: boolean
  pressure_test: boolean
  complete_service: boolean
}

/** The rows as they stand, before the domain sees them. */
export type Rows = {
  ticket: Json
  watch: Json
  owner: { name: string; standing: string; deceased: boolean; language: string; reachable: boolean }
  records: RecordRow[] | null
  pictures: { id: string; seq: number; view: string; stage: string; at: number; by: string }[] | null
  custody:
    | { id: string; seq: number; n: number; from: string | null; to: string; holder: string; at: number; by: string }[]
    | null
  loose: { bag: string; words: string }[] | null
  estimates: EstimateRow[] | null
  answers:
    | {
        id: string
        seq: number
        version: number
        line: string
        answer: 'yes' | 'no'
        person: string
        how: string
        on: string
        at: number
        total: number
        by: string
      }[]
    | null
  /** `over`: dried, neutralised or found harmless, on this visit or an earlier one */
  hazards: { id: string; kind: string; note: string | null; on: string; by: string; over: boolean }[] | null
  tools: Record<string, { blocked: boolean; certificates: Json[]; failed: FailedCheck[] }> | null
  settings: Json | null
  /** fittings on this ticket from a lot under an open recall, still in the watch */
  recalled: string[] | null
  checkers: string[] | null
  calibre: {
    reserve: number | null
    consumptionMax: number | null
    withModuleMax: number | null
    coilMin: number | null
    coilMax: number | null
    workingVoltageMax: number | null
    beats: number | null
    lift: number | null
    inhibition: number | null
    energy: string
    cell: string | null
    thermocompensated: boolean
    limits: Json | null
  } | null
  alike:
    | {
        number: string
        maker: string
        model: string | null
        metal: string | null
        dial: string | null
        place: string | null
        diameterMm: number | null
      }[]
    | null
  earlier_lines: number
  /** the letters of this ticket as they stand now, by the record that queued them */
  notices: { record: string; notice: string; state: string; returned: boolean; deliveredAt: number | null }[] | null
  /** what comebacks under the guarantees of this ticket have cost the house so far */
  comeback_cost: { amount: number; currency: string }[] | null
  /** which records were struck, in which order, and the facts of tests that came back with that */
  strikes: { seq: number; kind: string; restored: { record: string | null; fact: string }[] }[] | null
  /** who had a hand in the watch, with the last day, by records that stand or were struck */
  workers: { name: string; on: string }[] | null
  /** facts of the watch by what stands in their place */
  replaced: Record<string, string> | null
  /** openings in the book since it was booked in, by whatever door they were recorded */
  opened: { id: string; event: string; at: number; by: string; on: string }[] | null
}

const uuid = /^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/i

/** Transactions, each on one connection, that have found the statement prepared. */
const prepared = new WeakSet<Db>()

/**
 * Within a transaction. To plan the statement takes several times as long as to run it, and Prisma names none: so it is
 * prepared once on each connection. The values stand in the text, since EXECUTE takes no parameters: an id and a day.
 */
export async function readRows(tx: Db, ticketId: string, today: string): Promise<Rows | null> {
  if (!uuid.test(ticketId) || !isDay(today)) throw new Error('a ticket is read by its id, for a day')
  if (!prepared.has(tx)) {
    const [session] = await tx.$queryRaw<{ known: boolean }[]>`
      select exists (select from pg_prepared_statements where name = 'ticket_rows') as known`
    if (!session?.known) await tx.$executeRawUnsafe(`prepare ticket_rows (uuid, date) as ${statement}`)
    prepared.add(tx)
  }
  const rows = await tx.$queryRawUnsafe<Rows[]>(`execute ticket_rows ('${ticketId}', '${today}')`)
  return rows[0] ?? null
}

/** The same through the pool: a named statement, planned once; for reads outside a transaction. */
export async function readRowsFast(pool: pg.Pool, ticketId: string, today: string): Promise<Rows | null> {
  const { rows } = await pool.query<Rows>({ name: 'ticket-rows', text: statement, values: [ticketId, today] })
  return rows[0] ?? null
}
