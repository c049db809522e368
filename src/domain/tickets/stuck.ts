import type { Day } from '../day.ts'
import type { TicketRules } from './rules.ts'
import { frozen, type SideState, type Step } from './steps.ts'

/** A ticket that stands still: for how long, what was tried, and what was said of the days to come. */
export type Stuck = {
  readonly step: Step
  readonly side: SideState | null
  /** the day by which the next actor should have acted has passed */
  readonly past: boolean
  /** since the first day of waiting for the parts that are still awaited; at other steps since it came to its step */
  readonly waitedDays: number
  /** attempts that did not reach the owner there */
  readonly failedAttempts: number
  /** the latest day for which a part that is not there is expected */
  readonly expectedOn: Day | null
  /** the day the owner was told */
  readonly promisedOn: Day | null
}

/** What the house can do about it beyond asking the next actor; null where there is nothing more to say. */
export function adviceFor(
  ticket: Stuck,
  today: Day,
  rules: TicketRules,
  contactAttempts: number | null,
): string | null {
  if (ticket.step === 'awaiting-parts') return adviceOnParts(ticket, today, rules)
  if (ticket.step !== 'awaiting-yes' || ticket.failedAttempts === 0) return null
  const tried = `${ticket.failedAttempts} ${ticket.failedAttempts === 1 ? 'attempt' : 'attempts'} did not reach the owner`
  if (contactAttempts === null)
    return `${tried}; after how many a letter goes by post is not set: stop and ask (local setting contactAttempts)`
  return ticket.failedAttempts >= contactAttempts
    ? `${tried}: send a letter by post`
    : `${tried}: try another means; after ${contactAttempts} a letter goes by post`
}

/** A supplier who keeps moving the day must not keep the owner from hearing of it, nor from having the watch back. */
function adviceOnParts(ticket: Stuck, today: Day, rules: TicketRules): string | null {
  const { side, past, waitedDays, expectedOn, promisedOn } = ticket
  // from there nothing moves before a manager frees it
  if (side !== null && frozen.has(side)) return null
  const advice: string[] = []
  if (waitedDays >= rules.offerUndoneDays)
    advice.push(`no part in ${waitedDays} days: offer the owner to take the watch back undone`)
  if (expectedOn !== null && promisedOn !== null && expectedOn >= promisedOn)
    advice.push(
      promisedOn >= today
        ? `the part is expected on ${expectedOn} and the watch was promised for ${promisedOn}: tell the owner the new day before that one passes`
        : `the part is expected on ${expectedOn} and the day promised, ${promisedOn}, has passed: tell the owner the new day at once`,
    )
  else if (past) advice.push('chase the supplier, and tell the owner the new day before the old one passes')
  return advice.length === 0 ? null : advice.join('; ')
}
