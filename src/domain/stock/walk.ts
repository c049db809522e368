/**
 * What will die unused: the lots on hand, smallest last full-life day first, against the demand that comes before it.
 * Common practice, no source. All figures are whole pieces; days are day numbers.
 */

export type WalkedLot = {
  readonly lot: string
  readonly pieces: number
  /** Last full-life day. */
  readonly last: number
  /** First day on which it is there; absent for what lies on the shelf. */
  readonly arrival?: number
}
export type Walked = { readonly lot: string; readonly used: number; readonly unused: number }

export type Walk = {
  /** In the order given. */
  readonly lots: readonly Walked[]
  readonly used: number
  readonly unused: number
}

/**
 * Lots all on the shelf on the first day, sorted by last day: S(k) = min(S(k−1) + q(k), D(L(k))).
 * `through` gives the whole pieces asked for from the first day through a day.
 */
export function walkShelf(lots: readonly WalkedLot[], through: (day: number) => number): Walk {
  let used = 0
  let unused = 0
  const walked = lots.map(({ lot, pieces, last }) => {
    // Demand up to this day may already be served by earlier lots: a lot never takes back what they gave.
    const taken = Math.max(0, Math.min(pieces, through(last) - used))
    used += taken
    unused += pieces - taken
    return { lot, used: taken, unused: pieces - taken }
  })
  return { lots: walked, used, unused }
}

/** Pieces asked for through the horizon that nothing on the shelf serves. */
export const shortAt = (walk: Walk, through: (day: number) => number, horizon: number): number =>
  Math.max(0, through(horizon) - walk.used)

/**
 * Each day, in order, that day's demand takes from the lots present (arrival ≤ day ≤ last), smallest last day first,
 * then in the order given; what is not met is lost. Between two arrivals or ends the days are alike, so whole
 * stretches are walked at once. `from` is the first day, `horizon` the last.
 */
export function walkWithArrivals(
  lots: readonly WalkedLot[],
  through: (day: number) => number,
  from: number,
  horizon: number,
): Walk {
  const left = lots.map(({ pieces }) => pieces)
  const order = lots.map((_, index) => index).sort((a, b) => lots[a]!.last - lots[b]!.last || a - b)
  const edges = new Set<number>([from])
  for (const { arrival, last } of lots) {
    if (arrival !== undefined && arrival > from && arrival <= horizon) edges.add(arrival)
    if (last + 1 > from && last + 1 <= horizon) edges.add(last + 1)
  }
  const starts = [...edges].sort((a, b) => a - b)
  let served = through(from - 1)
  starts.forEach((start, index) => {
    const end = (starts[index + 1] ?? horizon + 1) - 1
    let asked = through(end) - served
    served += asked
    for (const at of order) {
      if (asked === 0) break
      const { arrival = from, last } = lots[at]!
      if (arrival > start || last < end) continue
      const taken = Math.min(left[at]!, asked)
      left[at]! -= taken
      asked -= taken
    }
  })
  const walked = lots.map(({ lot, pieces }, index) => ({ lot, used: pieces - left[index]!, unused: left[index]! }))
  return {
    lots: walked,
    used: walked.reduce((sum, w) => sum + w.used, 0),
    unused: walked.reduce((sum, w) => sum + w.unused, 0),
  }
}
