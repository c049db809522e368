import type { Warning } from './answer.ts'
import { type EventName, type HistoryEvent, type ObligationKind, obligationKinds } from './facts.ts'

/** The kinds whose dates an event can move, whatever else is known: its day is a base, settles something, or is a sign. */
const movedBy: Readonly<Record<EventName, readonly ObligationKind[]>> = {
  'complete-service': ['complete-service', 'water-check', 'seals'],
  'movement-fitted': ['complete-service', 'water-check', 'cell-change'],
  'water-test': ['water-check'],
  'water-claim-withdrawn': ['water-check'],
  // an opened case is tested again
  'case-opened': ['water-check'],
  'seals-replaced': ['water-check', 'seals'],
  'cell-fitted': ['water-check', 'cell-change'],
  'cell-removed': ['water-check', 'cell-change'],
  sign: ['complete-service', 'water-check', 'cell-change'],
}

/**
 * The kinds of which our book is in doubt by this warning; all of them where that cannot be told (the day of making sets
 * aside whatever came before it). `history` is the list the warning counts in.
 */
export function kindsInDoubt(
  warning: Warning,
  history: readonly HistoryEvent[] | null | undefined,
): readonly ObligationKind[] {
  if (warning.code !== 'future-dated' && warning.code !== 'contradiction') return []
  if ('history' in warning) {
    const event = history?.[warning.history]
    return event === undefined ? obligationKinds : movedBy[event.event]
  }
  return warning.fact === 'wear.water' ? ['water-check', 'seals'] : obligationKinds
}

/** The codes that an obligation of this kind carries: doubts of its own, and what is said whatever is due. */
export const codesFor = (
  kind: ObligationKind,
  warnings: readonly Warning[],
  history: readonly HistoryEvent[] | null | undefined,
): Warning['code'][] =>
  warnings
    .filter((warning) => {
      const kinds = kindsInDoubt(warning, history)
      return kinds.length === 0 || kinds.includes(kind)
    })
    .map((warning) => warning.code)
