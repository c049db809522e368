import fc from 'fast-check'
import { describe, expect, it, test } from 'vitest'
import { addMonths, type Day, dayOfNumber, numberOf, numberOfDay } from '../../../src/domain/day.ts'
import { type Bucket, bestBeforeThresholds, bucketOf, buckets } from '../../../src/domain/stock/buckets.ts'
import {
  gradeOf,
  lastDayNumberWithin,
  lastFullLifeDay,
  lastShortLifeDay,
  nextChangeOn,
} from '../../../src/domain/stock/life.ts'

const rules = { guardMonths: 3, shortestMonths: 12 }
const today = '2026-12-01' as Day
const anyDay = fc.integer({ min: numberOf(2019, 1, 1), max: numberOf(2040, 12, 31) })

// Worked shelf of a silver-oxide designation on 2026-12-01, interval 24, guard 3, shortest 12: common practice, no source.
const shelf: [string, string, string, string, Bucket][] = [
  ['X', '2026-10-31', '2024-07-31', '2025-10-31', 'expired'],
  ['E', '2027-09-30', '2025-06-30', '2026-09-30', 'under-shortest-life'],
  ['A', '2028-12-31', '2026-09-30', '2027-12-31', 'past-full-life'],
  ['B', '2029-04-30', '2027-01-31', '2028-04-30', 'days-31-90'],
  ['C', '2029-08-31', '2027-05-31', '2028-08-31', 'over-180-days'],
  ['N', '2029-10-31', '2027-07-31', '2028-10-31', 'over-180-days'],
]

describe('the last full-life day', () => {
  test.each(shelf)('of lot %s, best before %s, is %s; short life until %s; bucket %s', (_, b, full, short, bucket) => {
    const bestBefore = b as Day
    expect(lastFullLifeDay(bestBefore, 24, rules)).toBe(full)
    expect(lastShortLifeDay(bestBefore, rules)).toBe(short)
    expect(bucketOf({ bestBefore, blocked: false }, today, 24, rules)).toBe(bucket)
  })

  test.each([
    ['2029-06-30', '2027-03-31', '2027-03-30'],
    ['2029-02-28', '2026-11-30', '2026-11-28'],
    ['2029-04-30', '2027-01-31', '2027-01-30'],
  ])('of %s is %s, where subtracting months says %s', (bestBefore, last, subtracted) => {
    expect(lastFullLifeDay(bestBefore as Day, 24, rules)).toBe(last)
    expect(addMonths(bestBefore as Day, -27)).toBe(subtracted)
  })

  it('is the greatest fitting day, found by trying every day', () => {
    fc.assert(
      fc.property(anyDay, fc.integer({ min: 0, max: 60 }), (bestBefore, months) => {
        let tried = bestBefore + 1
        while (numberOfDay(addMonths(dayOfNumber(tried), months)) > bestBefore) tried--
        expect(lastDayNumberWithin(bestBefore, months)).toBe(tried)
      }),
      { numRuns: 300 },
    )
  })
})

describe('the grade on the day of fitting', () => {
  test.each([
    ['2029-03-01', 'full-life', '2028-12-01'],
    ['2029-02-28', 'short-life', '2028-12-01'],
    ['2028-12-31', 'short-life', '2028-12-01'],
    ['2028-05-31', 'short-life', '2028-05-31'],
    ['2027-12-01', 'short-life', '2027-12-01'],
    ['2027-11-30', 'not-to-be-fitted', null],
    ['2026-10-31', 'not-to-be-fitted', null],
  ])('best before %s: %s, next change %s', (bestBefore, grade, next) => {
    expect(gradeOf(today, 24, bestBefore as Day, rules)).toBe(grade)
    expect(nextChangeOn(today, 24, bestBefore as Day, rules)).toBe(next)
  })

  it('needs the shortest life for full life too, where the interval is shorter', () => {
    expect(gradeOf(today, 6, '2027-11-30' as Day, rules)).toBe('not-to-be-fitted')
    expect(gradeOf(today, 6, '2027-12-01' as Day, rules)).toBe('full-life')
  })

  it('is full life exactly through the last full-life day', () => {
    fc.assert(
      fc.property(anyDay, anyDay, fc.integer({ min: 1, max: 48 }), (fitting, b, interval) => {
        const bestBefore = dayOfNumber(b)
        const full = gradeOf(dayOfNumber(fitting), interval, bestBefore, rules) === 'full-life'
        expect(full).toBe(fitting <= numberOfDay(lastFullLifeDay(bestBefore, interval, rules)))
      }),
    )
  })
})

describe('buckets', () => {
  it('a block goes before everything', () => {
    expect(bucketOf({ bestBefore: '2020-01-01' as Day, blocked: true }, today, 24, rules)).toBe('blocked')
  })

  test.each([
    ['2026-12-01', 'days-0-30'],
    ['2026-12-31', 'days-0-30'],
    ['2027-01-01', 'days-31-90'],
    ['2027-03-01', 'days-31-90'],
    ['2027-03-02', 'days-91-180'],
    ['2027-05-30', 'days-91-180'],
    ['2027-05-31', 'over-180-days'],
  ])('a lot whose last full-life day is %s lies in %s', (last, bucket) => {
    const bestBefore = addMonths(last as Day, 27)
    expect(lastFullLifeDay(bestBefore, 24, rules)).toBe(last)
    expect(bucketOf({ bestBefore, blocked: false }, today, 24, rules)).toBe(bucket)
  })

  it('cut by best-before thresholds they are the same', () => {
    fc.assert(
      fc.property(anyDay, anyDay, fc.integer({ min: 1, max: 48 }), (on, b, interval) => {
        const bestBefore = dayOfNumber(b)
        const thresholds = bestBeforeThresholds(dayOfNumber(on), interval, rules)
        let cut: Bucket = 'expired'
        for (const bucket of buckets) {
          const from = thresholds[bucket]
          if (from !== null && bestBefore >= from) cut = bucket
        }
        expect(cut).toBe(bucketOf({ bestBefore, blocked: false }, dayOfNumber(on), interval, rules))
      }),
      { numRuns: 2_000 },
    )
  })
})
