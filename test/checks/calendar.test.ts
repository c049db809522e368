import fc from 'fast-check'
import { DateTime } from 'luxon'
import { Temporal } from 'temporal-polyfill'
import { describe, expect, it } from 'vitest'
import { addDays, addMonths, type Day, dayOfNumber, daysBetween, isDay, numberOfDay } from '../../src/domain/day.ts'
import { readInstant } from '../../src/http/instants.ts'
import { instantOf } from '../../src/http/service.ts'

/**
 * Month arithmetic against outside sources: rows printed in the documents of other date libraries, and two general
 * libraries (luxon, the Temporal polyfill) asked about days at random.
 */
describe('adding months, published rows', () => {
  const dateutil = 'python-dateutil, docs/relativedelta.rst'
  const javaTime = 'java.time.LocalDate.plusMonths, plusYears (javadoc)'
  const euRule = 'month ends and leap days, as PostgreSQL, Temporal, luxon, date-fns, dayjs and js-joda agree'
  it.each([
    ['2003-01-31', 1, '2003-02-28', dateutil],
    ['2003-01-31', 2, '2003-03-31', dateutil],
    ['2000-02-29', 12, '2001-02-28', dateutil],
    ['2001-03-01', -12, '2000-03-01', dateutil],
    ['2007-03-31', 1, '2007-04-30', javaTime],
    ['2008-02-29', 12, '2009-02-28', javaTime],
    ['2024-01-31', 1, '2024-02-29', euRule],
    ['2023-01-31', 1, '2023-02-28', euRule],
    ['2024-02-29', 12, '2025-02-28', euRule],
    ['2024-02-29', 48, '2028-02-29', euRule],
    ['2096-02-29', 48, '2100-02-28', euRule],
    ['2023-02-28', 12, '2024-02-28', euRule],
    ['2024-08-31', 6, '2025-02-28', euRule],
    ['2023-08-31', 6, '2024-02-29', euRule],
    ['2024-12-31', 18, '2026-06-30', euRule],
    ['2024-03-31', -1, '2024-02-29', euRule],
    ['1999-12-31', 60, '2004-12-31', euRule],
    ['2021-02-28', 36, '2024-02-28', euRule],
  ])('%s and %i months is %s (%s)', (start, months, result) => {
    expect(addMonths(start as Day, months)).toBe(result)
  })

  it('adds months first, then days: 2024-05-31, one month and one day', () => {
    expect(addDays(addMonths('2024-05-31' as Day, 1), 1)).toBe('2024-07-01')
  })

  it('drifts where it is done in two steps, so it is done in one', () => {
    const january = '2024-01-31' as Day
    expect(addMonths(addMonths(january, 1), 1)).toBe('2024-03-29')
    expect(addMonths(january, 2)).toBe('2024-03-31')
  })
})

describe('a local time of day', () => {
  /** RFC 5545 3.3.5: one that comes twice is the first of them, one that is skipped counts by the offset before the gap; New York's are its own examples. */
  it.each([
    ['America/New_York', '2007-11-04', '01:30', '2007-11-04T01:30:00-04:00'],
    ['America/New_York', '2007-03-11', '02:30', '2007-03-11T03:30:00-04:00'],
    ['Europe/Paris', '2024-10-27', '02:30', '2024-10-27T02:30:00+02:00'],
    ['Europe/Paris', '2024-03-31', '02:30', '2024-03-31T03:30:00+02:00'],
  ])('in %s on %s at %s is %s', (zone, day, time, instant) => {
    expect(instantOf(day as Day, time, zone).getTime()).toBe(Date.parse(instant))
    expect(instantOf(day as Day, time, zone).getTime()).toBe(
      Temporal.PlainDateTime.from(`${day}T${time}`).toZonedDateTime(zone, { disambiguation: 'compatible' })
        .epochMilliseconds,
    )
  })
})

