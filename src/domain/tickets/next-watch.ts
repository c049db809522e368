import type { Day } from '../day.ts'
import type { TicketRules } from './rules.ts'
import { addWorkingDays, type WorkCalendar, workingDaysBetween } from './working-days.ts'

/** Which watch a free bench takes next; common practice of the trade, no source. */
export type Candidate = {
  readonly id: string
  /** water inside or a leaking cell */
  readonly damage: boolean
  /** it came back, and the house owes the work */
  readonly comeback: boolean
  readonly untouchedWorkingDays: number
  readonly promisedOn: Day | null
  readonly bookedOn: Day
  /** working days of work and waits still needed; null where that is not known */
  readonly needed: number | null
}

export const ranks = ['stop-the-damage', 'comeback', 'untouched', 'usual'] as const
export type Rank = (typeof ranks)[number]

export type Placed<T> = T & {
  readonly rank: Rank
  /** working days left to the promise, below 0 where it has passed; null where nothing is promised */
  readonly left: number | null
  /** left by needed, to two decimals; null where either is not known */
  readonly ratio: number | null
  /** the promise breaks even if it is begun now */
  readonly tellOwner: boolean
}

/**
 * Damage is stopped first, then comebacks under guarantee, then what was left lying too long; within each the smallest ratio
 * of working days left to working days needed, the earlier promise, the earlier booking-in. The earliest promise alone would
 * lose long jobs behind short ones.
 */
export function orderNext<T extends Candidate>(
  candidates: readonly T[],
  today: Day,
  calendar: WorkCalendar,
  rules: Pick<TicketRules, 'untouchedWorkingDays'>,
): readonly Placed<T>[] {
  const ratioOf = ({ needed, promisedOn }: T): { left: number | null; ratio: number } => {
    if (promisedOn === null) return { left: null, ratio: Number.POSITIVE_INFINITY }
    const late = workingDaysBetween(promisedOn, today, calendar)
    const left = late > 0 ? -late : workingDaysBetween(today, promisedOn, calendar)
    return { left, ratio: needed === null || needed === 0 ? Number.POSITIVE_INFINITY : left / needed }
  }
  const rankOf = (one: T): Rank =>
    one.damage
      ? 'stop-the-damage'
      : one.comeback
        ? 'comeback'
        : one.untouchedWorkingDays >= rules.untouchedWorkingDays
          ? 'untouched'
          : 'usual'
  const text = ({ promisedOn, bookedOn, id }: T) => `${promisedOn ?? '9999-12-31'} ${bookedOn} ${id}`
  return candidates
    .map((one) => ({ one, rank: rankOf(one), ...ratioOf(one) }))
    .sort(
      (a, b) =>
        ranks.indexOf(a.rank) - ranks.indexOf(b.rank) ||
        // both may be infinite, and their difference no number
        (a.ratio === b.ratio ? 0 : a.ratio - b.ratio) ||
        (text(a.one) < text(b.one) ? -1 : 1),
    )
    .map(({ one, rank, left, ratio }) => ({
      ...one,
      rank,
      left,
      ratio: Number.isFinite(ratio) ? Math.round(ratio * 100) / 100 : null,
      tellOwner: ratio < 1,
    }))
}

/** On the last working day before closed ones: what is begun then, and what is not; null on any other day. */
export function beforeClosedDays(today: Day, tomorrow: Day, calendar: WorkCalendar): string | null {
  const next = addWorkingDays(today, 1, calendar)
  return next === tomorrow
    ? null
    : `The centre is closed until ${next}: begin long waits (run-out, glue, worn motion) today, and no reading that must be taken within a day.`
}
