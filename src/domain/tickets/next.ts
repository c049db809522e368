import { addDays, type Day } from '../day.ts'
import type { TicketRuleKey, TicketRules } from './rules.ts'
import type { SideState, Step } from './steps.ts'
import { addWorkingDays, type WorkCalendar } from './working-days.ts'

/** Who must act next on a ticket and by when. Every ticket that has not ended has both. */
export type Next = { readonly actor: 'counter' | 'bench' | 'stock' | 'manager' | 'final-checker'; readonly by: Day }

type Rule = { readonly actor: Next['actor']; readonly days: TicketRuleKey }

/** Who acts at each step, and the house rule that says how long it may take. */
const stepRules: Readonly<Record<Exclude<Step, 'handed-over'>, Rule>> = {
  'booked-in': { actor: 'counter', days: 'bookedInWorkingDays' },
  'awaiting-look': { actor: 'bench', days: 'awaitingLookWorkingDays' },
  'looked-over': { actor: 'bench', days: 'lookedOverWorkingDays' },
  priced: { actor: 'counter', days: 'pricedWorkingDays' },
  'awaiting-yes': { actor: 'counter', days: 'awaitingYesWorkingDays' },
  'return-undone': { actor: 'bench', days: 'returnUndoneWorkingDays' },
  'awaiting-parts': { actor: 'stock', days: 'awaitingPartsWorkingDays' },
  'ready-for-bench': { actor: 'bench', days: 'readyForBenchWorkingDays' },
  'on-the-bench': { actor: 'bench', days: 'onTheBenchWorkingDays' },
  closed: { actor: 'bench', days: 'closedWorkingDays' },
  'under-observation': { actor: 'bench', days: 'underObservationWorkingDays' },
  'final-check': { actor: 'final-checker', days: 'finalCheckWorkingDays' },
  ready: { actor: 'counter', days: 'readyDays' },
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

/**
 * Next actor and day. A side state's own day wins. Waiting for parts ends some working days after the latest expected day;
 * without one the step's own days count.
 */
export function nextFor(
  step: Step,
  today: Day,
  calendar: WorkCalendar,
  rules: TicketRules,
  more: {
    readonly side?: { readonly state: SideState; readonly until: Day } | null
    readonly partsExpectedOn?: Day | null
  } = {},
): Next | null {
  if (step === 'handed-over') return null
  if (more.side) return { actor: sideActors[more.side.state], by: more.side.until }
  const rule = stepRules[step]
  if (step === 'awaiting-parts' && more.partsExpectedOn) {
    return { actor: rule.actor, by: addWorkingDays(more.partsExpectedOn, rules.partsGraceWorkingDays, calendar) }
  }
  if (step === 'ready') return { actor: rule.actor, by: addDays(today, rules[rule.days]) }
  return { actor: rule.actor, by: addWorkingDays(today, rules[rule.days], calendar) }
}
