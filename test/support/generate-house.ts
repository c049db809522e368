import type pg from 'pg'
import type { Day } from '../../src/domain/day.ts'
import { ticketNumber } from '../../src/domain/tickets/number.ts'

/** What stands around the watches of a generated centre: a past visit of every fifth, and a cell lot for every tenth with so many entries. */
export const ENTRIES_A_LOT = 50

/** Straight into the tables with their balances, by a connection whose triggers are off; the watches are on file. */
export async function generateHouse(client: pg.Client | pg.PoolClient, watches: number, today: Day): Promise<void> {
  await generateTickets(client, Math.floor(watches / 5), today)
  await generateStock(client, Math.floor(watches / 10), today)
}

/** One in fifty is still in the house, and stands at the bench; those are watches with nothing due for a while. */
async function generateTickets(client: pg.Client | pg.PoolClient, tickets: number, today: Day): Promise<void> {
  const numbers = Array.from({ length: tickets }, (_, n) => ticketNumber(n + 1))
  await client.query(
    `insert into ticket (number, watch_id, owner_id, brought_by, complaint, step, ended, ended_on, booked_on, next_actor, next_by, place, holder, look_model, created_by)
     select number, w.id, w.owner_id, 'the owner', 'it stopped', case when inside then 'on-the-bench' else 'handed-over' end, case when inside then null else 'handed-over' end,
       case when inside then null else date '${today}' - 100 - (n * 7 % 1000)::int end, date '${today}' - 130 - (n * 7 % 1000)::int,
       case when inside then 'bench' end, case when inside then date '${today}' + (n % 20)::int - 5 end, 'safe', 'generator', 'model ' || n % 977, 'generator'
     from (
       select id, owner_id, row_number() over (order by id) as n from watch order by id limit ${tickets}) w
     join unnest($1::text[]) with ordinality numbered (number, at) on at = n
     cross join lateral (select n % 50 = 0 and not exists (
       select from obligation o where o.watch_id = w.id and (o.next_notice_on < date '${today}' + 60 or o.reconsider_on < date '${today}' + 60)) as inside) i`,
    [numbers],
  )
  await client.query(`select setval('ticket_serial', ${Math.max(1, tickets)})`)
  await client.query(`update watch set in_house = true from ticket t where t.watch_id = watch.id and t.ended is null`)
  await client.query(
    `insert into ticket_record (ticket_id, kind, at, on_day, data, recorded_by)
     select t.id, kind, t.booked_on, t.booked_on, data::jsonb, 'generator'
     from ticket t, (values ('booked', '{"complaint": "it stopped", "hazards": [], "comebackOf": null}'), ('people', '{"approve": [], "collect": [], "willCallIn": false}'),
       ('condition', '{"marks": [], "clasp": "there", "agreed": "owner"}'), ('value', '{}'), ('move', '{"from": "booked-in", "to": "awaiting-look", "gates": []}'),
       ('opening', '{}'), ('closing', '{}')) r (kind, data)`,
  )
  await client.query(
    `insert into custody_move (ticket_id, n, to_place, holder, at, recorded_by) select id, 1, 'counter', 'generator', booked_on, 'generator' from ticket`,
  )
}

async function generateStock(client: pg.Client | pg.PoolClient, lots: number, today: Day): Promise<void> {
  const designations = Math.max(1, Math.min(200, Math.floor(lots / 20)))
  await client.query(
    `insert into stock_item (what, name, written, chemistry, drain, waste_fee, created_by)
     select 'cell', 'INVENTED' || lpad(n::text, 3, '0'), 'invented ' || n, 'silver-oxide', 'low', 2, 'generator' from generate_series(1, ${designations}) n`,
  )
  // of every three pieces that leave the shelf one is fitted, one sold loose, and one stays where it is
  const [issued, fitted, sold] = [1, 2, 0].map(
    (rest) => Array.from({ length: ENTRIES_A_LOT - 1 }, (_, k) => k + 1).filter((k) => k % 3 === rest).length,
  ) as [number, number, number]
  await client.query(
    `insert into stock_lot (item_id, good_through, good_through_from, received_on, unit_cost, currency, supplier, storage_place, shelf, bench, last_entry_on, created_by)
     select i.id, date '${today}' - 180 + ((n::bigint * 7919) % 1460)::int, 'day', date '${today}' - 600 + (n % 200)::int, 50 + n % 90, 'EUR', 'invented', 'drawer',
       1 + n % 25, ${issued - fitted}, date '${today}' - 600 + (n % 200)::int + ${(ENTRIES_A_LOT - 1) * 7}, 'generator'
     from generate_series(1, ${lots}) n
     join (select id, row_number() over (order by name) - 1 as k from stock_item where name like 'INVENTED%') i on i.k = n % ${designations}`,
  )
  await client.query(
    `insert into stock_entry (lot_id, kind, pieces, happened_on, wanted_id, recorded_by)
     select l.id, case when k = 0 then 'received' else (array['sold-loose', 'issued', 'fitted'])[1 + k % 3] end, case when k = 0 then l.shelf + ${issued + sold} else 1 end,
       l.received_on + k * 7, l.item_id, 'generator'
     from stock_lot l, generate_series(0, ${ENTRIES_A_LOT - 1}) k`,
  )
}