describe('an instant said at a door', () => {
  /** The examples of RFC 3339, 5.8, in milliseconds as the Temporal polyfill reckons them; a leap second as RFC 5545 3.3.12 says. */
  it.each([
    ['1985-04-12T23:20:50.52Z', 482_196_050_520],
    ['1996-12-19T16:39:57-08:00', 851_042_397_000],
    ['1996-12-20T00:39:57Z', 851_042_397_000],
    ['1937-01-01T12:00:27.87+00:20', -1_041_337_172_130],
    ['1990-12-31T23:59:60Z', 662_687_999_000],
    ['1990-12-31T15:59:60-08:00', 662_687_999_000],
  ])('%s', (text, at) => {
    expect(readInstant(text)).toBe(at)
    expect(Temporal.Instant.from(text).epochMilliseconds).toBe(at)
  })
  it.each([
    '2026-11-25',
    '2026-11-25T09:30:00',
    '2026-02-29T09:30:00Z',
    '2026-11-25T24:00:00Z',
    '2026-11-25T09:30:61Z',
    '2026-11-25T09:30:60Z',
    '2026-11-25T23:59:60Z',
    '2026-11-25 09:30:00Z',
    '2026-11-25T09:30:00+0100',
  ])('%s is none', (text) => {
    expect(readInstant(text)).toBeNull()
  })
})

const anyDay = fc
  .integer({ min: numberOfDay('1500-01-01' as Day), max: numberOfDay('2200-12-31' as Day) })
  .map(dayOfNumber)

describe('against luxon and the Temporal polyfill', () => {
  it('adds months alike', () => {
    fc.assert(
      fc.property(anyDay, fc.integer({ min: -240, max: 240 }), (day, months) => {
        const ours = addMonths(day, months)
        expect(ours).toBe(Temporal.PlainDate.from(day).add({ months }).toString())
        expect(ours).toBe(DateTime.fromISO(day, { zone: 'utc' }).plus({ months }).toISODate())
      }),
      { numRuns: 3000 },
    )
  })

  it('adds and counts days alike', () => {
    fc.assert(
      fc.property(anyDay, anyDay, fc.integer({ min: -4000, max: 4000 }), (day, other, days) => {
        expect(addDays(day, days)).toBe(Temporal.PlainDate.from(day).add({ days }).toString())
        expect(daysBetween(day, other)).toBe(Temporal.PlainDate.from(day).until(other, { largestUnit: 'days' }).days)
      }),
      { numRuns: 2000 },
    )
  })

  it('writes and reads every day of eight hundred years', () => {
    let date = Temporal.PlainDate.from('1499-12-01')
    for (let n = numberOfDay('1499-12-01' as Day); date.year < 2300; n++, date = date.add({ days: 1 })) {
      const text = date.toString()
      if (dayOfNumber(n) !== text || numberOfDay(text as Day) !== n) expect.fail(`${n}: ${dayOfNumber(n)} ≠ ${text}`)
    }
  })

  it('knows which days exist', () => {
    const two = (n: number) => String(n).padStart(2, '0')
    fc.assert(
      fc.property(
        fc.integer({ min: 1495, max: 2205 }),
        fc.integer({ min: 0, max: 13 }),
        fc.integer({ min: 0, max: 32 }),
        (year, month, day) => {
          const exists = DateTime.fromObject({ year, month, day }, { zone: 'utc' }).isValid
          expect(isDay(`${year}-${two(month)}-${two(day)}`)).toBe(exists && year >= 1500 && year <= 2200)
        },
      ),
      { numRuns: 3000 },
    )
  })
})

it('29 February and any multiple of 48 months is 29 February again wherever that year has one', () => {
  for (let year = 1504; year < 2200; year += 4) {
    if (!isDay(`${year}-02-29`)) continue
    for (let months = 48; months <= 480; months += 48) {
      const target = year + months / 12
      const leap = (target % 4 === 0 && target % 100 !== 0) || target % 400 === 0
      expect(addMonths(`${year}-02-29` as Day, months)).toBe(`${target}-02-${leap ? 29 : 28}`)
    }
  }
})
