import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { addDays, type Day, daysBetween } from '../../../src/domain/day.ts'
import { loadOf, type Skill } from '../../../src/domain/tickets/benches.ts'
import { classReadingTable } from '../../../src/domain/tickets/classes.ts'
import {
  type Ahead,
  aheadOfEach,
  endOfWait,
  type HouseDay,
  inOneSentence,
  type Job,
  nearestRank,
  type Part,
  partDay,
  type Queued,
  queueOf,
  reckonReady,
  settlingHoursTable,
} from '../../../src/domain/tickets/promise.ts'
import { defaultTicketRules as rules } from '../../../src/domain/tickets/rules.ts'
import { nextWorkingDay } from '../../../src/domain/tickets/working-days.ts'

/** Worked by hand on a calendar of Monday to Friday with the holidays 25 and 28 December and 1 January; common practice, no source. */
const day = (text: string) => text as Day
const calendar = {
  weekdays: new Set([1, 2, 3, 4, 5]),
  holidays: new Set([day('2026-12-25'), day('2026-12-28'), day('2027-01-01')]),
}
const both = { skills: ['three-hand', 'chronograph'] }
// ten orders: half had come in 10 working days, eight of ten in 18
const leads = [30, 12, 8, 10, 14, 6, 18, 9, 25, 7]
const house: HouseDay = {
  today: day('2026-11-26'),
  calendar,
  rules,
  settling: settlingHoursTable.default,
  readings: classReadingTable.default,
  observationHours: { 'three-hand': 24, vintage: 24, quartz: 24 },
  benches: [both, both],
  arrivals: new Map([['tower supplies', leads]]),
}
const service = { id: 'a', what: 'complete service', part: false, minutes: 210, answer: 'yes', settled: false } as const
const job: Job = {
  step: 'ready-for-bench',
  side: null,
  workClass: 'three-hand',
  lines: [service],
  yesOn: day('2026-11-26'),
  parts: [],
  observedFrom: null,
  reserveHours: null,
}
const ahead: Ahead = { minutes: { 'three-hand': 31 * 210, chronograph: 4 * 480 }, withoutMinutes: {} }
const part: Part = {
  what: 'mainspring',
  line: null,
  onHand: false,
  orderedOn: day('2026-11-27'),
  expectedOn: day('2026-12-11'),
  supplier: 'Tower Supplies',
}
const waiting = { ...job, step: 'awaiting-parts' as const, parts: [part] }
const idle: Ahead = { minutes: {}, withoutMinutes: {} }
const shown = (reckoned: ReturnType<typeof reckonReady>) =>
  reckoned.terms.map(({ term, workingDays, on }) => [term, workingDays, on])

describe('the load of two benches', () => {
  it('8,430 minutes in 7,680: 1.10, over by 750', () => {
    const { minutes, benches } = queueOf(ahead, 'three-hand', house.benches)
    expect([minutes, benches]).toEqual([8430, 2])
    expect(loadOf(minutes, 2 * 384 * 10, rules.tightLoadPercent)).toMatchObject({ load: 1.1, standing: 'over' })
  })
  it('work of another skill counts where it lies on the same bench, and only its part', () => {
    const benches = [both, { skills: ['three-hand'] }, { skills: ['quartz'] }]
    const work = { 'three-hand': 1000, chronograph: 480, quartz: 9000 }
    const of = (skill: Skill) => queueOf({ minutes: work, withoutMinutes: { quartz: 2 } }, skill, benches)
    expect(of('three-hand')).toEqual({ minutes: 1480, withoutMinutes: 0, benches: 2 })
    expect(of('quartz')).toEqual({ minutes: 9000, withoutMinutes: 2, benches: 1 })
    expect(of('chronograph')).toEqual({ minutes: 980, withoutMinutes: 0, benches: 1 })
    expect(of('vintage')).toEqual({ minutes: 0, withoutMinutes: 0, benches: 0 })
  })
})

