import type { UsableEvent } from './usable.ts'

/**
 * The three comparisons of events, and no others. *Newer* picks bases; *stands against* asks whether a sign or an
 * opening may have come after the work; *came after* asks in what order two things were done.
 */

/** Later first day; then own record over paper over owner's word; then the later in the list. */
export function isNewer(a: UsableEvent, b: UsableEvent): boolean {
  if (a.first !== b.first) return a.first > b.first
  if (a.trust !== b.trust) return a.trust > b.trust
  return a.index > b.index
}

/** Its last day strictly after the day of the work; the same day counts as settled. Against nothing, all stand. */
export function standsAgainst(event: UsableEvent, work: number | null): boolean {
  return work === null || event.last > work
}

/** Later first day; on the same day the later in the list, whatever the sources. */
export function cameAfter(a: UsableEvent, b: UsableEvent): boolean {
  return a.first !== b.first ? a.first > b.first : a.index > b.index
}

type Wanted = (event: UsableEvent) => boolean

export function newest(history: readonly UsableEvent[], wanted: Wanted): UsableEvent | null {
  let best: UsableEvent | null = null
  for (const event of history) if (wanted(event) && (best === null || isNewer(event, best))) best = event
  return best
}

/** The one that came after all the others wanted. */
export function lastDone(history: readonly UsableEvent[], wanted: Wanted): UsableEvent | null {
  let best: UsableEvent | null = null
  for (const event of history) if (wanted(event) && (best === null || cameAfter(event, best))) best = event
  return best
}

/** What happened and makes the watch due: the event that gives the day, and the last word of any of them. */
export interface Happened {
  /** the earliest day; of several on that day the one that *newer* prefers */
  readonly earliest: UsableEvent
  /** the latest of all their days and the days they were learned */
  readonly lastWord: number
}

/** Gathers the events that stand, or null if none does. */
export function gather(history: readonly UsableEvent[], standing: Wanted): Happened | null {
  let earliest: UsableEvent | null = null
  let lastWord = 0
  for (const event of history) {
    if (!standing(event)) continue
    const word = Math.max(event.first, event.learned)
    if (earliest === null) {
      earliest = event
      lastWord = word
      continue
    }
    if (event.first < earliest.first || (event.first === earliest.first && isNewer(event, earliest))) earliest = event
    if (word > lastWord) lastWord = word
  }
  return earliest === null ? null : { earliest, lastWord }
}
