/**
 * When and how much to buy, and whether an offer is a bargain. Money is in minor units. Common practice and the
 * textbook reorder point and newsvendor quantity; every number that a centre may change arrives as an argument.
 */
import { ceiling, compare, type Fraction, fraction, minus, over, plus, times, toNumber } from './fraction.ts'
import { newsvendorQuantity, poissonQuantile } from './poisson.ts'
import { type WalkedLot, walkWithArrivals } from './walk.ts'

export type WeeklyIssues = { readonly mean: Fraction; readonly variance: Fraction }

/** Mean and sample variance (n − 1) of full weeks, weeks without an issue as 0, exactly. */
export function weeklyIssues(weeks: readonly number[]): WeeklyIssues {
  const n = weeks.length
  const sum = weeks.reduce((a, b) => a + b, 0)
  const squares = weeks.reduce((a, b) => a + b * b, 0)
  return {
    mean: n === 0 ? fraction(0) : fraction(sum, n),
    variance: n < 2 ? fraction(0) : fraction(n * squares - sum * sum, n * (n - 1)),
  }
}

export type ReorderRules = {
  readonly leadWeeks: number
  /** Hundredths of a percent point are not needed: 95 is 95 %. */
  readonly servicePercent: number
  /** The normal quantile of that service, in thousandths: 1645. */
  readonly normalThousandths: number
  /** Below this demand in the lead time the Poisson rule holds: 5. */
  readonly slowBelow: number
}

/**
 * The position at which to order: d·T + z·s·√T rounded up, and for slow movers the smallest r with P(X ≤ r) ≥ 95 %.
 * The root is never taken: r ≥ d·T + z·s·√T says the same as (r − d·T)² ≥ z²·s²·T with r ≥ d·T.
 */
export function reorderPoint(issues: WeeklyIssues, rules: ReorderRules): { point: number; by: 'normal' | 'poisson' } {
  const lead = fraction(rules.leadWeeks)
  const expected = times(issues.mean, lead)
  if (compare(expected, fraction(rules.slowBelow)) < 0) {
    return { point: poissonQuantile(rules.servicePercent / 100, toNumber(expected)), by: 'poisson' }
  }
  const z = fraction(rules.normalThousandths, 1000)
  const spread = times(times(times(z, z), issues.variance), lead)
  const enough = (r: number) => {
    const above = minus(fraction(r), expected)
    return above.n >= 0n && compare(times(above, above), spread) >= 0
  }
  let point = ceiling(expected)
  while (!enough(point)) point++
  return { point, by: 'normal' }
}

/** Pieces that can be counted on: usable, less those that will die, plus what comes, less what is promised. */
export const positionOf = (p: { usable: number; unused: number; onOrder: number; promised: number }): number =>
  p.usable - p.unused + p.onOrder - p.promised

/** A shelf, what is on its way, and the demand: everything an offer is judged against. */
export type Setting = {
  readonly lots: readonly WalkedLot[]
  /** Whole pieces asked for through a day number, from `from` on. */
  readonly through: (day: number) => number
  readonly from: number
}
/** Pieces that would arrive, good with full life through `last`. */
export type Arriving = { readonly pieces: number; readonly arrival: number; readonly last: number }

const latest = (lots: readonly { last: number }[], from: number) => lots.reduce((h, l) => Math.max(h, l.last), from)

function usedBoth(setting: Setting, offer: Arriving) {
  const offered: WalkedLot = { lot: 'offer', pieces: offer.pieces, last: offer.last, arrival: offer.arrival }
  const horizon = latest([...setting.lots, offered], setting.from)
  const without = walkWithArrivals(setting.lots, setting.through, setting.from, horizon)
  const withOffer = walkWithArrivals([...setting.lots, offered], setting.through, setting.from, horizon)
  return { without, withOffer }
}

/** Pieces that the offer adds to those used in all, up to the latest last day with the offer. */
export const piecesGained = (setting: Setting, offer: Arriving): number => {
  const { without, withOffer } = usedBoth(setting, offer)
  return withOffer.used - without.used
}

