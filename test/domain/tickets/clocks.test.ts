import { describe, expect, it } from 'vitest'
import type { Day } from '../../../src/domain/day.ts'
import { loadOf, loadsOf } from '../../../src/domain/tickets/benches.ts'
import { nextFor } from '../../../src/domain/tickets/next.ts'
import { defaultTicketRules as rules } from '../../../src/domain/tickets/rules.ts'
import { daysThroughTheHouse, placeLoads, sharedPlacesTable } from '../../../src/domain/tickets/shared-places.ts'
import { steps } from '../../../src/domain/tickets/steps.ts'
import { mightBeTaken } from '../../../src/domain/tickets/twins.ts'
import { type Clock, unclaimedPlan } from '../../../src/domain/tickets/unclaimed.ts'
import { addWorkingDays, nextWorkingDay, workingDaysBetween } from '../../../src/domain/tickets/working-days.ts'

const day = (text: string) => text as Day
const calendar = {
  weekdays: new Set([1, 2, 3, 4, 5]),
  holidays: new Set([day('2026-12-25'), day('2026-12-28'), day('2027-01-01')]),
}

describe('working days (common practice, no source: holidays 25 and 28 December, 1 January)', () => {
  it.each([
    ['2026-11-26', 11, '2026-12-11'],
    ['2026-12-11', 1, '2026-12-14'],
    ['2026-12-17', 2, '2026-12-21'],
    ['2026-11-27', 18, '2026-12-23'],
    ['2026-12-23', 4, '2026-12-31'],
    ['2026-12-31', 2, '2027-01-05'],
    ['2026-11-28', 0, '2026-11-30'],
    ['2026-11-28', 1, '2026-11-30'],
  ])('%s + %i is %s', (from, days, to) => {
    expect(addWorkingDays(day(from), days, calendar)).toBe(to)
  })
  it('counts what it adds', () => {
    expect(workingDaysBetween(day('2026-12-23'), day('2026-12-31'), calendar)).toBe(4)
    expect(workingDaysBetween(day('2026-12-31'), day('2026-12-23'), calendar)).toBe(0)
    expect(nextWorkingDay(day('2026-12-25'), calendar)).toBe('2026-12-29')
  })
})

describe('unclaimed', () => {
  const clock: Clock = {
    deliveredOn: day('2026-08-31'),
    lastContactOn: null,
    pausedDays: 0,
    moneyOwed: true,
    registeredOn: null,
    law: null,
    taken: [],
  }

  it('counts 14, 45 and 90 days from the delivered notice, the registered letter on a working day', () => {
    const plan = unclaimedPlan(clock, day('2026-11-30'), calendar, rules)
    expect(plan.steps).toEqual([
      { step: 'second-means', on: '2026-09-14', postOn: '2026-09-14' },
      { step: 'post', on: '2026-10-15', postOn: '2026-10-15' },
      { step: 'registered', on: '2026-11-29', postOn: '2026-11-30' },
    ])
    const told = { step: 'second-means' as const, on: day('2026-09-14') }
    const written = { ...clock, taken: [told, { step: 'post' as const, on: day('2026-10-15') }] }
    expect(unclaimedPlan(written, day('2026-11-30'), calendar, rules).next).toBe('registered')
    expect(unclaimedPlan(written, day('2026-11-29'), calendar, rules).next).toBeNull()
    expect(unclaimedPlan({ ...clock, taken: [told] }, day('2026-11-29'), calendar, rules).next).toBe('post')
    expect(plan.next, 'each after the one before it').toBe('second-means')
    expect(unclaimedPlan(clock, day('2026-09-13'), calendar, rules).next).toBeNull()
  })
  it('stops after the registered letter where the law of the place is not set', () => {
    const plan = unclaimedPlan({ ...clock, registeredOn: day('2026-11-30') }, day('2030-01-01'), calendar, rules)
    expect(plan.after).toMatchObject({ state: 'stop' })
  })
  it('lets 2027-02-28 pass where the letter gives three months', () => {
    const law = { name: 'local rule', monthsIfOwed: 3, monthsIfNotOwed: 1 }
    const plan = unclaimedPlan({ ...clock, registeredOn: day('2026-11-30'), law }, day('2027-03-01'), calendar, rules)
    expect(plan.after).toEqual({ state: 'law', name: 'local rule', noStepThrough: '2027-02-28' })
  })
  it('restarts the fourteen days on contact, not the ninety, which only the manager pauses', () => {
    const plan = unclaimedPlan(
      { ...clock, lastContactOn: day('2026-09-10'), pausedDays: 10 },
      day('2026-09-20'),
      calendar,
      rules,
    )
    expect(plan.steps.map((s) => s.on)).toEqual(['2026-09-24', '2026-10-25', '2026-12-09'])
    const earlier = unclaimedPlan({ ...clock, lastContactOn: day('2026-08-01') }, day('2026-09-20'), calendar, rules)
    expect(earlier.steps[0]?.on).toBe('2026-09-14')
  })
})

