import fc from 'fast-check'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { addDays, type Day } from '../../../src/domain/day.ts'
import { type Candidate, chooseLot } from '../../../src/domain/stock/issue-order.ts'
import { balances, type Entry, type EntryKind, effects, firstDayBelowZero } from '../../../src/domain/stock/ledger.ts'
import { firstToExpire, type RunSql } from '../../../src/features/stock-entries/issue.ts'
import type { House } from '../../support/house.ts'
import { addDesignation, everything, fillShelf, type Lots, lotNow, openStock, receive } from './shelf.ts'

let house: House
let lots: Lots
beforeAll(async () => {
  house = await openStock()
  lots = await fillShelf(house)
})
afterAll(() => house.close())

describe('entries', () => {
  const entry = (id: string | undefined, body: object) => house.as('stock').post(`/v1/cell-lots/${id}/entries`, body)

  it('are signed, dated, and never changed or deleted', async () => {
    const made = await entry(lots.C, { kind: 'damaged-on-shelf', pieces: 1, reason: 'dropped', on: '2026-11-30' })
    expect(made.body).toMatchObject({
      kind: 'damaged-on-shelf',
      pieces: 1,
      on: '2026-11-30',
      recordedBy: 'stock of the test',
    })
    await expect(house.database.pool.query('update stock_entry set pieces = 2')).rejects.toMatchObject({
      code: 'MP001',
    })
    await expect(house.database.pool.query('delete from stock_entry')).rejects.toMatchObject({ code: 'MP001' })
    await expect(house.database.pool.query('truncate stock_entry cascade')).rejects.toMatchObject({ code: 'MP001' })
  })

  it('are struck by their opposite on the same day, once', async () => {
    const { shelf } = await lotNow(house, lots.C as string)
    const made = await entry(lots.C, {
      kind: 'returned-to-supplier',
      pieces: 4,
      reason: 'wrong pack',
      on: '2026-11-20',
    })
    const strike = () =>
      house.as('stock').post(`/v1/stock-entries/${made.body.id}/strike`, { reason: 'it was the other pack' })
    expect((await strike()).body).toMatchObject({
      kind: 'returned-to-supplier',
      pieces: -4,
      on: '2026-11-20',
      strikes: made.body.id,
    })
    expect((await lotNow(house, lots.C as string)).shelf).toBe(shelf)
    expect((await strike()).body.type).toBe('/problems/already-struck')
    const again = await house.as('stock').get(`/v1/stock-entries/${made.body.id}`)
    expect(again.body.struckBy).not.toBeNull()
  })

  it('of a receipt are not struck once pieces of it are gone', async () => {
    const id = await receive(house, 'SR626SW', 'Z', 5, '2030-01-31')
    const { body } = await house.as('stock').get(`/v1/cell-lots/${id}/entries`)
    await entry(id, { kind: 'damaged-on-shelf', pieces: 1, reason: 'dropped' })
    const refused = await house
      .as('stock')
      .post(`/v1/stock-entries/${body.items[0].id}/strike`, { reason: 'never came' })
    expect(refused.body).toMatchObject({ type: '/problems/stock-below-zero', there: 4 })
  })

  it('dated before the receipt, in the future, or leaving a day below zero are refused, and nothing moves', async () => {
    const id = await receive(house, 'SR626SW', 'Y', 5, '2030-01-31')
    await house.as('stock').post('/v1/stock-counts', { lines: [{ lotId: id, counted: 8 }] })
    const before = await everything(house)
    expect(
      (await entry(id, { kind: 'damaged-on-shelf', pieces: 1, reason: 'x', on: '2026-05-31' })).body,
    ).toMatchObject({
      type: '/problems/entry-before-receipt',
      receivedOn: '2026-06-01',
    })
    expect((await entry(id, { kind: 'damaged-on-shelf', pieces: 1, reason: 'x', on: '2026-12-02' })).body.type).toBe(
      '/problems/fact-in-future',
    )
    // Eight lie there today, but only five did on that day.
    expect((await entry(id, { kind: 'damaged-on-shelf', pieces: 6, reason: 'x', on: '2026-07-01' })).body.type).toBe(
      '/problems/stock-below-zero',
    )
    expect((await entry(id, { kind: 'damaged-at-bench', pieces: 1, reason: 'x' })).body).toMatchObject({ there: 0 })
    expect((await entry(id, { kind: 'sold-loose', pieces: 1, reason: 'x' })).status).toBe(400)
    expect(await everything(house)).toBe(before)
    expect((await entry(id, { kind: 'damaged-on-shelf', pieces: 5, reason: 'x', on: '2026-07-01' })).status).toBe(201)
  })

  it('of another kind of lot are not found', async () => {
    expect(
      (
        await house
          .as('stock')
          .post(`/v1/gasket-lots/${lots.C}/entries`, { kind: 'damaged-on-shelf', pieces: 1, reason: 'x' })
      ).status,
    ).toBe(404)
  })
})