describe('what stands before a ticket', () => {
  const queued = (id: string, more: Partial<Queued> = {}): Queued => ({
    ...job,
    id,
    promisedOn: null,
    bookedOn: day('2026-11-20'),
    ...more,
  })
  it('work on the benches, then what was promised earlier, then what was booked in earlier', () => {
    const ahead = aheadOfEach([
      queued('late', { bookedOn: day('2026-11-24') }),
      queued('promised', { promisedOn: day('2026-12-01'), bookedOn: day('2026-11-25') }),
      queued('bench', { step: 'on-the-bench', promisedOn: day('2027-01-05') }),
      queued('early', { lines: [{ ...service, minutes: null }] }),
      queued('aside', { side: 'on-hold', promisedOn: day('2026-11-01') }),
      queued('waits', { step: 'awaiting-parts', promisedOn: day('2026-12-24') }),
      queued('done', { lines: [{ ...service, settled: true }], promisedOn: day('2026-11-02') }),
    ])
    const minutes = Object.fromEntries([...ahead].map(([id, of]) => [id, of.minutes['three-hand'] ?? 0]))
    expect(minutes).toEqual({ bench: 0, aside: 210, done: 210, promised: 210, waits: 420, early: 420, late: 420 })
    expect(ahead.get('late')!.withoutMinutes).toEqual({ 'three-hand': 1 })
    expect(ahead.get('early')!.withoutMinutes).toEqual({})
  })
})

describe('the date that is reckoned', () => {
  it('queue 11 days, one day of work, settling and reading, closing, a reserve of two: Monday 2026-12-21', () => {
    const reckoned = reckonReady(job, ahead, house)
    expect(reckoned).toMatchObject({ readyOn: '2026-12-21', ifYesToday: null, unknown: [] })
    expect(shown(reckoned)).toEqual([
      ['yes', 0, '2026-11-26'],
      ['queue', 11, '2026-12-11'],
      ['bench', 1, '2026-12-14'],
      ['settling', 1, '2026-12-15'],
      ['observation', 1, '2026-12-16'],
      ['finish', 1, '2026-12-17'],
      ['buffer', 2, '2026-12-21'],
    ])
  })
  it('the same with a part that eight of ten past orders had brought by 12-23: 2027-01-05', () => {
    const reckoned = reckonReady(waiting, ahead, house)
    expect(reckoned.readyOn).toBe('2027-01-05')
    expect(reckoned.terms.find(({ term }) => term === 'parts')).toMatchObject({
      on: '2026-12-23',
      because: expect.stringContaining('of 10 past orders at Tower Supplies 80 % had come within 18 working days'),
    })
    // the middle order, 2026-12-11, would have promised the date that is broken every second time
    const half = { ...house, rules: { ...rules, partsArrivedPercent: 50 } }
    expect(reckonReady(waiting, ahead, half).readyOn).toBe('2026-12-21')
  })
  it.each([
    ['a quartz service at an idle bench', { workClass: 'quartz' }, [{ skills: ['quartz'] }], '2026-12-02'],
    [
      'the reserve of vintage work is twice as large',
      { workClass: 'vintage' },
      [{ skills: ['vintage'] }],
      '2026-12-03',
    ],
    ['what is on the bench has no queue before it', { step: 'on-the-bench' }, [both], '2026-12-03'],
    ['what is closed has its waits before it', { step: 'closed' }, [both], '2026-12-03'],
    ['in observation since Wednesday', { step: 'under-observation', observedFrom: '2026-11-25' }, [both], '2026-11-30'],
    ['at the final check', { step: 'final-check' }, [both], '2026-11-30'],
  ])('%s', (_words, more, benches, on) => {
    const busy = 'step' in more ? ahead : idle
    expect(reckonReady({ ...job, ...more } as Job, busy, { ...house, benches }).readyOn).toBe(on)
  })
  it('work that is done or was refused takes no more time', () => {
    const lines = [
      { ...service, minutes: 900, settled: true },
      { ...service, minutes: 900, answer: 'no' as const },
      { ...service, minutes: 20 },
    ]
    const rest = reckonReady({ ...job, step: 'on-the-bench', lines }, idle, house)
    expect(rest.terms[0]).toMatchObject({ term: 'bench', workingDays: 1 })
    expect(reckonReady({ ...job, step: 'on-the-bench', lines: lines.slice(0, 2) }, idle, house).terms[0]).toMatchObject(
      {
        term: 'bench',
        workingDays: 0,
      },
    )
  })
})

