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

/** The step that has to be taken before another one; null where there is none, or it was taken. */
export function stepBefore(step: UnclaimedStep, taken: readonly UnclaimedStep[]): UnclaimedStep | null {
  const before: readonly UnclaimedStep[] =
    step === 'registered' ? ['second-means', 'post'] : step === 'post' ? ['second-means'] : []
  return before.find((one) => !taken.includes(one)) ?? null
}

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
  /** Steps that were taken, with their days. */
  readonly taken: readonly { readonly step: UnclaimedStep; readonly on: Day }[]
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
  // each step comes after the one before it; the furthest that is reached is done if it was taken on or after its day
  const reached = steps.filter((step) => step.postOn <= today)
  const missing = reached.find((step, i) =>
    clock.taken.every((taken) => taken.step !== step.step || (i === reached.length - 1 && taken.on < step.on)),
  )
  const next = clock.registeredOn !== null ? null : (missing?.step ?? null)
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

export type UnclaimedStage =
  | 'not-told'
  | 'waiting'
  | 'second-means-due'
  | 'post-due'
  | 'registered-due'
  | 'law-missing'
  | 'law-runs'
  | 'law-over'

export type UnclaimedStanding = {
  readonly stage: UnclaimedStage
  /** what may be done next, in words; nothing is done by itself */
  readonly mayDo: string
  /** the day of it; null where no day is known */
  readonly on: Day | null
}

const described: Readonly<Record<UnclaimedStep, { stage: UnclaimedStage; words: string }>> = {
  'second-means': { stage: 'second-means-due', words: 'tell the owner by a second means and record it' },
  post: { stage: 'post-due', words: 'send a letter by post and record it' },
  registered: {
    stage: 'registered-due',
    words:
      'send a registered letter that names the amount owed, the place, the intended step and its date, and record it with its proof',
  },
}
export const stepWords: Readonly<Record<UnclaimedStep, string>> = {
  'second-means': 'a second means',
  post: 'a letter by post',
  registered: 'a registered letter',
}

/** How far the clock of a watch nobody fetched has come, and what may be done next. */
export function unclaimedStanding(plan: UnclaimedPlan | null, today: Day): UnclaimedStanding {
  if (plan === null)
    return {
      stage: 'not-told',
      mayDo: 'no clock runs, since no notice that it is ready was delivered: tell the owner and record the delivery',
      on: null,
    }
  const { after } = plan
  if (after.state === 'stop') return { stage: 'law-missing', mayDo: after.because, on: null }
  if (after.state === 'law' && today <= after.noStepThrough)
    return {
      stage: 'law-runs',
      mayDo: `wait: under ${after.name} no step before ${after.noStepThrough} has passed`,
      on: after.noStepThrough,
    }
  if (after.state === 'law')
    return {
      stage: 'law-over',
      mayDo: `the manager decides what ${after.name} allows and ends the ticket under it; nothing happens by itself`,
      on: after.noStepThrough,
    }
  if (plan.next !== null) {
    const { stage, words } = described[plan.next]
    return { stage, mayDo: words, on: plan.steps.find((step) => step.step === plan.next)?.postOn ?? null }
  }
  const coming = plan.steps.find((step) => step.postOn > today)
  return coming
    ? { stage: 'waiting', mayDo: `wait: ${stepWords[coming.step]} on ${coming.postOn}`, on: coming.postOn }
    : { stage: 'waiting', mayDo: 'wait', on: null }
}