describe('the balances of the database', () => {
  it('after any sequence of entries are those of the ledger, and never below zero on any day', async () => {
    await addDesignation(house, 'SR59SW')
    const { pool } = house.database
    const anyEntry = fc.record({
      kind: fc.constantFrom(...Object.keys(effects).slice(1)),
      pieces: fc.integer({ min: 1, max: 6 }),
      after: fc.nat(20),
    })
    let n = 0
    await fc.assert(
      fc.asyncProperty(fc.array(anyEntry, { minLength: 1, maxLength: 14 }), async (wanted) => {
        const lotId = await receive(house, 'SR59SW', `P${n++}`, 10, '2030-01-31')
        const kept: Entry[] = [{ kind: 'received', pieces: 10, on: '2026-06-01' as Day }]
        for (const { kind, pieces, after } of wanted) {
          const next: Entry = {
            kind: kind as EntryKind,
            pieces: kind === 'counted-difference' && after % 2 ? -pieces : pieces,
            on: addDays('2026-06-01' as Day, after),
          }
          const written = await pool
            .query(
              `insert into stock_entry (lot_id, kind, pieces, happened_on, recorded_by) values ($1, $2, $3, $4, 'test')`,
              [lotId, next.kind, next.pieces, next.on],
            )
            .then(
              () => true,
              (error) => {
                expect(error.code).toBe('23514')
                return false
              },
            )
          expect(written, JSON.stringify([kept, next])).toBe(firstDayBelowZero([...kept, next]) === null)
          if (written) kept.push(next)
        }
        const { rows } = await pool.query('select shelf, bench from stock_lot where id = $1', [lotId])
        expect(rows[0]).toEqual(balances(kept))
      }),
      { numRuns: 25 },
    )
  })
})

describe('the order of the database', () => {
  it('is the order of the rules, for any shelf', async () => {
    const { pool } = house.database
    const [own, first, second] = [
      await addDesignation(house, 'SR1120SW'),
      await addDesignation(house, 'SR1130SW'),
      await addDesignation(house, 'SR1142SW'),
    ]
    await pool.query(
      `insert into substitute (item_id, substitute_id, place, reason, approved_on, approved_by) values ($1, $2, 1, 'x', '2026-01-01', 't'), ($1, $3, 2, 'x', '2026-01-01', 't')`,
      [own, first, second],
    )
    const today = '2026-12-01' as Day
    const anyLot = fc.record({
      rank: fc.nat(2),
      months: fc.integer({ min: -2, max: 14 }),
      received: fc.nat(2),
      opened: fc.boolean(),
      shelf: fc.integer({ min: 1, max: 4 }),
      reserved: fc.nat(1),
      blocked: fc.boolean(),
    })
    const run: RunSql = async (text, values) => (await pool.query(text, [...values])).rows
    await fc.assert(
      fc.asyncProperty(fc.array(anyLot, { maxLength: 10 }), fc.integer({ min: 1, max: 3 }), async (shelf, pieces) => {
        await pool.query(`update stock_lot set listed_on = '2020-01-01' where item_id = any($1)`, [
          [own, first, second],
        ])
        const candidates: Candidate[] = []
        for (const lot of shelf) {
          const { rows } = await pool.query(
            `insert into stock_lot (item_id, good_through, good_through_from, received_on, opened, blocked, shelf, reserved, unit_cost, currency, supplier, storage_place, created_by)
             values ($1, (date '2028-10-31' + make_interval(months => $2::int))::date, 'day', date '2026-06-01' + $3::int, $4, $5, $6, $7, 1, 'EUR', 't', 't', 't')
             returning id, good_through, received_on`,
            [
              [own, first, second][lot.rank],
              lot.months,
              lot.received,
              lot.opened,
              lot.blocked ? 'other' : null,
              lot.shelf,
              lot.reserved,
            ],
          )
          candidates.push({
            lot: rows[0].id,
            rank: lot.rank,
            bestBefore: rows[0].good_through,
            receivedOn: rows[0].received_on,
            opened: lot.opened,
            available: lot.shelf - lot.reserved,
            blocked: lot.blocked,
          })
        }
        const rules = { guardMonths: 3, shortestMonths: 12 }
        const expected = chooseLot(candidates, pieces, today, 24, rules)
        const [row] = await firstToExpire(run, {
          kind: null,
          what: 'cell',
          wants: [{ itemId: own as string, pieces }],
          on: today,
          by: 'test',
          intervalMonths: 24,
          rules,
          shortLifeBy: 'test',
        })
        expect(row ? [row.lot_id, row.grade] : null).toEqual(expected ? [expected.candidate.lot, expected.grade] : null)
      }),
      { numRuns: 150 },
    )
  })
})
