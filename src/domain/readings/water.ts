import type { TicketRules } from '../tickets/rules.ts'
import type { TestKind, WaterClaim } from '../tickets/snapshot.ts'
import type { ReadingFault } from './bounds.ts'

/**
 * What a water test has to be so that it counts, and whether it was passed. The figures are those of public summaries of
 * ISO 2281:1990 and ISO 6425, kept as data with house rules over them; no conformity with a standard is claimed, and a
 * passed test speaks of its day and its pressure only.
 */
const waterLimits = {
  /** Air through the case at 2 bar, µg/min, inclusive (ISO 2281:1990 §4.1). */
  leakMax: 50,
  /** Wet overpressure is held this long, s. */
  wetSeconds: 600,
  /** Shallow immersion lasts this long, s. */
  immersionSeconds: 3600,
  /** A plain mark is tested at this, bar. */
  plainBar: 2,
  /** A diver's watch is tested at this share of its rating, percent (ISO 6425). */
  diverPercent: 125,
  /** A diver's mark begins at a hundred metres, bar (ISO 6425). */
  diverFromBar: 10,
} as const

export type WaterLimits = { readonly [K in keyof typeof waterLimits]: number } & {
  /** a case is left to settle this long before a dry test, min */
  readonly settledMinutes: number
  /** pressures for acrylic, vintage and unknown watches, bar, and only with the owner's consent */
  readonly gentleMin: number
  readonly gentleMax: number
}

/** The limits with the house rules of a day in them. */
export const limitsUnder = (rules: TicketRules): WaterLimits => ({
  ...waterLimits,
  settledMinutes: rules.settledMinutes,
  gentleMin: -rules.gentleVacuumHundredths / 100,
  gentleMax: rules.gentlePressureHundredths / 100,
})

export type TestedWatch = {
  readonly claim: WaterClaim
  /** Rated bar, as marked: 30 m is 3 bar by the marking convention, never by physics. */
  readonly ratedBar: number | null
  readonly diver: boolean
  readonly crystal: 'acrylic' | 'mineral' | 'sapphire' | 'unknown'
  readonly vintage: boolean
  readonly ownerConsents: boolean
}

export type WaterTest = {
  readonly kind: TestKind
  readonly bar: number | null
  readonly seconds: number | null
  readonly deformationMicrometres: number | null
  readonly leakMicrogramsPerMinute: number | null
  readonly settledMinutes: number | null
  readonly condensation: {
    readonly plateC: number
    readonly minutes: number
    readonly dropC: number
    readonly fogInside: boolean
  } | null
  /** What the tester or the person saw. */
  readonly seen: 'passed' | 'failed'
}

const needsCare = (watch: TestedWatch): boolean =>
  watch.crystal === 'acrylic' || watch.crystal === 'unknown' || watch.vintage || watch.claim === 'unknown'

/** The highest pressure a watch may be tested at, bar; null where none may be applied. */
export function highestPressure(watch: TestedWatch, limits: WaterLimits): number | null {
  if (needsCare(watch)) return watch.ownerConsents ? limits.gentleMax : null
  if (watch.claim === 'none') return null
  if (watch.claim === 'plain') return limits.plainBar
  if (watch.ratedBar === null) return limits.plainBar
  return watch.diver ? (watch.ratedBar * limits.diverPercent) / 100 : watch.ratedBar
}

/** Whether a watch can carry a diver's mark at all: less than a hundred metres is none. */
export const mayBeDiver = ({ claim, ratedBar }: Pick<TestedWatch, 'claim' | 'ratedBar'>): boolean =>
  claim === 'rated' && ratedBar !== null && ratedBar >= waterLimits.diverFromBar

const within = (value: number, min: number, max: number) => value >= min && value <= max

/**
 * Faults for which a test is not taken at all: out of range, above the claim, in water before it passed dry.
 * `passedDry` is a dry test that counts, passed since the case was last closed, with none failed after it.
 */
