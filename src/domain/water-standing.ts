import { type PartialDay, spanOf } from './day.ts'
import type { ClaimMark, EventName, Sign } from './reckoning/facts.ts'
import { openingEvents, signsOfTrouble } from './reckoning/water-check.ts'

/** A fact that says something about whether a case keeps water out. */
export type WaterFact = {
  readonly event: string
  readonly happened: PartialDay
  readonly source: string
  readonly passed: boolean | null
  readonly bar: number | null
  readonly sign: string | null
}

export type WaterStanding = {
  readonly state: 'not-claimed' | 'claimed-untested' | 'passed' | 'failed' | 'withdrawn'
  /** the day of what decides; null where nothing is on record */
  readonly on: PartialDay | null
  readonly bar: number | null
  readonly words: string
}

/**
 * "Can I swim with it?", from a test with its date and pressure, never from the dial. Facts in the order they were recorded;
 * what may have come after the last passed test, by days known only roughly, counts as after it. Only a test of the house
 * or on paper is one.
 */
export function waterStanding(claim: ClaimMark, facts: readonly WaterFact[]): WaterStanding {
  const known = facts.map((fact, order) => ({ ...fact, ...spanOf(fact.happened), order }))
  const test = known
    .filter((fact) => fact.event === 'water-test' && fact.passed === true && fact.source !== 'owner-word')
    .reduce<(typeof known)[number] | null>(
      (last, fact) => (last === null || fact.first >= last.first ? fact : last),
      null,
    )
  const since = known.filter(
    (fact) => test === null || fact.last > test.first || (fact.last === test.first && fact.order > test.order),
  )
  const withdrawn = since.findLast((fact) => fact.event === 'water-claim-withdrawn')
  if (withdrawn)
    return told('withdrawn', withdrawn, `no longer to be treated as water-resistant since ${withdrawn.happened}`)
  const failed = since.findLast((fact) => fact.event === 'water-test' && fact.passed === false)
  if (failed) return told('failed', failed, `failed its test of ${failed.happened}: keep it out of water`)
  const untested = claim === 'none' ? 'not-claimed' : 'claimed-untested'
  if (test === null)
    return {
      state: untested,
      on: null,
      bar: null,
      words:
        claim === 'none'
          ? 'no water resistance is claimed: keep it out of water'
          : 'no test is on record, and what the dial says is none: keep it out of water until it is tested',
    }
  const undone = since.find(
    (fact) =>
      openingEvents.has(fact.event as EventName) || (fact.event === 'sign' && signsOfTrouble.has(fact.sign as Sign)),
  )
  if (undone) {
    const what = undone.event === 'sign' ? (undone.sign ?? 'a sign of trouble') : undone.event
    return told(
      untested,
      undone,
      `${what.replaceAll('-', ' ')} on ${undone.happened}, after its test of ${test.happened}: keep it out of water until it is tested again`,
    )
  }
  return {
    ...told(
      'passed',
      test,
      `passed its test${test.bar === null ? '' : ` at ${test.bar} bar`} on ${test.happened}; that is no promise for today: seals age, and heat, soap, blows and opening the case shorten it`,
    ),
    bar: test.bar,
  }
}

const told = (state: WaterStanding['state'], { happened }: WaterFact, words: string): WaterStanding => ({
  state,
  on: happened,
  bar: null,
  words,
})
