import type { Day } from '../day.ts'
import { isEventRule, type Rule } from '../reckoning/answer.ts'
import type { NoticesBy } from '../reckoning/notices-due.ts'

/** An obligation as it has just been reckoned. */
export interface CycleNow {
  readonly rule: Rule
  readonly noticesDueOn: Day
  readonly noticesBy: NoticesBy | null
  readonly baseOn: Day | null
  /** where an event is the rule, the day of the event that gave it */
  readonly eventOn: Day | null
}

/** The same obligation as it stood before, towards the same owner. */
export interface CycleBefore {
  readonly cycle: string
  readonly rule: Rule
  readonly baseOn: Day | null
  /** last day the base may have been */
  readonly baseUntil: Day | null
  readonly stopOn: Day | null
}

/**
 * The name of the cycle: one obligation of one watch towards one owner. A new base or event opens a new one, a moved
 * date does not. Two things keep the name they find: a further event of the same rule while the asking still runs, and
 * a correction (`corrected`) that replaces a base within its own first and last day.
 */
export function cycleOf(now: CycleNow, before: CycleBefore | null, corrected: boolean): string {
  if (now.rule === 'unknown-base') return `seen:${now.noticesDueOn}`
  if (isEventRule(now.rule)) {
    if (now.noticesBy === 'ordinary-day') return `after:${now.eventOn ?? now.noticesDueOn}`
    if (before?.cycle.startsWith(`event:${now.rule}:`) && before.stopOn !== null && now.noticesDueOn < before.stopOn)
      return before.cycle
    return `event:${now.rule}:${now.noticesDueOn}`
  }
  if (before?.cycle.startsWith('base:') && before.baseOn !== null && now.baseOn !== null) {
    if (before.baseOn === now.baseOn) return before.cycle
    const within = before.baseOn <= now.baseOn && now.baseOn <= (before.baseUntil ?? before.baseOn)
    if (corrected && within) return before.cycle
  }
  return `base:${now.baseOn}`
}

/** The day a cycle began: of its base, its event, or the day it was first seen. */
export const cycleDay = (cycle: string): Day => cycle.slice(-10) as Day
