import type { ObligationKind } from './facts.ts'
import type { Interval } from './outcome.ts'
import type { Known, KnownGuidance } from './usable.ts'

/**
 * What the maker says now: of the rows in force the latest, then the later in the list. `heard` is the earliest day of
 * the unbroken run of rows that say the same, so that repeating a guidance makes nothing new.
 */
export function guidanceFor(known: Known, kind: ObligationKind): KnownGuidance | null {
  let deciding: KnownGuidance | null = null
  let heard = 0
  for (let i = known.guidance.length - 1; i >= 0; i--) {
    const row = known.guidance[i] as KnownGuidance
    if (row.obligation !== kind) continue
    if (deciding === null) {
      deciding = row
      heard = row.heard
    } else if (row.months === deciding.months && row.upToMonths === deciding.upToMonths) {
      if (row.heard < heard) heard = row.heard
    } else break
  }
  return deciding === null || deciding.heard === heard ? deciding : { ...deciding, heard }
}

/** The lower end of what the maker says. */
export const lowerEnd = (row: KnownGuidance): Interval => ({ rule: 'maker', months: row.months, heard: row.heard })

/**
 * Of a range the upper end where the wear is known to be easy, else the lower; either way the choice rests on the
 * wear facts, too.
 */
export function endByWear(known: Known, row: KnownGuidance, easyWear: boolean): Interval {
  if (row.upToMonths === null) return lowerEnd(row)
  return {
    rule: 'maker',
    months: easyWear ? row.upToMonths : row.months,
    heard: Math.max(row.heard, known.wear.learned),
  }
}

export const sayGuidance = (row: KnownGuidance): string =>
  row.upToMonths === null ? `${row.months} months` : `${row.months} to ${row.upToMonths} months`
