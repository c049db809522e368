import pg from 'pg'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { rulesInForce } from '../../src/features/house-rules/house-rules.ts'
import { runNight } from '../../src/features/nightly-runs/run.ts'
import { reckonedRows } from '../../src/features/obligations/rewrite.ts'
import { freshDatabase } from '../support/database.ts'
import { exampleSize, generateCentre } from '../support/generate-centre.ts'
import { type House, openHouse } from '../support/house.ts'
import { rows } from './book.ts'

// The benches lean on these rows: they must be what the service itself would have made of the facts.
let house: House
const size = exampleSize(600, 60)
beforeAll(async () => {
  house = await openHouse({ now: size.today })
  const client = new pg.Client({ connectionString: house.databaseUrl })
  await client.connect()
  await generateCentre(client, size)
  await client.end()
})
afterAll(() => house.close())

test('the obligations put on file in SQL are those the reckoning makes of the facts', async () => {
  const columns = `watch_id, kind, because, rule, base_on::text, base_from, base_until::text, months, due_on::text, notices_due_on::text,
    coming_up_from::text, overdue_from::text, stop_on::text, cycle, next_notice_on::text`
  const onFile = await rows(house, `select ${columns} from obligation order by watch_id, kind`)
  const ids = [...new Set(onFile.map((row) => row.watch_id))]
  const db = house.database.prisma
  const made = await reckonedRows(db, ids, size.today, new Map(), { inForce: await rulesInForce(db, size.today) })
  const wanted = made
    .map((row) => Object.fromEntries(Object.keys(onFile[0]).map((name) => [name, row[name as keyof typeof row]])))
    .sort((a, b) => (`${a.watch_id} ${a.kind}` < `${b.watch_id} ${b.kind}` ? -1 : 1))
  // a letter day that the end of a month moved to yesterday is looked at today
  const today = (row: (typeof wanted)[number]) => ({
    ...row,
    next_notice_on:
      row.next_notice_on !== null && String(row.next_notice_on) < size.today ? size.today : row.next_notice_on,
  })
  expect(onFile.map(today)).toEqual(wanted.map(today))
  expect(onFile).toHaveLength(2400)
})

test('the night writes one letter to each owner who is due', async () => {
  const counts = await runNight(house.service, size.today, { batch: 25 })
  expect(counts).toMatchObject({ letters: 60, withheld: 0, looked: 60 })
  expect(counts?.items).toBeGreaterThanOrEqual(60)
})

test('the same size, seed and day make the same centre, to the last row and column of every table; another seed does not', async () => {
  const made = async (seed: number) => {
    const { url, drop } = await freshDatabase()
    const client = new pg.Client({ connectionString: url })
    await client.connect()
    try {
      await generateCentre(client, { ...exampleSize(240, 24), seed })
      const tables = await client.query<{ name: string }>(
        `select relname as name from pg_class where relkind = 'r' and relnamespace = 'public'::regnamespace order by 1`,
      )
      const contents: Record<string, { rows: number; digest: string | null }> = {}
      for (const { name } of tables.rows) {
        if (name === 'schema_migration') continue
        const { rows: told } = await client.query(
          `select count(*)::int as rows, md5(string_agg(t::text, chr(10) order by t::text)) as digest from ${client.escapeIdentifier(name)} t`,
        )
        contents[name] = told[0]
      }
      return contents
    } finally {
      await client.end()
      await drop()
    }
  }
  const [first, second, other] = [await made(1), await made(1), await made(2)]
  expect(second).toEqual(first)
  const filled = Object.keys(first).filter((name) => (first[name]?.rows ?? 0) > 0)
  expect(filled).toEqual([
    'calibre',
    'contact',
    'custody_move',
    'guidance',
    'movement',
    'notice_choice',
    'obligation',
    'owner',
    'ownership',
    'stock_entry',
    'stock_item',
    'stock_lot',
    'strike',
    'ticket',
    'ticket_record',
    'watch',
    'watch_event',
    'watchmaker_note',
    'wear_statement',
  ])
  for (const name of filled) expect(other[name]?.digest, name).not.toBe(first[name]?.digest)
})

test('fittings name the watch and the fact, and no balance of a lot was ever below zero', async () => {
  const [told] = await rows(
    house,
    `select count(*)::int as named, count(*) filter (where e.happened = s.happened_on::text and e.watch_id = s.watch_id)::int as right,
       (select count(*)::int from watch_event where event = 'cell-fitted' and id not in (select fact_id from strike)) as cells
     from stock_entry s join watch_event e on e.id = s.event_id`,
  )
  expect(told).toEqual({ named: 200, right: 200, cells: 200 })
  const [least] = await rows(
    house,
    `select min(shelf)::int as shelf, min(bench)::int as bench from (
       select sum(shelf_change) over w as shelf, sum(bench_change) over w as bench from stock_entry
       window w as (partition by lot_id order by happened_on range unbounded preceding)) d`,
  )
  expect(least?.shelf).toBeGreaterThanOrEqual(0)
  expect(least?.bench).toBeGreaterThanOrEqual(0)
})

test('the stock put on file in SQL adds up: what is on the shelf and at the bench is the sum of its entries', async () => {
  const [sums] = await rows(
    house,
    `select count(*)::int as lots, count(*) filter (where l.shelf = entered.shelf and l.bench = entered.bench)::int as "addUp", min(entered.n)::int as entries
     from stock_lot l join stock_item i on i.id = l.item_id and i.what = 'cell' join (select lot_id, sum(shelf_change) as shelf, sum(bench_change) as bench, count(*) as n from stock_entry group by lot_id) entered on entered.lot_id = l.id`,
  )
  expect(sums).toEqual({ lots: 60, addUp: 60, entries: 50 })
})

test('the visits put on file in SQL can be read as tickets, and those in the house have a next actor', async () => {
  const list = await house.as('counter').get('/v1/tickets').expect(200)
  expect(list.body.items.length).toBeGreaterThan(0)
  const [counts] = await rows(
    house,
    `select count(*)::int as all, count(*) filter (where ended is null)::int as inside, (select count(*) from watch where in_house)::int as watches from ticket`,
  )
  expect(counts.all).toBe(120)
  expect(counts.inside).toBe(counts.watches)
  expect(counts.inside).toBeGreaterThan(0)
  await house.as('bench').get(`/v1/tickets/${list.body.items[0].id}/gates`).expect(200)
})
