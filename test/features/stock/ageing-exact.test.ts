import fc from 'fast-check'
import { afterAll, beforeAll, expect, it } from 'vitest'
import { addDays, type Day, numberOfDay } from '../../../src/domain/day.ts'
import { type Bucket, bucketOf, buckets, isUsable } from '../../../src/domain/stock/buckets.ts'
import { type Demand, demandThrough } from '../../../src/domain/stock/demand.ts'
import { fraction } from '../../../src/domain/stock/fraction.ts'
import { lastFullLifeDay } from '../../../src/domain/stock/life.ts'
import { walkShelf } from '../../../src/domain/stock/walk.ts'
import type { House } from '../../support/house.ts'
import { openStock } from './shelf.ts'

const TODAY = '2026-12-01' as Day
const life = { guardMonths: 3, shortestMonths: 12 }

let house: House
beforeAll(async () => {
  house = await openStock(TODAY)
})
afterAll(() => house.close())

const lot = fc.record({
  bestBefore: fc.oneof(
    fc.integer({ min: -800, max: 1800 }).map((days) => addDays(TODAY, days)),
    // dead since the last century, and far beyond every demand
    fc.constantFrom('1999-12-31', '2029-02-28', '2029-03-01', '2029-05-31', '2056-02-29').map((day) => day as Day),
  ),
  received: fc.integer({ min: 0, max: 3 }).map((days) => addDays('2026-06-01' as Day, days)),
  pieces: fc.oneof(fc.integer({ min: 1, max: 40 }), fc.constantFrom(32_768, 1_000_000)),
  unitCost: fc.oneof(fc.integer({ min: 0, max: 300 }), fc.constant(100_000_000)),
  blocked: fc.boolean(),
})
const month = fc.record({ n: fc.integer({ min: 0, max: 90 }), d: fc.constantFrom(1, 3, 7, 12, 100) })
const kept = fc.record({
  interval: fc.constantFrom(null, 12, 24, 36, 60),
  fee: fc.constantFrom(null, 0, 3),
  months: fc.array(month, { minLength: 25, maxLength: 25 }),
  lots: fc.array(lot, { minLength: 1, maxLength: 25 }),
})

// The report reads lots packed into whole numbers and walks them by hand; here each lot is judged by the functions of the domain.
it('is for any shelf what the domain says lot by lot', async () => {
  const shelves = fc.sample(kept, 40)
  const { pool } = house.database
  for (const [index, { interval, fee, months, lots }] of shelves.entries()) {
    const name = `EXACT${String(index).padStart(3, '0')}`
    const { rows } = await pool.query(
      `insert into stock_item (what, name, written, chemistry, drain, waste_fee, ageing_months, created_by)
       values ('cell', $1, $1, 'silver-oxide', 'low', $2, $3, 'test') returning id`,
      [name, fee, interval],
    )
    const id = rows[0].id
    await pool.query(
      `insert into stock_lot (item_id, good_through, good_through_from, received_on, unit_cost, currency, supplier, storage_place, blocked, shelf, created_by)
       select $1, b, 'cure', r, c, 'EUR', 'x', 'x', case when blocked then 'other' end, p, 'test'
       from unnest($2::date[], $3::date[], $4::bigint[], $5::boolean[], $6::int[]) as t (b, r, c, blocked, p)`,
      [
        id,
        lots.map((one) => one.bestBefore),
        lots.map((one) => one.received),
        lots.map((one) => one.unitCost),
        lots.map((one) => one.blocked),
        lots.map((one) => one.pieces),
      ],
    )
    await pool.query(
      `insert into demand_forecast (item_id, reckoned_on, first_month, months, basis) values ($1, $2, '2026-12-01', $3, '{}')`,
      [id, TODAY, JSON.stringify(months.map(({ n, d }) => fraction(n, d)).map(({ n, d }) => [String(n), String(d)]))],
    )
  }
  const { body, status } = await house.as('manager').get('/v1/reports/cell-ageing')
  expect(status, JSON.stringify(body)).toBe(200)
  expect(body.rows).toHaveLength(shelves.length)
  for (const [index, { interval, fee, months }] of shelves.entries()) {
    const told = body.rows[index]
    const stored = await pool.query<{ bestBefore: Day; pieces: number; unitCost: number; blocked: boolean }>(
      `select good_through::text as "bestBefore", shelf as pieces, unit_cost::float8 as "unitCost", blocked is not null as blocked
       from stock_lot where item_id = $1 order by good_through, received_on, id`,
      [told.designationId],
    )
    const demand: Demand = { from: TODAY, atOnce: 0, months: months.map(({ n, d }) => fraction(n, d)) }
    const judged = stored.rows.map((one) => ({ ...one, bucket: bucketOf(one, TODAY, interval ?? 24, life) }))
    const usable = judged.filter((one) => isUsable(one.bucket))
    const walk = walkShelf(
      usable.map((one, i) => ({
        lot: String(i),
        pieces: one.pieces,
        last: numberOfDay(lastFullLifeDay(one.bestBefore, interval ?? 24, life)),
      })),
      demandThrough(demand),
    )
    const unused = new Map(usable.map((one, i) => [one, walk.lots[i]!.unused]))
    const sums = Object.fromEntries(
      buckets.map((bucket: Bucket) => {
        const mine = judged.filter((one) => one.bucket === bucket)
        const left = (one: (typeof judged)[number]) => unused.get(one) ?? one.pieces
        return [
          bucket,
          {
            pieces: mine.reduce((sum, one) => sum + one.pieces, 0),
            money: mine.reduce((sum, one) => sum + one.pieces * one.unitCost, 0),
            unreached: mine.reduce((sum, one) => sum + left(one), 0),
            unreachedMoney: mine.reduce((sum, one) => sum + left(one) * one.unitCost, 0),
          },
        ]
      }),
    )
    expect(told.buckets, told.designation).toEqual(sums)
    expect([told.unreached, told.wasteFee], told.designation).toEqual([walk.unused, walk.unused * (fee ?? 2)])
  }
  const one = await house.as('manager').get('/v1/reports/cell-ageing?designation=EXACT007')
  expect(one.body.rows).toEqual([body.rows[7]])
})
