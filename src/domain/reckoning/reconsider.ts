import { type Day, dayOfNumber } from '../day.ts'
import type { ObligationKind } from './facts.ts'
import type { NoticesBy } from './notices-due.ts'
import type { Due, Placed } from './placing.ts'
import { type Known, NO_DAY } from './usable.ts'

/** What the keeper of an obligation needs beside the answer; a kind that does not arise is kept, too. */
export interface Keeping {
  readonly kind: ObligationKind
  /** the next day on which this kind may come out otherwise though no fact and no house rule changes; null if none */
  readonly reconsiderOn: Day | null
  /** the same without the edges of windows: the next day on which the dates themselves may come out otherwise */
  readonly reckonAnewOn: Day | null
  /** which rule gave noticesDueOn; null for what is to be assessed or does not arise */
  readonly noticesBy: NoticesBy | null
  /** where an event is the rule, the day of the event that gave it and the last word of all that stand; else null */
  readonly eventOn: Day | null
  readonly lastWordOn: Day | null
  /** the last day the base may have been; null without a base */
  readonly baseLastOn: Day | null
}

export const keepingOfWithout = (kind: ObligationKind, known: Known): Keeping => ({
  kind,
  reconsiderOn: dayOrNull(known.nextFactOn),
  reckonAnewOn: dayOrNull(known.nextFactOn),
  noticesBy: null,
  eventOn: null,
  lastWordOn: null,
  baseLastOn: null,
})

export const keepingOf = (kind: ObligationKind, known: Known, due: Due, placed: Placed): Keeping => ({
  kind,
  reconsiderOn: dayOrNull(nextChange(known, placed)),
  reckonAnewOn: dayOrNull(nextDates(known, placed)),
  noticesBy: placed.notices === null ? null : placed.notices.by,
  eventOn: due.is === 'happened' ? dayOfNumber(due.eventOn) : null,
  lastWordOn: due.is === 'happened' ? dayOfNumber(due.lastWord) : null,
  baseLastOn: placed.base === null ? null : dayOfNumber(placed.base.last),
})

/** The earliest of: another fact counting, an ordinary day that will take over. */
const nextDates = (known: Known, placed: Placed): number =>
  Math.min(known.nextFactOn, placed.notices?.ordinaryDayToCome ?? NO_DAY)

/** The earliest of: another fact counting, the next window's edge, an ordinary day that will take over. */
function nextChange(known: Known, placed: Placed): number {
  let next = known.nextFactOn
  const consider = (day: number | null | undefined) => {
    if (day != null && day > known.on && day < next) next = day
  }
  consider(placed.comingUpFrom)
  consider(placed.noticesDueOn)
  consider(placed.overdueFrom)
  consider(placed.stopOn)
  consider(placed.notices?.ordinaryDayToCome)
  return next
}

const dayOrNull = (day: number): Day | null => (day === NO_DAY ? null : dayOfNumber(day))
