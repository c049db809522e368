/**
 * Which cell goes first: first to expire first, with a guard. Full life of the watch's own designation, then of each
 * approved substitute in the order of approval; then short life in the same sequence. Common practice, no source.
 * The database chooses (`issue_stock`); this says the same in words that can be read, and a property test holds the two together.
 */
import { addMonthsToNumber, type Day, numberOfDay } from '../day.ts'
import { type Grade, gradeOfNumbers, type LifeRules } from './life.ts'

/** A lot as the order sees it. `rank` is 0 for the watch's own designation, then 1, 2, … in order of approval. */
export type Candidate = {
  readonly lot: string
  readonly rank: number
  readonly bestBefore: Day
  readonly receivedOn: Day
  readonly opened: boolean
  readonly available: number
  readonly blocked: boolean
}

export type Offer = { readonly candidate: Candidate; readonly grade: Exclude<Grade, 'not-to-be-fitted'> }

type Graded = Offer & { bestBefore: number; promised: number }

function byOrder(a: Graded, b: Graded): number {
  if (a.grade !== b.grade) return a.grade === 'full-life' ? -1 : 1
  if (a.candidate.rank !== b.candidate.rank) return a.candidate.rank - b.candidate.rank
  // A short-life cell is chosen for the longest promise, a full-life one for the earliest end.
  if (a.grade === 'short-life' && a.promised !== b.promised) return b.promised - a.promised
  if (a.bestBefore !== b.bestBefore) return a.bestBefore - b.bestBefore
  if (a.candidate.receivedOn !== b.candidate.receivedOn) return a.candidate.receivedOn < b.candidate.receivedOn ? -1 : 1
  if (a.candidate.opened !== b.candidate.opened) return a.candidate.opened ? -1 : 1
  if (a.candidate.available !== b.candidate.available) return a.candidate.available - b.candidate.available
  return a.candidate.lot < b.candidate.lot ? -1 : a.candidate.lot > b.candidate.lot ? 1 : 0
}

/** Every lot that may be fitted on this day, in the order in which they go. Blocked lots are no offer. */
export function issueOrder(
  candidates: readonly Candidate[],
  fitting: Day,
  intervalMonths: number,
  rules: LifeRules,
): Offer[] {
  const day = numberOfDay(fitting)
  const byInterval = addMonthsToNumber(day, intervalMonths)
  const graded: Graded[] = []
  for (const candidate of candidates) {
    if (candidate.blocked) continue
    const bestBefore = numberOfDay(candidate.bestBefore)
    const grade = gradeOfNumbers(day, intervalMonths, bestBefore, rules)
    if (grade !== 'not-to-be-fitted') {
      graded.push({ candidate, grade, bestBefore, promised: Math.min(byInterval, bestBefore) })
    }
  }
  return graded.sort(byOrder).map(({ candidate, grade }) => ({ candidate, grade }))
}

/**
 * The one lot that all cells of this designation come from: the first in the order that has them all available. A lot
 * with too few is passed over; null where none has enough.
 */
export function chooseLot(
  candidates: readonly Candidate[],
  pieces: number,
  fitting: Day,
  intervalMonths: number,
  rules: LifeRules,
): Offer | null {
  return issueOrder(candidates, fitting, intervalMonths, rules).find((o) => o.candidate.available >= pieces) ?? null
}