describe('next actor and date', () => {
  it('is there for every step but the last', () => {
    for (const step of steps) {
      const next = nextFor(step, day('2026-11-25'), calendar, rules)
      expect(next === null, step).toBe(step === 'handed-over')
    }
  })
  it('rises three working days after a part was expected', () => {
    expect(
      nextFor('awaiting-parts', day('2026-11-25'), calendar, rules, { partsExpectedOn: day('2026-12-23') }),
    ).toEqual({
      actor: 'stock',
      by: '2026-12-30',
    })
  })
  it('follows the side state', () => {
    expect(
      nextFor('on-the-bench', day('2026-11-25'), calendar, rules, {
        side: { state: 'missing', until: day('2026-11-26') },
      }),
    ).toEqual({
      actor: 'manager',
      by: '2026-11-26',
    })
  })
})

describe('twins', () => {
  const look = { maker: 'Alder & Finch', model: 'Harbour', metal: 'steel', dial: 'blue', diameterMm: 38 }
  it('are watches of the same model and look', () => {
    expect(mightBeTaken(look, { ...look, maker: 'alder&finch', diameterMm: 38.5 }, 1)).toBe(true)
    expect(mightBeTaken(look, { ...look, dial: 'black' }, 1)).toBe(false)
    expect(mightBeTaken(look, { ...look, diameterMm: 41 }, 1)).toBe(false)
    expect(mightBeTaken(look, { ...look, metal: null, dial: null, diameterMm: null }, 1)).toBe(true)
    expect(mightBeTaken(look, { maker: null, model: null, metal: null, dial: null, diameterMm: 38 }, 1)).toBe(false)
    expect(mightBeTaken({ ...look, maker: null, model: null }, look, 1)).toBe(true)
  })
})

describe('the load of the benches (worked examples of common practice, no source)', () => {
  const minutes = 384 * 10
  const work = { 'three-hand': 31 * 210, chronograph: 4 * 480 }
  it('of 31 services and 4 chronographs on two benches, one of which may do both, is 1.10, over by 750 minutes', () => {
    const benches = [{ skills: ['three-hand'] }, { skills: ['three-hand', 'chronograph'] }]
    const { skills, choke } = loadsOf(work, benches, minutes, 85)
    expect(skills).toEqual([
      { skill: 'chronograph', needed: 1920, available: 3840, load: 0.5, standing: 'free' },
      { skill: 'three-hand', needed: 6510, available: 7680, load: 0.85, standing: 'free' },
    ])
    expect(choke).toEqual({
      skills: ['chronograph', 'three-hand'],
      needed: 8430,
      available: 7680,
      load: 1.1,
      standing: 'over',
    })
  })
  it('of benches that share nothing chokes at the fuller one; a skill nobody has stands by itself', () => {
    const benches = [{ skills: ['three-hand'] }, { skills: ['three-hand'] }, { skills: ['chronograph'] }]
    const { skills, choke } = loadsOf({ ...work, vintage: 900 }, benches, minutes, 85)
    expect(choke).toMatchObject({ skills: ['three-hand', 'vintage'], load: 0.96 })
    expect(skills.find((one) => one.skill === 'vintage')).toMatchObject({ load: null, standing: 'nobody' })
    expect(loadsOf({}, benches, minutes, 85)).toEqual({ skills: [], choke: null })
  })
  it('of 24 final checks of 20 minutes a day is 1.25; with 8 minutes for 14 cells of them 0.81', () => {
    expect(loadOf(24 * 20, 384, 85)).toMatchObject({ load: 1.25, standing: 'over' })
    expect(loadOf(14 * 8 + 10 * 20, 384, 85)).toMatchObject({ load: 0.81, standing: 'free' })
    expect(loadOf(85, 100, 85).standing).toBe('free')
    expect(loadOf(86, 100, 85).standing).toBe('tight')
    expect(loadOf(100, 100, 85).standing).toBe('tight')
    expect(loadOf(101, 100, 85).standing).toBe('over')
  })
  it('of shared places goes by what each class takes of them, and only before the step that is past them', () => {
    const watches = [
      ...Array.from({ length: 100 }, () => ({ step: 'on-the-bench' as const, workClass: 'three-hand' as const })),
      ...Array.from({ length: 30 }, () => ({ step: 'closed' as const, workClass: 'quartz' as const })),
      { step: 'ready-for-bench' as const, workClass: 'strap' as const },
      { step: 'under-observation' as const, workClass: 'vintage' as const },
      { step: 'on-the-bench' as const, workClass: null },
    ]
    const none = { ...sharedPlacesTable.default, 'hot-plate': { atOnce: 0, minutesADay: 480, quartz: 15 } }
    expect(placeLoads(watches, none, 10, 85)).toEqual([
      { place: 'washing-machine', watches: 100, needed: 4000, available: 4800, load: 0.83, standing: 'free' },
      { place: 'timing-stand', watches: 101, needed: 2020, available: 4800, load: 0.42, standing: 'free' },
      { place: 'winder', watches: 101, needed: 145_440, available: 86_400, load: 1.68, standing: 'over' },
      { place: 'pressure-tester', watches: 130, needed: 650, available: 4800, load: 0.14, standing: 'free' },
      { place: 'hot-plate', watches: 30, needed: 450, available: 0, load: null, standing: 'nobody' },
    ])
  })
  it('140 in the house, 14 leaving a day: ten working days; half of those that wait for a yes less, 8.6', () => {
    expect([daysThroughTheHouse(140, 280, 20), daysThroughTheHouse(120, 280, 20)]).toEqual([10, 8.6])
    expect([daysThroughTheHouse(3, 0, 20), daysThroughTheHouse(0, 5, 20)]).toEqual([null, 0])
  })
})
