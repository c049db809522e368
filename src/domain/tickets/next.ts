import { addDays, type Day } from '../day.ts'
import type { SideState, Step } from './steps.ts'
import { addWorkingDays, type WorkCalendar } from './working-days.ts'

/** Who must act next on a ticket and by when. Every ticket that has not ended has both. */
export type Next = { readonly actor: 'counter' | 'bench' | 'stock' | 'manager' | 'final-checker'; readonly by: Day }

type Rule = { readonly actor: Next['actor']; readonly days: number }

/** Who acts at each step, and the working days the house allows; house defaults that a centre may change. */
export const stepRules: Readonly<Record<Exclude<Step, 'handed-over'>, Rule>> = {
  'booked-in': { actor: 'counter', days: 0 },
  'awaiting-look': { actor: 'bench', days: 2 },
  'looked-over': { actor: 'bench', days: 1 },
  priced: { actor: 'counter', days: 1 },
  'awaiting-yes': { actor: 'counter', days: 3 },
  'return-undone': { actor: 'bench', days: 3 },
  'awaiting-parts': { actor: 'stock', days: 10 },
  'ready-for-bench': { actor: 'bench', days: 5 },
  'on-the-bench': { actor: 'bench', days: 5 },
  closed: { actor: 'bench', days: 1 },
  'under-observation': { actor: 'bench', days: 3 },
  'final-check': { actor: 'final-checker', days: 1 },
  ready: { actor: 'counter', days: 14 },
}

/** Side states: who must move it. Missing, evidence and dispute are the manager's. */
export const sideActors: Readonly<Record<SideState, Next['actor']>> = {
  'on-hold': 'counter',
  'sent-out': 'stock',
  unclaimed: 'manager',
  dispute: 'manager',
  missing: 'manager',
  evidence: 'manager',
}

/** Working days after the day a part was expected on which the line rises to the manager's list. */
export const PARTS_GRACE_WORKING_DAYS = 3

/**
 * Next actor and day. A side state's own day wins. Waiting for parts ends three working days after the latest expected
 * day; without one the step's own days count.
 */
export function nextFor(
  step: Step,
  today: Day,
  calendar: WorkCalendar,
  more: {
    readonly side?: { readonly state: SideState; readonly until: Day } | null
    readonly partsExpectedOn?: Day | null
  } = {},
): Next | null {
  if (step === 'handed-over') return null
  if (more.side) return { actor: sideActors[more.side.state], by: more.side.until }
  const rule = stepRules[step]
  if (step === 'awaiting-parts' && more.partsExpectedOn) {
    return { actor: rule.actor, by: addWorkingDays(more.partsExpectedOn, PARTS_GRACE_WORKING_DAYS, calendar) }
  }
  if (step === 'ready') return { actor: rule.actor, by: addDays(today, rule.days) }
  return { actor: rule.actor, by: addWorkingDays(today, rule.days, calendar) }
}
