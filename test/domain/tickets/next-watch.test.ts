import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { addDays, type Day } from '../../../src/domain/day.ts'
import { beforeClosedDays, type Candidate, orderNext } from '../../../src/domain/tickets/next-watch.ts'
import { defaultTicketRules as rules } from '../../../src/domain/tickets/rules.ts'

/** Worked by hand, Wednesday 2026-11-25; common practice, no source. */
const today = '2026-11-25' as Day
const calendar = { weekdays: new Set([1, 2, 3, 4, 5]), holidays: new Set(['2026-12-25' as Day]) }
const job = (id: string, more: object = {}): Candidate => ({
  id,
  damage: false,
  comeback: false,
  untouchedWorkingDays: 2,
  promisedOn: null,
  bookedOn: '2026-11-16' as Day,
  needed: 1,
  ...more,
})
const jobs = [
  job('J1', { promisedOn: '2026-11-27', needed: 1.5 }),
  job('J2', { promisedOn: '2026-12-04', needed: 6 }),
  job('J3', { promisedOn: '2026-11-26', needed: 2 }),
  job('J4', { promisedOn: '2026-12-18', needed: 4 }),
  job('J5', { damage: true, bookedOn: today }),
]
const order = (candidates: readonly Candidate[]) => orderNext(candidates, today, calendar, rules)
const names = (candidates: readonly Candidate[]) => order(candidates).map(({ id }) => id)

describe('the next watch', () => {
  it('J5, J3 whose owner is called, J2, J1, J4: the earliest promise alone would have lost J2', () => {
    expect(order(jobs).map(({ id, left, ratio, tellOwner }) => [id, left, ratio, tellOwner])).toEqual([
      ['J5', null, null, false],
      ['J3', 1, 0.5, true],
      ['J2', 7, 1.17, false],
      ['J1', 2, 1.33, false],
      ['J4', 17, 4.25, false],
    ])
  })
  it.each<[string, Candidate[], string[]]>([
    [
      'a comeback comes before what is late',
      [job('a', { promisedOn: '2026-11-26', needed: 3 }), job('b', { comeback: true })],
      ['b', 'a'],
    ],
    [
      'damage comes before a comeback',
      [job('a', { comeback: true }), job('b', { damage: true, comeback: true })],
      ['b', 'a'],
    ],
    [
      'what lay untouched for 15 working days comes first of the rest',
      [jobs[2]!, job('a', { untouchedWorkingDays: 15 }), job('b', { untouchedWorkingDays: 14 })],
      ['a', 'J3', 'b'],
    ],
    [
      'a promise that has passed comes before one that has not',
      [jobs[2]!, job('a', { promisedOn: '2026-11-20', needed: 9 })],
      ['a', 'J3'],
    ],
    [
      'of one ratio the earlier promise',
      [job('a', { promisedOn: '2026-11-27', needed: 2 }), job('b', { promisedOn: '2026-11-26', needed: 1 })],
      ['b', 'a'],
    ],
    ['nothing promised: the earlier booking-in', [job('a'), job('b', { bookedOn: '2026-11-13' })], ['b', 'a']],
    [
      'what nobody knows the length of goes by its promise',
      [job('a'), job('b', { promisedOn: '2026-11-30', needed: null })],
      ['b', 'a'],
    ],
  ])('%s', (_words, candidates, expected) => {
    expect(names(candidates)).toEqual(expected)
  })
  it('the order does not hang on the order they were read in, and loses none', () => {
    const candidates = fc.uniqueArray(
      fc.record({
        id: fc.uuid(),
        damage: fc.boolean(),
        comeback: fc.boolean(),
        untouchedWorkingDays: fc.integer({ min: 0, max: 20 }),
        promisedOn: fc.option(fc.integer({ min: -10, max: 40 }).map((n) => addDays(today, n))),
        bookedOn: fc.integer({ min: -30, max: 0 }).map((n) => addDays(today, n)),
        needed: fc.option(fc.integer({ min: 0, max: 20 }).map((n) => n / 2)),
      }),
      { selector: ({ id }) => id, maxLength: 12 },
    )
    fc.assert(
      fc.property(candidates, (list) => {
        const found = names(list)
        expect(names([...list].reverse())).toEqual(found)
        expect([...found].sort()).toEqual(list.map(({ id }) => id).sort())
        const damaged = new Set(list.filter(({ damage }) => damage).map(({ id }) => id))
        expect(new Set(found.slice(0, damaged.size))).toEqual(damaged)
      }),
    )
  })
  it('on a Friday long waits are begun, and no reading of a day', () => {
    const hint = (on: string) => beforeClosedDays(on as Day, addDays(on as Day, 1), calendar)
    expect(
      ['2026-11-23', '2026-11-26', '2026-11-27', '2026-12-24'].map((on) => hint(on)?.slice(0, 40) ?? null),
    ).toEqual([null, null, 'The centre is closed until 2026-11-30: b', 'The centre is closed until 2026-12-28: b'])
  })
})
