import { addDays, addMonths, type Day, dayOfNumber, numberOfDay } from '../day.ts'
import type { TicketRules } from './rules.ts'
import { nextWorkingDay, type WorkCalendar } from './working-days.ts'

/** What the law of the place demands, as the manager set it. Without it nothing follows the registered letter. */
export type UnclaimedLaw = {
  readonly name: string
  /** Months of notice that the registered letter must give where money is owed, and where none is. */
  readonly monthsIfOwed: number
  readonly monthsIfNotOwed: number
}

export type UnclaimedStep = 'second-means' | 'post' | 'registered'

export type Clock = {
  /** Day on which the first "ready" notice of this stay was delivered; a notice that was only sent starts nothing. */
  readonly deliveredOn: Day
  /** Last day on which the owner was in contact after it: it restarts the fourteen days, not the ninety. */
  readonly lastContactOn: Day | null
  /** Days for which the manager paused the ninety. */
  readonly pausedDays: number
  readonly moneyOwed: boolean
  /** Day on which the registered letter was posted. */
  readonly registeredOn: Day | null
  readonly law: UnclaimedLaw | null
}

export type UnclaimedPlan = {
  readonly steps: readonly { readonly step: UnclaimedStep; readonly on: Day; readonly postOn: Day }[]
  readonly next: UnclaimedStep | null
  /** After the registered letter: the last day that has to pass before any lawful step, or stop. */
  readonly after:
    | { readonly state: 'not-yet' }
    | { readonly state: 'stop'; readonly because: string }
    | { readonly state: 'law'; readonly name: string; readonly noStepThrough: Day }
}

/** The lawful steps for a watch that nobody fetches. There is never an automatic disposal. */
export function unclaimedPlan(clock: Clock, today: Day, calendar: WorkCalendar, rules: TicketRules): UnclaimedPlan {
  const first = numberOfDay(clock.deliveredOn)
  const restart = clock.lastContactOn === null ? first : Math.max(first, numberOfDay(clock.lastContactOn))
  const at = (step: UnclaimedStep, on: Day) => ({ step, on, postOn: nextWorkingDay(on, calendar) })
  const steps = [
    at('second-means', dayOfNumber(restart + rules.unclaimedSecondMeansDays)),
    at('post', addDays(clock.deliveredOn, rules.unclaimedPostDays + clock.pausedDays)),
    at('registered', addDays(clock.deliveredOn, rules.unclaimedRegisteredDays + clock.pausedDays)),
  ]
  const reached = steps.filter((step) => step.postOn <= today)
  const next = clock.registeredOn !== null ? null : (reached.at(-1)?.step ?? null)
  return { steps, next, after: afterRegistered(clock) }
}

function afterRegistered(clock: Clock): UnclaimedPlan['after'] {
  if (clock.registeredOn === null) return { state: 'not-yet' }
  if (clock.law === null) {
    return { state: 'stop', because: 'the law of the place on unclaimed goods is not set: stop and ask' }
  }
  const months = clock.moneyOwed ? clock.law.monthsIfOwed : clock.law.monthsIfNotOwed
  return { state: 'law', name: clock.law.name, noStepThrough: addMonths(clock.registeredOn, months) }
}
