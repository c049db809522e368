import type pg from 'pg'
import type { Day } from '../../src/domain/day.ts'
import { ticketNumber } from '../../src/domain/tickets/number.ts'

/** What stands around the watches of a generated centre: a past visit of every fifth, and a cell lot for every tenth with so many entries. */
export const ENTRIES_A_LOT = 50

const lotsOf = (watches: number) => Math.floor(watches / 10)
export const designationsOf = (watches: number) => Math.max(1, Math.min(200, Math.floor(lotsOf(watches) / 20)))

/** Straight into the tables with their balances, in the transaction of `generateCentre`, whose functions and tables it uses. */
export async function generateHouse(client: pg.Client | pg.PoolClient, watches: number, today: Day): Promise<void> {
  await generateTickets(client, Math.floor(watches / 5), today)
  await generateCells(client, watches, today)
  await generateGaskets(client, Math.max(2, Math.floor(watches / 500)), today)
}

const noon = (day: string) => `(${day})::timestamp at time zone 'UTC' + interval '12 hours'`

/** One in fifty is still in the house, and stands at the bench; those are watches with nothing due for a while. */
async function generateTickets(client: pg.Client | pg.PoolClient, tickets: number, today: Day): Promise<void> {
  const numbers = Array.from({ length: tickets }, (_, n) => ticketNumber(n + 1))
  await client.query(
    `create temporary table visit on commit drop as
     select pg_temp.id_in_order('ticket', n) as id, n, number, w.id as watch_id, w.owner_id, inside, date '${today}' - 130 - (n * 7 % 1000)::int as booked_on
     from (select id, owner_id, row_number() over (order by id) as n from watch order by id limit ${tickets}) w
     join unnest($1::text[]) with ordinality numbered (number, at) on at = n
     cross join lateral (select n % 50 = 0 and not exists (
       select from obligation o where o.watch_id = w.id and (o.next_notice_on < date '${today}' + 60 or o.reconsider_on < date '${today}' + 60)) as inside) i`,
    [numbers],
  )
  await client.query(
    `insert into ticket (id, number, watch_id, owner_id, brought_by, complaint, step, ended, ended_on, booked_on, next_actor, next_by, place, holder, look_model, created_at, created_by)
     select id, number, watch_id, owner_id, 'the owner', 'it stopped', case when inside then 'on-the-bench' else 'handed-over' end, case when inside then null else 'handed-over' end,
       case when inside then null else booked_on + 30 end, booked_on, case when inside then 'bench' end, case when inside then date '${today}' + (n % 20)::int - 5 end,
       case when inside then 'shelf ' || n / 50 % 7 else 'safe' end, case when inside then 'watchmaker ' || n / 50 % 5 else 'generator' end, 'model ' || n % 977, ${noon('booked_on')}, 'generator'
     from visit order by n`,
  )
  await client.query(`select setval('ticket_serial', ${Math.max(1, tickets)})`)
  await client.query(`update watch set in_house = true from visit where visit.watch_id = watch.id and inside`)
  await client.query(
    `insert into ticket_record (id, seq, ticket_id, kind, at, on_day, data, recorded_at, recorded_by, personal_salt)
     select pg_temp.id_beside(visit.id, (n - 1) * 8 + at), (n - 1) * 8 + at, visit.id, kind, ${noon('booked_on')}, booked_on, data::jsonb, ${noon('booked_on')}, 'generator', pg_temp.id_beside(visit.id, 400000000 + (n - 1) * 8 + at)
     from visit, (values (1, 'booked', '{"complaint": "it stopped", "hazards": [], "comebackOf": null}'), (2, 'people', '{"approve": [], "collect": [], "willCallIn": false}'),
       (3, 'condition', '{"marks": [], "clasp": "there", "agreed": "owner"}'), (4, 'value', '{}'), (5, 'move', '{"from": "booked-in", "to": "awaiting-look", "gates": []}'),
       (6, 'opening', '{}'), (7, 'closing', '{}')) r (at, kind, data)`,
  )
  await client.query(
    `insert into custody_move (ticket_id, n, id, seq, to_place, holder, at, recorded_at, recorded_by)
     select id, 1, pg_temp.id_in_order('custody', n), n * 8, 'counter', 'generator', ${noon('booked_on')}, ${noon('booked_on')}, 'generator' from visit`,
  )
  await client.query(`select setval('record_seq', ${Math.max(1, tickets * 8)})`)
}

/**
 * A lot begins with its receipt; then, twenty days apart, every third piece is issued, the next fitted, the next sold loose. The
 * first four fittings of a lot are the cells of four watches on file: their entry names watch and fact and has the day of the fact.
 */
