import fc from 'fast-check'
import { addDays, type Day, dayOfNumber, isDay, numberOfDay, type PartialDay, spanOf } from '../../../src/domain/day.ts'
import {
  claimMarks,
  type Facts,
  type GuidanceFact,
  type HistoryEvent,
  movementConditions,
  type NoteFact,
  obligationKinds,
  signs,
  sources,
  type WatchFacts,
  type WaterUse,
  type WearFacts,
  watchKinds,
  waterUses,
  type YesNo,
  yesNoWords,
} from '../../../src/domain/reckoning/facts.ts'

/**
 * Any request: days drawn from a few years, half of them from a handful of dates, so that events fall on one day, on
 * the day of asking, just after it, and around the dates they lead to.
 */
export interface AnyRequest {
  readonly on: Day
  readonly facts: Facts
}

const from = (day: string) => numberOfDay(day as Day)
const spread = fc.integer({ min: from('2019-01-01'), max: from('2028-12-31') }).map(dayOfNumber)
const crowded = fc.constantFrom(
  ...(['2022-02-28', '2024-02-29', '2024-06-10', '2025-06-10', '2026-02-28', '2026-06-10', '2026-06-11'] as Day[]),
)
const anyDay = fc.oneof(spread, crowded)
const anyPartial = fc.oneof(
  { weight: 5, arbitrary: anyDay as fc.Arbitrary<string> },
  { weight: 2, arbitrary: anyDay.map((day) => day.slice(0, 7)) },
  { weight: 1, arbitrary: anyDay.map((day) => day.slice(0, 4)) },
) as fc.Arbitrary<PartialDay>
const maybe = <T>(arbitrary: fc.Arbitrary<T>) => fc.option(arbitrary, { nil: undefined })
const oneOf = <T extends string>(words: readonly T[]) => fc.constantFrom(...words)
const months = fc.oneof(fc.integer({ min: 1, max: 120 }), fc.constantFrom(12, 24, 36, 48, 60))

const happened = { on: anyPartial, source: oneOf(sources), learned: maybe(anyDay) }

export const anyEvent: fc.Arbitrary<HistoryEvent> = fc.oneof(
  fc.record({
    event: oneOf(['water-claim-withdrawn', 'case-opened', 'seals-replaced', 'cell-removed'] as const),
    ...happened,
  }),
  fc.record({ event: fc.constant('complete-service' as const), ...happened }),
  fc.record({
    event: fc.constant('movement-fitted' as const),
    ...happened,
    condition: maybe(oneOf(movementConditions)),
  }),
  fc.record({ event: fc.constant('water-test' as const), ...happened, passed: fc.boolean() }),
  fc.record({
    event: fc.constant('cell-fitted' as const),
    ...happened,
    bestBefore: maybe(anyPartial),
    capacityMah: maybe(fc.constantFrom(10.227, 28, 55.5)),
    consumptionMicroamps: maybe(fc.constantFrom(0.6, 1.9, 25, 900)),
  }),
  fc.record({ event: fc.constant('sign' as const), ...happened, sign: oneOf(signs) }),
)

const anyGuidance: fc.Arbitrary<GuidanceFact> = fc
  .record({
    obligation: oneOf(obligationKinds),
    months,
    more: maybe(fc.integer({ min: 0, max: 120 })),
    inForceFrom: anyDay,
    learned: maybe(anyDay),
  })
  .map(({ more, ...row }) => ({ ...row, upToMonths: more === undefined ? null : row.months + more }))

const anyNote: fc.Arbitrary<NoteFact> = fc.record({ obligation: oneOf(obligationKinds), months, on: anyDay })

const anyWatch: fc.Arbitrary<Omit<WatchFacts, 'firstSeen'>> = fc.record({
  kind: oneOf(watchKinds),
  beatsPerHour: maybe(fc.constantFrom(18_000, 28_800, 28_801, 36_000)),
  waterClaim: maybe(
    fc.oneof(
      fc.record({ marked: fc.constant('rated' as const), bar: maybe(fc.constantFrom(3, 9.999999, 10, 30)) }),
      fc.record({ marked: oneOf(claimMarks) }),
    ),
  ),
  made: maybe(anyPartial),
  sold: maybe(anyPartial),
})

const wearOf = (yesNo: fc.Arbitrary<YesNo>, water: fc.Arbitrary<WaterUse>): fc.Arbitrary<WearFacts> =>
  fc.record({
    daily: yesNo,
    vibration: yesNo,
    heat: yesNo,
    cold: yesNo,
    water,
    salt: yesNo,
    chlorine: yesNo,
    hotWater: yesNo,
    learned: maybe(anyDay),
  })

/** Half of them easy wear or nearly, so that one fact more or less decides. */
export const anyWear: fc.Arbitrary<WearFacts> = fc.oneof(
  wearOf(oneOf(yesNoWords), oneOf(waterUses)),
  wearOf(
    fc.constantFrom<YesNo>('no', 'no', 'no', 'no', 'no', 'no', 'no', 'no', 'unknown', 'yes'),
    fc.constantFrom<WaterUse>('now-and-then', 'now-and-then', 'now-and-then', 'unknown', 'never'),
  ),
)

export const anyRequest: fc.Arbitrary<AnyRequest> = fc
  .record({
    on: anyDay,
    knownFor: fc.oneof(fc.integer({ min: 0, max: 60 }), fc.integer({ min: 0, max: 3000 })),
    watch: anyWatch,
    wear: maybe(anyWear),
    guidance: fc.array(anyGuidance, { maxLength: 3 }),
    notes: fc.array(anyNote, { maxLength: 2 }),
    history: fc.array(anyEvent, { maxLength: 7 }),
  })
  .map(({ on, knownFor, watch, ...facts }) => ({
    on,
    facts: { watch: { ...watch, firstSeen: addDays(on, -knownFor) }, ...facts },
  }))

export const firstDay = (partial: PartialDay): Day => dayOfNumber(spanOf(partial).first)
export const lastDay = (event: HistoryEvent): Day => {
  const { first, last } = spanOf(event.on)
  return dayOfNumber(event.learned == null ? last : Math.max(first, Math.min(last, numberOfDay(event.learned))))
}
export const isFullDay = (partial: PartialDay) => isDay(partial)
/** Learned and begun by that day. Says nothing of the day the watch was made. */
export const knownBy = (event: HistoryEvent, on: Day) =>
  firstDay(event.on) <= on && (event.learned == null || event.learned <= on)
