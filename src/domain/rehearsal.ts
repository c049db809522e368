import { addDays, type Day, daysBetween, numberOfDay } from './day.ts'
import type { Answer, Obligation, Standing } from './reckoning/answer.ts'
import { type ObligationKind, obligationKinds } from './reckoning/facts.ts'

/**
 * What a changed rule would do, watch by watch: the same facts reckoned twice on the same day, under the rules as they
 * will stand and under the rules with the change. Only sums are kept, so that a million watches take no more room than one.
 */

/** Inclusive edges of the buckets a date can move by, in days; a date that does not move is in none. */
export const shiftEdges: readonly (readonly [from: number | null, to: number | null])[] = [
  [null, -366],
  [-365, -181],
  [-180, -91],
  [-90, -31],
  [-30, -1],
  [1, 30],
  [31, 90],
  [91, 180],
  [181, 365],
  [366, null],
]

export interface Sums {
  before: number
  after: number
}

export interface KindTally {
  /** due on another day, or letters counted from another day */
  moved: number
  /** an obligation where there was none, and the other way round */
  arises: number
  ends: number
  shifts: number[]
  /** the furthest a due day moves back and forth, in days */
  earliest: number
  latest: number
  readonly standings: Map<Standing, Sums>
  /** falls due before the end of the weeks looked at, or stands already and is still asked about */
  readonly work: Readonly<Record<Drive, Sums>>
}

/** What the bench asks first: a wound movement, or one with a cell. */
export const drives = ['mechanical', 'quartz'] as const
export type Drive = (typeof drives)[number]

export interface Tally {
  touched: number
  moved: number
  readonly kinds: Readonly<Record<ObligationKind, KindTally>>
  readonly cells: Map<string, Sums>
}

const sums = (): Sums => ({ before: 0, after: 0 })

export function newTally(): Tally {
  const kind = (): KindTally => ({
    moved: 0,
    arises: 0,
    ends: 0,
    shifts: shiftEdges.map(() => 0),
    earliest: 0,
    latest: 0,
    standings: new Map(),
    work: { mechanical: sums(), quartz: sums() },
  })
  const kinds = Object.fromEntries(obligationKinds.map((name) => [name, kind()])) as Record<ObligationKind, KindTally>
  return { touched: 0, moved: 0, kinds, cells: new Map() }
}

/** The weeks looked at: from the Monday of the week of `on`. 1970-01-01, day number 0, was a Thursday. */
export const mondayOf = (on: Day): Day => addDays(on, -((((numberOfDay(on) + 3) % 7) + 7) % 7))

export interface Rehearsed {
  readonly before: Answer
  readonly after: Answer
  readonly drive: Drive
  /** what its cell is called and how many pieces it takes; null for a watch without one */
  readonly cell: { readonly designation: string; readonly pieces: number } | null
}

/** Adds one watch to the sums. `until` is the first day after the weeks looked at. */
export function tally(into: Tally, watch: Rehearsed, on: Day, until: Day): void {
  into.touched++
  let moved = false
  for (const kind of obligationKinds) {
    const before = watch.before.obligations.find((o) => o.kind === kind)
    const after = watch.after.obligations.find((o) => o.kind === kind)
    if (tallyKind(into.kinds[kind], watch.drive, before, after, on, until)) moved = true
  }
  if (moved) into.moved++
  addCells(into, watch, on, until)
}

function tallyKind(
  into: KindTally,
  drive: Drive,
  before: Obligation | undefined,
  after: Obligation | undefined,
  on: Day,
  until: Day,
): boolean {
  if (before && isWork(before, on, until)) into.work[drive].before++
  if (after && isWork(after, on, until)) into.work[drive].after++
  addStanding(into, before, 'before')
  addStanding(into, after, 'after')
  if (before === undefined || after === undefined) {
    if (before === after) return false
    if (after) into.arises++
    else into.ends++
    return true
  }
  const days = daysBetween(before.dueOn, after.dueOn)
  if (days === 0 && before.noticesDueOn === after.noticesDueOn) return false
  into.moved++
  const bucket = shiftEdges.findIndex(
    ([from, to]) => (from === null || days >= from) && (to === null || days <= to) && days !== 0,
  )
  if (bucket >= 0) into.shifts[bucket] = (into.shifts[bucket] as number) + 1
  if (days < into.earliest) into.earliest = days
  if (days > into.latest) into.latest = days
  return true
}

const isWork = (o: Obligation, on: Day, until: Day): boolean =>
  o.rule !== 'unknown-base' && o.noticesDueOn < until && (o.stopOn === null || o.stopOn > on)

function addStanding(into: KindTally, o: Obligation | undefined, side: keyof Sums): void {
  if (o === undefined) return
  const found = into.standings.get(o.standing) ?? sums()
  found[side]++
  into.standings.set(o.standing, found)
}

function addCells(into: Tally, watch: Rehearsed, on: Day, until: Day): void {
  if (watch.cell === null) return
  const due = (answer: Answer) => answer.obligations.some((o) => o.kind === 'cell-change' && isWork(o, on, until))
  const before = due(watch.before)
  const after = due(watch.after)
  if (!before && !after) return
  const found = into.cells.get(watch.cell.designation) ?? sums()
  if (before) found.before += watch.cell.pieces
  if (after) found.after += watch.cell.pieces
  into.cells.set(watch.cell.designation, found)
}
