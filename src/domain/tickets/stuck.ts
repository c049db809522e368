import type { TicketRules } from './rules.ts'
import type { Step } from './steps.ts'

/** A ticket whose date has passed: how long it has stood at its step, and the attempts that did not reach the owner there. */
export type Stuck = { readonly step: Step; readonly waitedDays: number; readonly failedAttempts: number }

/** What the house can do about it beyond asking the next actor; null where there is nothing more to say. */
export function adviceFor(ticket: Stuck, rules: TicketRules, contactAttempts: number | null): string | null {
  if (ticket.step === 'awaiting-parts' && ticket.waitedDays >= rules.offerUndoneDays)
    return `no part in ${ticket.waitedDays} days: offer the owner to take the watch back undone`
  if (ticket.step !== 'awaiting-yes' || ticket.failedAttempts === 0) return null
  const tried = `${ticket.failedAttempts} ${ticket.failedAttempts === 1 ? 'attempt' : 'attempts'} did not reach the owner`
  if (contactAttempts === null)
    return `${tried}; after how many a letter goes by post is not set: stop and ask (local setting contactAttempts)`
  return ticket.failedAttempts >= contactAttempts
    ? `${tried}: send a letter by post`
    : `${tried}: try another means; after ${contactAttempts} a letter goes by post`
}