describe('what is not known makes no date, and is said', () => {
  it.each<[string, Partial<Job>, Partial<HouseDay>]>([
    ['there is no estimate', { lines: null }, {}],
    ['"complete service" takes: it names no code', { lines: [{ ...service, minutes: null }] }, {}],
    ['the class of work', { workClass: null }, {}],
    ['observationHours has none for three-hand', {}, { observationHours: null }],
    ['no bench has the skill three-hand', {}, { benches: [{ skills: ['quartz'] }] }],
    ['it stands aside as "on-hold"', { side: 'on-hold' }, {}],
    ['it is returned undone', { step: 'return-undone' }, {}],
    ['whether crown is on hand', { ...waiting, lines: [service, { ...service, what: 'crown', part: true }] }, {}],
    ['when mainspring will come', { ...waiting, parts: [{ ...part, supplier: null, expectedOn: null }] }, {}],
    ['it was awaited by 2026-12-23', waiting, { today: day('2026-12-24') }],
  ])('%s', (words, of, at) => {
    const reckoned = reckonReady({ ...job, ...of }, idle, { ...house, ...at })
    expect([reckoned.readyOn, reckoned.ifYesToday, reckoned.terms]).toEqual([null, null, []])
    expect(reckoned.unknown.join('; ')).toContain(words)
    expect(inOneSentence('ready-for-bench', reckoned, null)).toContain(words)
  })
  it('before the yes there is a date only under the condition that it comes today', () => {
    const reckoned = reckonReady({ ...job, step: 'awaiting-yes', yesOn: null }, ahead, house)
    expect(reckoned).toMatchObject({ readyOn: null, ifYesToday: '2026-12-21' })
    expect(reckoned.unknown).toEqual(['when it goes on: it has not passed the gate of the yes'])
    expect(inOneSentence('awaiting-yes', reckoned, null)).toContain('passed today, it would be ready on 2026-12-21')
  })
})

describe('when a part will be there', () => {
  it('the nearest rank is the smallest value that so many of a hundred do not exceed', () => {
    expect([50, 80, 100, 1].map((percent) => nearestRank(leads, percent))).toEqual([10, 18, 30, 6])
    expect(nearestRank([4], 80)).toBe(4)
    expect(nearestRank([], 80)).toBeNull()
    fc.assert(
      fc.property(fc.array(fc.nat(60), { minLength: 1 }), fc.integer({ min: 1, max: 100 }), (values, percent) => {
        const rank = nearestRank(values, percent)!
        const upTo = (most: number) => values.filter((value) => value <= most).length * 100
        expect(upTo(rank)).toBeGreaterThanOrEqual(percent * values.length)
        expect(upTo(rank - 1)).toBeLessThan(percent * values.length)
      }),
    )
  })
  it.each<[string, Partial<Part>, number, string, string]>([
    ['few orders', {}, 9, '2026-12-11', "the supplier's word (9 past orders are known, 10 are asked)"],
    ['no supplier named', { supplier: null }, 10, '2026-12-11', 'no supplier was named'],
    ['the order has no day', { orderedOn: null }, 10, '2026-12-11', 'the day of the order was not said'],
    ['the supplier says later', { expectedOn: day('2027-01-15') }, 10, '2027-01-15', 'past orders came earlier'],
    ['no word, but past orders', { expectedOn: null }, 10, '2026-12-23', '80 % had come within'],
  ])('%s', (_words, more, known, on, because) => {
    const at = { ...house, arrivals: new Map([['tower supplies', leads.slice(0, known)]]) }
    expect(partDay({ ...part, ...more }, at)).toEqual({ on, because: expect.stringContaining(because) })
  })
})

