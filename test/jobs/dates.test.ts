import fc from 'fast-check'
import { DateTime } from 'luxon'
import { describe, expect, test } from 'vitest'
import { addDays, type Day } from '../../src/domain/day.ts'
import { datesDue } from '../../src/features/nightly-runs/run.ts'

// Zones of the IANA time zone database whose clocks change in every way there is: an hour at night, an hour at midnight (so
// that midnight is skipped, or the hour before or after it comes twice), half an hour, and (Apia, 2011) a whole day that
// never was. luxon, a library of other hands, says what day it is there.
const changing = [
  'Europe/Zurich',
  'America/New_York',
  'Africa/Cairo',
  'Australia/Lord_Howe',
  'America/Santiago',
  'America/Havana',
]
const zones = [...changing, 'Pacific/Apia']
const tenMinutes = 600_000

/**
 * Ticks from one instant to another, every ten minutes near a change of clocks and every three hours elsewhere; the dates
 * run, in the order in which they were.
 */
function walk(zone: string, at: string, from: string, to: string, ticks: (n: number) => boolean = () => true): Day[] {
  const run: Day[] = []
  let last: Day | null = null
  let n = 0
  const offset = (t: number) => DateTime.fromMillis(t, { zone }).offset
  for (let t = Date.parse(from); t < Date.parse(to); ) {
    if (ticks(n++))
      for (const date of datesDue(new Date(t), zone, at, last)) {
        run.push(date)
        last = date
      }
    const near = t % 10_800_000 !== 0 || offset(t - 86_400_000) !== offset(t + 86_400_000)
    t += near ? tenMinutes : 10_800_000
  }
  return run
}

const localDates = (zone: string, from: string, to: string): string[] => {
  const dates: string[] = []
  for (let t = Date.parse(from); t < Date.parse(to); t += 3_600_000) {
    const date = DateTime.fromMillis(t, { zone }).toISODate() as string
    if (dates.at(-1) !== date) dates.push(date)
  }
  return dates
}

describe('the dates of the nightly run', () => {
  test.each(zones)('%s, 2025 to 2030: every local date exactly once, at 02:30 and at 00:00', (zone) => {
    const [from, to] = ['2025-01-02T00:00:00Z', '2031-01-01T00:00:00Z']
    const changes = Array.from({ length: 2190 }, (_, n) => Date.parse(from) + n * 86_400_000).filter(
      (t) => DateTime.fromMillis(t, { zone }).offset !== DateTime.fromMillis(t + 86_400_000, { zone }).offset,
    )
    // two a year, or nothing was tried
    if (changing.includes(zone)) expect(changes.length).toBe(12)
    for (const at of ['02:30', '00:00']) {
      const run = walk(zone, at, from, to)
      expect(new Set(run).size).toBe(run.length)
      const expected = localDates(zone, from, to)
      // the ends depend on the hour of the walk's own first and last instant
      expect(run.slice(1, -1)).toEqual(expected.filter((d) => d > (run[0] as string) && d < (run.at(-1) as string)))
      expect(run.length).toBeGreaterThanOrEqual(expected.length - 2)
    }
  })

  test('a date that never was is not run: Apia had no 2011-12-30', () => {
    const run = walk('Pacific/Apia', '02:30', '2011-12-27T00:00:00Z', '2012-01-03T00:00:00Z')
    expect(run).toEqual([
      '2011-12-26',
      '2011-12-27',
      '2011-12-28',
      '2011-12-29',
      '2011-12-31',
      '2012-01-01',
      '2012-01-02',
      '2012-01-03',
    ])
  })

  test('no date comes before its hour there, and the hour in a spring gap is the first moment after it', () => {
    // Zurich, 2027-03-28: 02:30 does not exist, the clock goes from 02:00 to 03:00 at 01:00 UTC
    expect(datesDue(new Date('2027-03-28T01:20:00Z'), 'Europe/Zurich', '02:30', '2027-03-27' as Day)).toEqual([])
    expect(datesDue(new Date('2027-03-28T01:30:00Z'), 'Europe/Zurich', '02:30', '2027-03-27' as Day)).toEqual([
      '2027-03-28',
    ])
    // Cairo, 2027-04-30: the day begins at 01:00
    expect(datesDue(new Date('2027-04-29T22:00:00Z'), 'Africa/Cairo', '00:00', '2027-04-29' as Day)).toEqual([
      '2027-04-30',
    ])
  })

  test('whatever ticks are missed, no date is left out and none comes twice', () => {
    fc.assert(
      fc.property(
        fc.constantFrom(...zones),
        fc.integer({ min: 0, max: 2000 }),
        fc.array(fc.boolean(), { minLength: 40, maxLength: 400 }),
        (zone, offset, ticking) => {
          const from = new Date(Date.parse('2025-01-02T00:00:00Z') + offset * 86_400_000).toISOString()
          const to = new Date(Date.parse(from) + 20 * 86_400_000).toISOString()
          const run = walk(zone, '02:30', from, to, (n) => ticking[Math.floor(n / 7) % ticking.length] ?? false)
          run.forEach((date, i) => {
            if (i > 0) expect(date).toBe(addDays(run[i - 1] as Day, 1))
          })
        },
      ),
      { numRuns: 25 },
    )
  })
})
