import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { addMonths, type Day } from '../../../src/domain/day.ts'
import { type Candidate, chooseLot, issueOrder } from '../../../src/domain/stock/issue-order.ts'
import { gradeOf } from '../../../src/domain/stock/life.ts'

const rules = { guardMonths: 3, shortestMonths: 12 }
const today = '2026-12-01' as Day
const lot = (name: string, bestBefore: string, more: Partial<Candidate> = {}): Candidate => ({
  lot: name,
  rank: 0,
  bestBefore: bestBefore as Day,
  receivedOn: '2026-06-01' as Day,
  opened: false,
  available: 10,
  blocked: false,
  ...more,
})
const names = (candidates: Candidate[], on: Day = today, interval = 24) =>
  issueOrder(candidates, on, interval, rules).map((o) => o.candidate.lot)

// Worked shelf of 2026-12-01 (common practice, no source).
const shelf = [
  lot('N', '2029-10-31', { available: 60 }),
  lot('C', '2029-08-31', { available: 40 }),
  lot('B', '2029-04-30', { available: 30 }),
  lot('A', '2028-12-31', { available: 12 }),
  lot('E', '2027-09-30', { available: 9 }),
  lot('X', '2026-10-31', { available: 6 }),
]

describe('first to expire first, with a guard', () => {
  it('a routine change takes from B, not from A that expires earlier, nor from the newest pack', () => {
    expect(names(shelf)).toEqual(['B', 'C', 'N', 'A'])
    expect(chooseLot(shelf, 1, today, 24, rules)).toMatchObject({ candidate: { lot: 'B' }, grade: 'full-life' })
  })

  it('two months later B is past its last day and C is next', () => {
    expect(names(shelf, '2027-02-01' as Day)[0]).toBe('C')
  })

  it('all cells of one watch come from one lot; a lot with too few is passed over', () => {
    const few = [lot('first', '2029-04-30', { available: 1 }), lot('second', '2029-08-31', { available: 2 })]
    expect(chooseLot(few, 2, today, 24, rules)?.candidate.lot).toBe('second')
    expect(chooseLot(few, 3, today, 24, rules)).toBeNull()
  })

  it('short life is offered only where no full-life lot has enough', () => {
    const mixed = [lot('full', '2029-04-30', { available: 1 }), lot('short', '2028-12-31', { available: 2 })]
    expect(chooseLot(mixed, 1, today, 24, rules)).toMatchObject({ candidate: { lot: 'full' } })
    expect(chooseLot(mixed, 2, today, 24, rules)).toMatchObject({ candidate: { lot: 'short' }, grade: 'short-life' })
  })

  it('full life of a substitute goes before short life of the own designation, substitutes as they were approved', () => {
    const mixed = [
      lot('own-short', '2028-12-31'),
      lot('second-full', '2029-03-31', { rank: 2 }),
      lot('first-full', '2030-03-31', { rank: 1 }),
      lot('first-short', '2028-11-30', { rank: 1 }),
    ]
    expect(names(mixed)).toEqual(['first-full', 'second-full', 'own-short', 'first-short'])
  })

  it('of short-life lots the longest promise goes first, then the smaller best-before', () => {
    const short = [
      lot('short', '2028-05-31'),
      lot('past-interval-late', '2029-01-31'),
      lot('past-interval-early', '2028-12-15'),
    ]
    expect(names(short)).toEqual(['past-interval-early', 'past-interval-late', 'short'])
  })

  it('ties: earlier received, opened before sealed, fewer pieces available, lot id', () => {
    const b = '2029-04-30'
    const ties = [
      lot('e', b, { available: 5 }),
      lot('d', b, { available: 5 }),
      lot('c', b, { available: 4 }),
      lot('b', b, { available: 9, opened: true }),
      lot('a', b, { available: 9, receivedOn: '2026-05-31' as Day }),
    ]
    expect(names(ties)).toEqual(['a', 'b', 'c', 'd', 'e'])
  })

  it('a blocked lot is no offer', () => {
    expect(names([lot('blocked', '2029-04-30', { blocked: true })])).toEqual([])
  })

  it('holds for any shelf: no lot that should have gone before the chosen one has enough', () => {
    const anyLot = fc.record({
      lot: fc.uuid(),
      rank: fc.integer({ min: 0, max: 2 }),
      bestBefore: fc.integer({ min: 0, max: 40 }).map((months) => addMonths('2027-06-30' as Day, months)),
      receivedOn: fc.integer({ min: 0, max: 3 }).map((months) => addMonths('2026-06-01' as Day, months)),
      opened: fc.boolean(),
      available: fc.integer({ min: 0, max: 4 }),
      blocked: fc.boolean(),
    })
    fc.assert(
      fc.property(fc.array(anyLot, { maxLength: 12 }), fc.integer({ min: 1, max: 3 }), (lots, pieces) => {
        const chosen = chooseLot(lots, pieces, today, 24, rules)
        const grade = (c: Candidate) => gradeOf(today, 24, c.bestBefore, rules)
        const fit = lots.filter((c) => !c.blocked && c.available >= pieces && grade(c) !== 'not-to-be-fitted')
        if (!chosen) {
          expect(fit).toEqual([])
          return
        }
        const full = fit.filter((c) => grade(c) === 'full-life')
        expect(chosen.grade).toBe(full.length > 0 ? 'full-life' : 'short-life')
        const pool = full.length > 0 ? full : fit
        const rank = Math.min(...pool.map((c) => c.rank))
        expect(chosen.candidate.rank).toBe(rank)
        if (full.length > 0) {
          const ends = pool.filter((c) => c.rank === rank).map((c) => c.bestBefore)
          expect(chosen.candidate.bestBefore).toBe(ends.sort()[0])
        }
      }),
      { numRuns: 1_000 },
    )
  })
})