describe('waits', () => {
  it.each([
    // Friday 17:00 for 24 hours: read after a weekend the reserve of 42 hours is gone; wound again, it is read on Tuesday
    ['24 h from a Friday, reserve 42 h', '2026-11-27', 24, 42, '2026-12-01'],
    ['60 h from a Friday lose nothing', '2026-11-27', 60, 60, '2026-11-30'],
    ['24 h from a Friday, reserve 72 h', '2026-11-27', 24, 72, '2026-11-30'],
    ['24 h from a Thursday', '2026-11-26', 24, 42, '2026-11-27'],
    ['settling from a Friday', '2026-11-27', 24, null, '2026-11-30'],
    ['24 h over the holidays', '2026-12-24', 24, 42, '2026-12-30'],
    ['no wait at all', '2026-11-26', 0, null, '2026-11-26'],
  ])('%s', (_words, from, hours, withinHours, on) => {
    expect(endOfWait(day(from), { what: 'observation', hours, withinHours }, calendar).on).toBe(on)
  })
})

describe('properties', () => {
  const calendars = fc.record({
    weekdays: fc.uniqueArray(fc.integer({ min: 1, max: 7 }), { minLength: 2 }).map((days) => new Set(days)),
    holidays: fc
      .array(fc.integer({ min: 0, max: 90 }), { maxLength: 12 })
      .map((days) => new Set(days.map((n) => addDays(house.today, n)))),
  })
  const shops = fc.record({
    calendar: calendars,
    today: fc.integer({ min: 0, max: 30 }).map((n) => addDays(house.today, n)),
    minutes: fc.integer({ min: 0, max: 2000 }),
    queue: fc.integer({ min: 0, max: 20_000 }),
    part: fc.integer({ min: 0, max: 60 }),
    hours: fc.constantFrom(0, 24, 48, 72),
    step: fc.constantFrom('awaiting-parts' as const, 'on-the-bench' as const, 'closed' as const),
  })
  type Shop = typeof shops extends fc.Arbitrary<infer T> ? T : never
  const readyOn = (shop: Shop) => {
    const parts = [{ ...part, supplier: null, expectedOn: addDays(shop.today, shop.part) }]
    const at = { ...house, ...shop, observationHours: { 'three-hand': shop.hours } }
    const before = { minutes: { 'three-hand': shop.queue }, withoutMinutes: {} }
    return reckonReady({ ...job, step: shop.step, parts, lines: [{ ...service, minutes: shop.minutes }] }, before, at)
  }
  it('it is a working day, not before today, and every term ends no earlier than what it follows', () => {
    fc.assert(
      fc.property(shops, (shop) => {
        const reckoned = readyOn(shop)
        expect(reckoned.readyOn).toBe(nextWorkingDay(reckoned.readyOn!, shop.calendar))
        expect(daysBetween(shop.today, reckoned.readyOn!)).toBeGreaterThan(0)
        const work = reckoned.terms.filter(({ term }) => !['yes', 'queue', 'parts'].includes(term)).map(({ on }) => on)
        expect(work).toEqual([...work].sort())
      }),
    )
  })
  it('more work, a longer queue, a later part or a later day never make it earlier', () => {
    fc.assert(
      fc.property(shops, fc.nat(2000), fc.nat(20_000), fc.nat(40), fc.nat(20), (shop, minutes, queue, later, days) => {
        const before = readyOn(shop).readyOn!
        for (const more of [
          { ...shop, minutes: shop.minutes + minutes },
          { ...shop, queue: shop.queue + queue },
          { ...shop, part: shop.part + later },
          { ...shop, today: addDays(shop.today, days) },
        ])
          expect(readyOn(more).readyOn! >= before).toBe(true)
      }),
    )
  })
})
