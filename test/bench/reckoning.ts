import type { Day, PartialDay } from '../../src/domain/day.ts'
import { dayOfNumber, numberOfDay } from '../../src/domain/day.ts'
import { defaultHouseRules } from '../../src/domain/house-rules.ts'
import {
  type Facts,
  type HistoryEvent,
  movementConditions,
  signs,
  sources,
  watchKinds,
  waterUses,
  yesNoWords,
} from '../../src/domain/reckoning/facts.ts'
import { reckon, reckonAndKeep } from '../../src/domain/reckoning/reckon.ts'
import { numberAsked, sizesAsked, tell } from '../support/bench.ts'

const ON = '2026-11-25' as Day

/** A small repeatable generator (a linear congruential one, constants from Numerical Recipes), so that runs compare. */
function dice(state: number) {
  const next = () => {
    state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0
    return state / 2 ** 32
  }
  const upTo = (n: number) => Math.floor(next() * n)
  return { upTo, chance: (p: number) => next() < p, of: <T>(list: readonly T[]): T => list[upTo(list.length)] as T }
}

/** Watches as a centre has them on file: every kind, three to six events, some days known only to the month. */
function invented(count: number): Facts[] {
  const { upTo, chance, of } = dice(2026)
  const today = numberOfDay(ON)
  const day = (back: number) => dayOfNumber(today - upTo(back))
  const partial = (back: number) => {
    const full = day(back)
    return (chance(0.7) ? full : chance(0.7) ? full.slice(0, 7) : full.slice(0, 4)) as PartialDay
  }
  const event = (): HistoryEvent => {
    const happened = {
      on: partial(4000),
      source: chance(0.7) ? ('own-record' as const) : of(sources),
      ...(chance(0.6) && { learned: day(1500) }),
    }
    switch (upTo(9)) {
      case 0:
      case 1:
        return { event: 'complete-service', ...happened }
      case 2:
      case 3:
        return { event: 'water-test', ...happened, passed: chance(0.9), bar: 10 }
      case 4:
      case 5:
        return {
          event: 'cell-fitted',
          ...happened,
          ...(chance(0.7) && { bestBefore: '2028-06' as PartialDay }),
          ...(chance(0.3) && { capacityMah: 28, consumptionMicroamps: 1 + upTo(20) / 10 }),
        }
      case 6:
        return { event: 'seals-replaced', ...happened }
      case 7:
        return chance(0.2)
          ? { event: 'movement-fitted', ...happened, condition: of(movementConditions) }
          : { event: 'case-opened', ...happened }
      default:
        return { event: 'sign', ...happened, sign: of(signs) }
    }
  }
  return Array.from({ length: count }, () => ({
    watch: {
      kind: of(watchKinds),
      beatsPerHour: of([18_000, 21_600, 28_800, 36_000]),
      waterClaim: { marked: of(['none', 'plain', 'rated', 'rated', 'unknown'] as const) },
      made: partial(8000),
      sold: partial(5000),
      firstSeen: day(3000),
    },
    wear: {
      daily: of(yesNoWords),
      vibration: of(yesNoWords),
      heat: of(yesNoWords),
      cold: of(yesNoWords),
      water: of(waterUses),
      salt: of(yesNoWords),
      learned: day(1000),
    },
    guidance: chance(0.5)
      ? [{ obligation: 'complete-service', months: 60, upToMonths: 84, inForceFrom: day(2000), learned: day(2000) }]
      : [],
    notes: chance(0.1) ? [{ obligation: 'complete-service', months: 36, on: day(2000) }] : [],
    history: Array.from({ length: 3 + upTo(4) }, event),
  }))
}

const perSecond = (watches: readonly Facts[], work: (facts: Facts) => unknown): number[] => {
  const round = () => {
    const start = process.hrtime.bigint()
    for (const facts of watches) work(facts)
    return watches.length / (Number(process.hrtime.bigint() - start) / 1e9)
  }
  // once unmeasured, until the code is compiled
  round()
  return Array.from({ length: numberAsked('rounds', 5, 2) }, round)
}

/** Rounds over the same watches, on one core; nothing to compare it with. */
for (const size of sizesAsked([50_000], [5000])) {
  const watches = invented(size)
  const figure = { unit: '/s', size }
  tell({
    ...figure,
    work: 'the pure reckoning, without trace',
    ours: perSecond(watches, (facts) => reckon(facts, defaultHouseRules, ON)),
    reach: { atLeast: 100_000 },
    promisedAt: 50_000,
  })
  tell({
    ...figure,
    work: 'with what a stored obligation keeps',
    ours: perSecond(watches, (facts) => reckonAndKeep(facts, defaultHouseRules, ON)),
  })
  tell({
    ...figure,
    size: size / 10,
    work: 'with trace and what would change it',
    ours: perSecond(watches.slice(0, size / 10), (facts) =>
      reckon(facts, defaultHouseRules, ON, { trace: true, wouldChange: true }),
    ),
  })
}