/**
 * The greatest number of pieces of which every one is gained. One more piece gains one or none, and once one is not
 * gained no later one is, so halving finds it.
 */
export function orderCeiling(setting: Setting, arrival: number, last: number): number {
  const most = Math.max(0, setting.through(Math.max(last, setting.from - 1)) - setting.through(arrival - 1))
  let fits = 0
  let tooMany = most + 1
  while (tooMany - fits > 1) {
    const middle = (fits + tooMany) >> 1
    if (piecesGained(setting, { pieces: middle, arrival, last }) === middle) fits = middle
    else tooMany = middle
  }
  return fits
}

export type BargainAnswer = {
  readonly usedWithout: number
  readonly usedWith: number
  readonly gained: number
  readonly addedWaste: number
  /** Pieces of the offer itself that are used, at the cost of others. */
  readonly usedOfOffer: number
  /** What counting only the offer's own surplus would say, a used piece; null where none of it is used. */
  readonly naivePerPiece: Fraction | null
  /** Money for every piece really gained; null where none is: refuse. */
  readonly truePerPiece: Fraction | null
  readonly verdict: 'refuse' | 'dearer-than-fresh' | 'worth-it'
}

/** An offered lot with and without it. `unitPrice`, `wasteFee` and `freshPrice` are minor units a piece. */
export function judgeBargain(
  setting: Setting,
  offer: Arriving & { readonly unitPrice: Fraction; readonly wasteFee: number; readonly freshPrice: Fraction },
): BargainAnswer {
  const { without, withOffer } = usedBoth(setting, offer)
  const gained = withOffer.used - without.used
  const addedWaste = offer.pieces - gained
  const usedOfOffer = withOffer.lots[withOffer.lots.length - 1]!.used
  const price = times(fraction(offer.pieces), offer.unitPrice)
  const spread = (waste: number, pieces: number) =>
    pieces === 0 ? null : over(plus(price, fraction(offer.wasteFee * waste)), fraction(pieces))
  const truePerPiece = spread(addedWaste, gained)
  return {
    usedWithout: without.used,
    usedWith: withOffer.used,
    gained,
    addedWaste,
    usedOfOffer,
    naivePerPiece: spread(offer.pieces - usedOfOffer, usedOfOffer),
    truePerPiece,
    verdict:
      truePerPiece === null
        ? 'refuse'
        : compare(truePerPiece, offer.freshPrice) <= 0
          ? 'worth-it'
          : 'dearer-than-fresh',
  }
}

/**
 * What a supplier's pack really costs: its price and the waste fee of what dies, over the pieces gained. Null where no
 * piece of it would be used: no price is shown then, the pack is refused.
 */
export function pricePerUsedPiece(
  setting: Setting,
  pack: Arriving & { readonly packPrice: number; readonly wasteFee: number },
): { pieces: number; perPiece: Fraction | null } {
  const pieces = piecesGained(setting, pack)
  if (pieces === 0) return { pieces, perPiece: null }
  const surplus = pack.pieces - pieces
  return { pieces, perPiece: fraction(pack.packPrice + pack.wasteFee * surplus, pieces) }
}

/** Pieces to order now: up to the newsvendor quantity, never above the ceiling, never below zero. */
export function quantityToOrder(q: {
  ceiling: number
  position: number
  /** Mean demand from arrival to the last full-life day of what would arrive. */
  demand: number
  underCost: number
  overCost: number
}): { quantity: number; target: number } {
  const target = newsvendorQuantity(q.demand, q.underCost, q.overCost)
  return { quantity: Math.max(0, Math.min(q.ceiling, target - q.position)), target }
}

/** Months of life to demand at receipt: the interval, the guard, and the months it takes to use the lot up. */
export const monthsToDemandAtReceipt = (
  intervalMonths: number,
  guardMonths: number,
  pieces: number,
  perMonth: Fraction,
): Fraction => plus(fraction(intervalMonths + guardMonths), over(fraction(pieces), perMonth))
