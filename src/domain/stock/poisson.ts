/**
 * Poisson sums for slow movers and for the newsvendor quantity: the smallest Q with P(X ≤ Q) ≥ cu / (cu + co).
 * Weights are taken relative to the most likely count, so nothing underflows where e^−λ would.
 */

/** Weights of 0, 1, 2, … relative to the mode's, as far as they matter to a double, and their sum. */
function weights(mean: number): { first: number; values: number[]; total: number } {
  const mode = Math.floor(mean)
  const below: number[] = []
  for (let k = mode, w = 1; k > 0; k--) {
    w *= k / mean
    if (w < 1e-22) break
    below.push(w)
  }
  const values = [...below.reverse(), 1]
  const first = mode - below.length
  for (let k = mode + 1, w = mean / k; w > 1e-22; k++, w *= mean / k) values.push(w)
  // Small terms first, from both ends, so that none is lost beside the large ones.
  const total = [...values].sort((a, b) => a - b).reduce((sum, w) => sum + w, 0)
  return { first, values, total }
}

/** The smallest count with P(X ≤ count) ≥ probability, 0 ≤ probability < 1. */
export function poissonQuantile(probability: number, mean: number): number {
  if (mean === 0) return 0
  const { first, values, total } = weights(mean)
  let sum = 0
  for (let i = 0; i < values.length; i++) {
    sum += values[i]!
    if (sum / total >= probability) return first + i
  }
  return first + values.length - 1
}

/** Mean pieces asked for beyond a stock of `quantity`. */
export function expectedShort(quantity: number, mean: number): number {
  if (mean === 0) return 0
  const { first, values, total } = weights(mean)
  return values.reduce((sum, w, i) => sum + Math.max(0, first + i - quantity) * w, 0) / total
}

/** Mean pieces left of a stock of `quantity`; expectedLeft − expectedShort = quantity − mean. */
export function expectedLeft(quantity: number, mean: number): number {
  if (mean === 0) return quantity
  const { first, values, total } = weights(mean)
  return values.reduce((sum, w, i) => sum + Math.max(0, quantity - first - i) * w, 0) / total
}

/** The newsvendor quantity: `under` is the cost of one piece too few, `over` of one too many, both above zero. */
export const newsvendorQuantity = (mean: number, under: number, over: number): number =>
  poissonQuantile(under / (under + over), mean)
