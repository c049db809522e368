import fc from 'fast-check'
import { expect, test } from 'vitest'
import { type Day, dayOfNumber, numberOfDay, type PartialDay } from '../../../src/domain/day.ts'
import { defaultHouseRules } from '../../../src/domain/house-rules.ts'
import { codesFor, kindsInDoubt } from '../../../src/domain/reckoning/doubts.ts'
import { type Facts, type HistoryEvent, obligationKinds } from '../../../src/domain/reckoning/facts.ts'
import { reckon } from '../../../src/domain/reckoning/reckon.ts'
import { anyEvent, anyRequest } from './any-request.ts'

const RUNS = Number(process.env.PROPERTY_RUNS ?? 1000)

/** What a person sees of each kind: its rule and its dates, or why it does not arise. */
const datesOf = (facts: Facts, on: Day) => {
  const { obligations, without } = reckon(facts, defaultHouseRules, on)
  return Object.fromEntries(
    obligationKinds.map((kind) => {
      const due = obligations.find((one) => one.kind === kind)
      return [
        kind,
        due ? `${due.rule} ${due.dueOn} ${due.noticesDueOn}` : without.find((w) => w.kind === kind)?.because,
      ]
    }),
  )
}

test('a kind that is not in doubt has the same dates whatever the day of the event in doubt should have been', () => {
  const moved = fc.record({ request: anyRequest, event: anyEvent, days: fc.integer({ min: 0, max: 3000 }) })
  fc.assert(
    fc.property(moved, ({ request: { on, facts }, event, days }) => {
      const future = { ...event, on: dayOfNumber(numberOfDay(on) + 40) as unknown as PartialDay, learned: on }
      const right = { ...event, on: dayOfNumber(numberOfDay(on) - days) as unknown as PartialDay, learned: on }
      const history = facts.history ?? []
      const typed = { ...facts, history: [...history, future as HistoryEvent] }
      const { warnings } = reckon(typed, defaultHouseRules, on)
      const mine = warnings.find((one) => 'history' in one && one.history === history.length)
      if (!mine) throw new Error('no warning')
      const doubted = kindsInDoubt(mine, typed.history)
      expect(doubted.length).toBeGreaterThan(0)
      const now = datesOf(typed, on)
      const then = datesOf({ ...facts, history: [...history, right as HistoryEvent] }, on)
      for (const kind of obligationKinds)
        if (!doubted.includes(kind)) expect([kind, then[kind]]).toEqual([kind, now[kind]])
    }),
    { numRuns: RUNS },
  )
})

test('a contradiction about water leaves the kinds alone that do not ask about water', () => {
  fc.assert(
    fc.property(anyRequest, fc.constantFrom('never', 'often', 'now-and-then', 'unknown'), ({ on, facts }, water) => {
      const dates = (wear: object) => datesOf({ ...facts, wear: { ...facts.wear, ...wear } as Facts['wear'] }, on)
      const doubted = kindsInDoubt({ code: 'contradiction', fact: 'wear.water' }, null)
      const [before, after] = [dates({ water: 'never', salt: 'yes' }), dates({ water, salt: 'no' })]
      for (const kind of obligationKinds)
        if (!doubted.includes(kind)) expect([kind, after[kind]]).toEqual([kind, before[kind]])
    }),
    { numRuns: RUNS },
  )
})

test('the day of making or selling puts all in doubt; what is said at the counter none', () => {
  expect(kindsInDoubt({ code: 'future-dated', fact: 'watch.made' }, [])).toEqual(obligationKinds)
  expect(kindsInDoubt({ code: 'contradiction', fact: 'watch.sold' }, [])).toEqual(obligationKinds)
  expect(kindsInDoubt({ code: 'keep-dry' }, [])).toEqual([])
  const history = [{ event: 'complete-service', on: '2027-01-12', source: 'own-record' }] as never
  const warnings = [{ code: 'future-dated', history: 0 }, { code: 'keep-dry' }] as const
  expect(obligationKinds.map((kind) => codesFor(kind, warnings, history))).toEqual([
    ['future-dated', 'keep-dry'],
    ['future-dated', 'keep-dry'],
    ['keep-dry'],
    ['future-dated', 'keep-dry'],
  ])
})