export function waterTestFaults(
  test: WaterTest,
  watch: TestedWatch,
  passedDry: boolean,
  limits: WaterLimits,
): ReadingFault[] {
  const faults: ReadingFault[] = []
  const wet = test.kind === 'overpressure-wet' || test.kind === 'immersion'
  if (wet && !passedDry) {
    faults.push({
      key: 'kind',
      detail: 'a watch goes into water only after it passed a dry test since the case was last closed',
    })
  }
  const pressed = test.kind === 'vacuum-dry' || test.kind === 'overpressure-dry' || test.kind === 'overpressure-wet'
  if (pressed) {
    if (test.bar === null) faults.push({ key: 'bar', detail: 'give the pressure in bar' })
    else if (!within(test.bar, -0.9, 125)) faults.push({ key: 'bar', detail: 'must lie between -0.9 and 125 bar' })
    else if (test.kind === 'vacuum-dry' ? test.bar >= 0 : test.bar <= 0) {
      faults.push({
        key: 'bar',
        detail:
          test.kind === 'vacuum-dry' ? 'a vacuum is a negative pressure' : 'an overpressure is a positive pressure',
      })
    } else {
      const highest = highestPressure(watch, limits)
      if (needsCare(watch) && !watch.ownerConsents) {
        faults.push({
          key: 'bar',
          detail:
            "an acrylic or unknown crystal, a vintage watch or an unknown claim is tested only with the owner's consent",
        })
      } else if (needsCare(watch) && !within(test.bar, limits.gentleMin, limits.gentleMax)) {
        faults.push({
          key: 'bar',
          detail: `this watch is tested between ${limits.gentleMin} and ${limits.gentleMax} bar`,
        })
      } else if (highest !== null && test.bar > highest) {
        faults.push({ key: 'bar', detail: `not above the claim: at most ${highest} bar` })
      } else if (highest === null && test.bar > 0) {
        faults.push({ key: 'bar', detail: 'a watch without a water claim is not put under pressure' })
      }
    }
  } else if (test.bar !== null) faults.push({ key: 'bar', detail: `${test.kind} has no pressure` })
  if (test.kind !== 'condensation') {
    if (test.seconds === null) faults.push({ key: 'seconds', detail: 'give the duration in seconds' })
    else if (!within(test.seconds, 30, 7200)) faults.push({ key: 'seconds', detail: 'must lie between 30 and 7200 s' })
  }
  if (test.kind === 'condensation') {
    if (test.condensation === null)
      faults.push({ key: 'condensation', detail: 'give plate, minutes, drop and what was seen' })
    else {
      if (!within(test.condensation.plateC, 40, 45))
        faults.push({ key: 'condensation/plateC', detail: 'must lie between 40 and 45 C' })
      if (!within(test.condensation.minutes, 10, 20))
        faults.push({ key: 'condensation/minutes', detail: 'must lie between 10 and 20 min' })
      if (!within(test.condensation.dropC, 18, 25))
        faults.push({ key: 'condensation/dropC', detail: 'must lie between 18 and 25 C' })
    }
  } else if (test.condensation !== null)
    faults.push({ key: 'condensation', detail: `${test.kind} has no condensation` })
  if (test.leakMicrogramsPerMinute !== null && !within(test.leakMicrogramsPerMinute, 0, 1_000_000)) {
    faults.push({ key: 'leakMicrogramsPerMinute', detail: 'must lie between 0 and 1000000' })
  }
  return faults
}

export type WaterJudgement = {
  readonly passed: boolean
  readonly because: readonly string[]
  /** Made as the kind asks; otherwise a pass opens nothing. A failure counts however it was made. */
  readonly counts: boolean
  readonly shortcomings: readonly string[]
  readonly openAtOnce: boolean
}

export function judgeWaterTest(test: WaterTest, limits: WaterLimits): WaterJudgement {
  const because: string[] = []
  if (test.seen === 'failed') because.push('seen to fail')
  if (test.leakMicrogramsPerMinute !== null && test.leakMicrogramsPerMinute > limits.leakMax) {
    because.push(`leaks ${test.leakMicrogramsPerMinute} µg/min, more than ${limits.leakMax}`)
  }
  const fog = test.condensation?.fogInside === true
  if (fog) because.push('fog inside the crystal')
  const shortcomings: string[] = []
  const tooShort = (wanted: number) => test.seconds !== null && test.seconds < wanted
  if (test.kind === 'overpressure-wet' && tooShort(limits.wetSeconds))
    shortcomings.push(`held for less than ${limits.wetSeconds} s`)
  if (test.kind === 'immersion' && tooShort(limits.immersionSeconds))
    shortcomings.push(`under water for less than ${limits.immersionSeconds} s`)
  const dry = test.kind === 'vacuum-dry' || test.kind === 'overpressure-dry'
  if (dry && (test.settledMinutes === null || test.settledMinutes < limits.settledMinutes)) {
    shortcomings.push(`the case had not settled for ${limits.settledMinutes} min`)
  }
  return { passed: because.length === 0, because, counts: shortcomings.length === 0, shortcomings, openAtOnce: fog }
}

/** The pressure that is agreed where nobody says otherwise, bar; null where it has to be agreed with the owner. */
export function usualTestPressure(watch: TestedWatch, limits: WaterLimits): number | null {
  return needsCare(watch) ? null : highestPressure(watch, limits)
}
