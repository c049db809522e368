import { dayOfNumber } from '../day.ts'
import type { WearQuestion, WouldChange } from './answer.ts'
import type { ObligationKind } from './facts.ts'
import type { KindReckoner, Outcome, Setting } from './outcome.ts'
import type { Known } from './usable.ts'

const yesNo = ['yes', 'no'] as const
const waterUse = ['never', 'now-and-then', 'often', 'diving', 'in-water'] as const

/** What an owner can be asked about the wear, and every answer there is, in the order they are listed. */
const questions: readonly (readonly [WearQuestion, readonly string[]])[] = [
  ['daily', yesNo],
  ['vibration', yesNo],
  ['heat', yesNo],
  ['cold', yesNo],
  ['water', waterUse],
  ['salt', yesNo],
  ['chlorine', yesNo],
  ['hotWater', yesNo],
]

const dueOnOf = (outcome: Outcome): number | null => (outcome.is === 'without' ? null : outcome.dueOn)

/** For each unknown fact of the wear, the answers that would by themselves move the date or end the obligation. */
export function wouldChange(
  kind: ObligationKind,
  reckoner: KindReckoner,
  known: Known,
  setting: Setting,
  dueOn: number,
): WouldChange[] {
  const changes: WouldChange[] = []
  if (kind === 'cell-change') return changes
  for (const [question, answers] of questions) {
    if (known.wear[question] !== 'unknown') continue
    for (const to of answers) {
      const then = dueOnOf(reckoner({ ...known, wear: { ...known.wear, [question]: to } }, setting))
      if (then !== dueOn)
        changes.push({ fact: `wear.${question}`, to, dueOn: then === null ? null : dayOfNumber(then) })
    }
  }
  return changes
}
