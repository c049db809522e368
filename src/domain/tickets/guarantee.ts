import { addMonthsToNumber, type Day, dayOfNumber, numberOfDay, type PartialDay, spanOf } from '../day.ts'
import type { TicketRuleKey, TicketRules } from './rules.ts'

export const guaranteeKinds = ['complete-service', 'repair', 'cell', 'seals', 'water-test'] as const
export type GuaranteeKind = (typeof guaranteeKinds)[number]

const ruleOf = {
  'complete-service': 'completeServiceGuaranteeMonths',
  repair: 'repairGuaranteeMonths',
  cell: 'cellGuaranteeMonths',
  seals: 'sealsGuaranteeMonths',
  'water-test': 'waterTestGuaranteeMonths',
} as const satisfies Record<GuaranteeKind, TicketRuleKey>

/** Months by kind of line under the rules of a day, where the line itself names none. */
export const usualGuaranteeMonths = (kind: GuaranteeKind, rules: TicketRules): number => rules[ruleOf[kind]]

/**
 * Months that a line carries from its hand-over. Where the line named them they stand. Else the house rule of the
 * hand-over's day counts, but never less than what the estimate told the owner.
 */
export const monthsAtHandOver = (told: number, kind: GuaranteeKind | null, rules: TicketRules): number =>
  kind === null ? told : Math.max(told, usualGuaranteeMonths(kind, rules))

/**
 * Last day of a guarantee, inclusive: hand-over + months + the days the watch was back in the house. A right of the
 * customer counts from the last day of a hand-over that is known only to its month or year. Null where it has none.
 */
export function guaranteeEnd(handedOver: PartialDay | Day, months: number, daysAdded: number): Day | null {
  if (months === 0) return null
  return dayOfNumber(addMonthsToNumber(spanOf(handedOver).last, months) + daysAdded)
}

const isRunning = (end: Day | null, on: Day): boolean => end !== null && on <= end

/** Days to add for one covered stay: hand-over minus booking-in. */
export const daysOfStay = (bookedIn: Day, handedOver: Day): number =>
  Math.max(0, numberOfDay(handedOver) - numberOfDay(bookedIn))

/** What ends a guarantee before its day. */
export type Voided = 'no' | 'opened-elsewhere' | 'water' | 'blow'

/** What the guarantee on a line covers, and what it does not (common practice, no source; the law of the place comes first). */
export const covers = 'the work done and the parts fitted'
export const excludes = (kind: GuaranteeKind | null): readonly string[] => [
  'a blow',
  'the case opened elsewhere',
  'water after the day of the test, unless the test was flawed',
  'wear of what was declined',
  ...(kind === 'cell' ? ['a cell spent by normal use, but not one that leaks'] : []),
]

/** The guarantee question for one line: covered, or why not. The person decides; this is what the record says. */
export function coverOf(
  end: Day | null,
  on: Day,
  voided: Voided,
): { readonly covered: boolean; readonly because: string } {
  if (voided !== 'no') return { covered: false, because: `voided: ${voided}` }
  if (end === null) return { covered: false, because: 'the line carries no guarantee' }
  return isRunning(end, on)
    ? { covered: true, because: `runs until ${end}, that day included` }
    : { covered: false, because: `ended on ${end}` }
}