async function generateCells(client: pg.Client | pg.PoolClient, watches: number, today: Day): Promise<void> {
  const [lots, designations] = [lotsOf(watches), designationsOf(watches)]
  await client.query(
    `insert into stock_item (id, what, name, written, chemistry, drain, volts, capacity_mah, waste_fee, created_at, created_by)
     select pg_temp.id_of('cell', n), 'cell', 'INVENTED' || lpad(n::text, 3, '0'), 'invented ' || n, 'silver-oxide', 'low', 1.55, 20 + n % 30, 2, ${noon("date '2015-01-01'")}, 'generator'
     from generate_series(1, ${designations}) n`,
  )
  const steps = Array.from({ length: ENTRIES_A_LOT - 1 }, (_, k) => k + 1)
  const [sold, issued, fitted] = [0, 1, 2].map((rest) => steps.filter((k) => k % 3 === rest).length) as [
    number,
    number,
    number,
  ]
  await client.query(
    `create temporary table lot on commit drop as
     select n, pg_temp.id_in_order('lot', n) as id, pg_temp.id_of('cell', 1 + n % ${designations}) as item_id, date '${today}' - 1300 + n % 200 as received_on, 1 + n % 25 as shelf
     from generate_series(1, ${lots}) n`,
  )
  await client.query(
    `create temporary table fitting on commit drop as
     select n / 12 + 1 as lot, n / 3 % 4 as at, watch_id, pg_temp.id_of('cell', n) as event_id, main from fact where sort = 1 and n / 12 < ${lots}`,
  )
  await client.query('analyze lot; analyze fitting')
  await client.query(
    `insert into stock_lot (id, item_id, good_through, good_through_from, received_on, unit_cost, currency, supplier, storage_place, shelf, bench, last_entry_on, lot_number, created_at, created_by)
     select id, item_id, date '${today}' - 180 + ((n::bigint * 7919) % 1460)::int, 'day', received_on, 50 + n % 90, 'EUR', 'invented', 'drawer ' || n % 500,
       shelf, ${issued - fitted}, greatest(received_on + ${(ENTRIES_A_LOT - 1) * 20}, last), 'L' || lpad(n::text, 7, '0'), ${noon('received_on')}, 'generator'
     from lot left join (select lot as n, max(main) as last from fitting group by 1) f using (n) order by n`,
  )
  await client.query(
    `insert into stock_entry (id, lot_id, kind, pieces, happened_on, wanted_id, watch_id, event_id, recorded_at, recorded_by)
     select pg_temp.id_beside(lot.id, lot.n::bigint * ${ENTRIES_A_LOT} + k), lot.id, case when k = 0 then 'received' else (array['sold-loose', 'issued', 'fitted'])[1 + k % 3] end,
       case when k = 0 then shelf + ${issued + sold} else 1 end, on_day, item_id, f.watch_id, f.event_id, ${noon('on_day')}, 'generator'
     from lot cross join generate_series(0, ${ENTRIES_A_LOT - 1}) k
     left join fitting f on f.lot = lot.n and k = f.at * 3 + 2
     cross join lateral (select coalesce(f.main, received_on + k * 20) as on_day) d`,
  )
}

/** Ten sizes in two materials, as they come: cured in a quarter, kept seven or ten years (ISO 2230:2002, read in extracts only). */
async function generateGaskets(client: pg.Client | pg.PoolClient, lots: number, today: Day): Promise<void> {
  await client.query(
    `insert into stock_item (id, what, name, written, inner_mm, cord_mm, material, created_at, created_by)
     select pg_temp.id_of('gasket', n), 'gasket', name, name, 10 + n, 0.8, material, ${noon("date '2015-01-01'")}, 'generator'
     from generate_series(0, 19) n cross join lateral (select case n % 2 when 0 then 'NBR' else 'FKM' end as material) m
     cross join lateral (select 'Invented ' || 10 + n || '.0 × 0.8 ' || material as name) named`,
  )
  await client.query(
    `create temporary table gasket_lot on commit drop as
     select n, pg_temp.id_in_order('gasket lot', n) as id, n % 20 as kind, cured, to_char(cured, 'Q"Q"YYYY') as quarter, cured + 30 + n % 200 as received_on
     from generate_series(1, ${lots}) n
     cross join lateral (select (date_trunc('quarter', date '${today}' - 400 - n % 1500) + interval '3 months - 1 day')::date as cured) c`,
  )
  await client.query(
    `insert into stock_lot (id, item_id, good_through, good_through_from, received_on, unit_cost, currency, supplier, storage_place, shelf, last_entry_on, cure_quarter, cured_on, created_at, created_by)
     select id, pg_temp.id_of('gasket', kind), (cured + make_interval(years => case kind % 2 when 0 then 7 else 10 end))::date, 'cure', received_on, 45, 'EUR', 'invented',
       'gasket drawer', 20, received_on, quarter, cured, ${noon('received_on')}, 'generator' from gasket_lot order by n`,
  )
  await client.query(
    `insert into stock_entry (id, lot_id, kind, pieces, happened_on, recorded_at, recorded_by)
     select pg_temp.id_in_order('gasket entry', n), id, 'received', 20, received_on, ${noon('received_on')}, 'generator' from gasket_lot order by n`,
  )
}
