import poissonCdfOracle from '@stdlib/stats-base-dists-poisson-cdf'
import poissonQuantileOracle from '@stdlib/stats-base-dists-poisson-quantile'
import fc from 'fast-check'
import { describe, expect, it, test } from 'vitest'
import { type Day, dayOfNumber, numberOfDay } from '../../../src/domain/day.ts'
import {
  judgeBargain,
  monthsToDemandAtReceipt,
  orderCeiling,
  piecesGained,
  positionOf,
  pricePerUsedPiece,
  quantityToOrder,
  reorderPoint,
  weeklyIssues,
} from '../../../src/domain/stock/buying.ts'
import {
  type Demand,
  demandThrough,
  MONTHS_AHEAD,
  monthDemand,
  sharesFrom,
  walkInsOf,
} from '../../../src/domain/stock/demand.ts'
import { type Fraction, fraction, plus, times, toFixed } from '../../../src/domain/stock/fraction.ts'
import { lastFullLifeDay } from '../../../src/domain/stock/life.ts'
import { expectedLeft, expectedShort, newsvendorQuantity, poissonQuantile } from '../../../src/domain/stock/poisson.ts'
import { stockRuleTable } from '../../../src/domain/stock/rules.ts'
import { shortAt, walkShelf, walkWithArrivals } from '../../../src/domain/stock/walk.ts'

// The worked shelf of 2026-12-01: interval 24, guard 3, shortest life 12, demand 8 a month (common practice, no source).
const today = '2026-12-01' as Day
const from = numberOfDay(today)
const rules = { guardMonths: 3, shortestMonths: 12 }
/** The same number of pieces every month. */
const evenDemand = (from: Day, perMonth: Fraction, atOnce = 0): Demand => ({
  from,
  atOnce,
  months: Array.from({ length: MONTHS_AHEAD + 1 }, () => perMonth),
})
const through = demandThrough(evenDemand(today, fraction(8)))
const lastDay = (bestBefore: string) => numberOfDay(lastFullLifeDay(bestBefore as Day, 24, rules))
const at = (day: string) => numberOfDay(day as Day)
const lotB = { lot: 'B', pieces: 30, last: lastDay('2029-04-30') }
const lotC = { lot: 'C', pieces: 40, last: lastDay('2029-08-31') }
const lotN = { lot: 'N', pieces: 60, last: lastDay('2029-10-31') }
const shelf = [lotB, lotC, lotN]
const setting = { lots: shelf, through, from }

describe('what will die unused', () => {
  it('is 14 of B, 8 of C and 44 of N', () => {
    expect([at('2027-01-31'), at('2027-05-31'), at('2027-07-31')].map(through)).toEqual([16, 48, 64])
    const walk = walkShelf(shelf, through)
    expect(walk.lots.map((l) => l.unused)).toEqual([14, 8, 44])
    expect(walk.unused).toBe(66)
    expect(walk.unused * 92).toBe(6072)
    expect(shortAt(walk, through, at('2027-07-31'))).toBe(0)
    expect(shortAt(walk, through, at('2027-08-31'))).toBe(8)
  })

  it('the ceiling of the purchase N was 16', () => {
    expect(orderCeiling({ lots: [lotB, lotC], through, from }, from, lotN.last)).toBe(16)
  })

  const anyLots = fc.array(fc.record({ pieces: fc.nat(60), span: fc.integer({ min: 0, max: 900 }) }), { maxLength: 8 })
  const asLots = (lots: { pieces: number; span: number }[]) =>
    lots.map(({ pieces, span }, i) => ({ lot: String(i), pieces, last: from + span })).sort((a, b) => a.last - b.last)

  it('on the shelf is what a walk day by day finds', () => {
    fc.assert(
      fc.property(anyLots, fc.integer({ min: 0, max: 400 }), (lots, twelfths) => {
        const demand = demandThrough(evenDemand(today, fraction(twelfths, 12)))
        const sorted = asLots(lots)
        const left = sorted.map((l) => l.pieces)
        for (let day = from; day <= from + 900; day++) {
          let asked = demand(day) - demand(day - 1)
          sorted.forEach((l, i) => {
            if (l.last < day) return
            const taken = Math.min(asked, left[i]!)
            left[i]! -= taken
            asked -= taken
          })
        }
        expect(walkShelf(sorted, demand).lots.map((l) => l.unused)).toEqual(left)
        const arrivals = walkWithArrivals(sorted, demand, from, from + 900)
        expect(arrivals.lots.map((l) => l.unused)).toEqual(left)
      }),
      { numRuns: 200 },
    )
  })

  it('with arrivals is what a walk day by day finds', () => {
    const arriving = fc.array(
      fc.record({
        pieces: fc.nat(40),
        arrival: fc.integer({ min: 0, max: 300 }),
        span: fc.integer({ min: -20, max: 400 }),
      }),
      { maxLength: 6 },
    )
    fc.assert(
      fc.property(arriving, fc.integer({ min: 0, max: 300 }), (lots, twelfths) => {
        const demand = demandThrough(evenDemand(today, fraction(twelfths, 12), 3))
        const all = lots.map((l, i) => ({
          lot: String(i),
          pieces: l.pieces,
          arrival: from + l.arrival,
          last: from + l.arrival + l.span,
        }))
        const left = all.map((l) => l.pieces)
        const order = all.map((_, i) => i).sort((a, b) => all[a]!.last - all[b]!.last || a - b)
        for (let day = from; day <= from + 700; day++) {
          let asked = demand(day) - demand(day - 1)
          for (const i of order) {
            if (all[i]!.arrival > day || all[i]!.last < day) continue
            const taken = Math.min(asked, left[i]!)
            left[i]! -= taken
            asked -= taken
          }
        }
        expect(walkWithArrivals(all, demand, from, from + 700).lots.map((l) => l.unused)).toEqual(left)
      }),
      { numRuns: 200 },
    )
  })
})

describe('demand', () => {
  const fewest = stockRuleTable.fewestCycles.default
  const house = { comingUp: 35, due: 25, overdue: 10, askedEnough: 5 }
  const none = { began: 0, came: { comingUp: 0, due: 0, overdue: 0, askedEnough: 0 } }

  it('of a December with 20 coming up, 12 due, 8 overdue and 3 walk-ins is 13.8 cells', () => {
    const { shares, from: source } = sharesFrom(none, none, house, fewest)
    const december = monthDemand(fraction(3), { comingUp: 20, due: 12, overdue: 8 }, shares)
    expect(source).toBe('house-rules')
    expect(toFixed(december, 1)).toBe('13.8')
    const waved: Demand = { from: today, atOnce: 0, months: [december, ...Array(24).fill(fraction(8))] }
    expect(walkShelf(shelf, demandThrough(waved)).lots[0]!.unused).toBeLessThan(14)
  })

  it('takes the shares of the designation from 30 cycles on, else of all watches, else of the house', () => {
    const some = (began: number) => ({ began, came: { comingUp: 12, due: 6, overdue: 3, askedEnough: 0 } })
    expect(sharesFrom(some(30), some(300), house, fewest)).toMatchObject({
      from: 'designation',
      shares: { comingUp: fraction(2, 5), askedEnough: fraction(0) },
    })
    expect(sharesFrom(some(29), some(30), house, fewest).from).toBe('all-watches')
    expect(sharesFrom(some(29), some(29), house, fewest).from).toBe('house-rules')
  })

  it('takes walk-ins from the mean of twelve months, or from last year once there are 36', () => {
    const months = Array.from({ length: 36 }, (_, i) => i)
    expect(walkInsOf(months.slice(-20), 5)).toEqual(fraction(59, 2))
    expect(walkInsOf(months, 0)).toEqual(fraction(24))
    expect(walkInsOf(months, 11)).toEqual(fraction(35))
    expect(walkInsOf(months, 13)).toEqual(fraction(25))
    expect(walkInsOf([], 3)).toEqual(fraction(0))
  })

  it('after the 24th month ahead is the mean of months 1–24', () => {
    const months = Array.from({ length: 25 }, (_, i) => fraction(i === 0 ? 1000 : i))
    const demand = demandThrough({ from: today, atOnce: 0, months })
    expect(demand(at('2029-01-31')) - demand(at('2028-12-31'))).toBe(12)
    expect(demand(at('2029-02-28')) - demand(at('2028-12-31'))).toBe(25)
  })

  it('summed day by day in exact fractions is the same, in plain numbers and beyond them', () => {
    const anyFraction = fc.tuple(fc.nat(4000), fc.integer({ min: 1, max: 1200 })).map(([n, d]) => fraction(n, d))
    const huge = fc.tuple(fc.nat(4000), fc.bigInt({ min: 10n ** 12n, max: 10n ** 13n })).map(([n, d]) => fraction(n, d))
    const start = fc.integer({ min: from, max: from + 60 })
    const property = (months: fc.Arbitrary<ReturnType<typeof fraction>>) =>
      fc.property(fc.array(months, { minLength: 25, maxLength: 25 }), start, fc.nat(5), (list, day, atOnce) => {
        const demand = { from: dayOfNumber(day), atOnce, months: list }
        const fast = demandThrough(demand)
        const tail = times(list.slice(1).reduce(plus, fraction(0)), fraction(1, 24))
        let sum = fraction(atOnce)
        for (let d = day; d < day + 900; d++) {
          const text = dayOfNumber(d)
          const ahead =
            (Number(text.slice(0, 4)) - Number(demand.from.slice(0, 4))) * 12 +
            Number(text.slice(5, 7)) -
            Number(demand.from.slice(5, 7))
          const length = numberOfDay(`${text.slice(0, 8)}01` as Day)
          const next = numberOfDay(dayOfNumber(length + 31).replace(/..$/, '01') as Day)
          sum = plus(sum, times(list[ahead] ?? tail, fraction(1, next - length)))
          if (d % 7 === 0) expect(fast(d)).toBe(Number(sum.n / sum.d))
        }
      })
    fc.assert(property(anyFraction), { numRuns: 15 })
    fc.assert(property(huge), { numRuns: 5 })
  })

  it('never falls, and is nothing before its first day', () => {
    expect(through(from - 1)).toBe(0)
    fc.assert(
      fc.property(fc.nat(3000), fc.nat(60), fc.nat(500), (days, more, n) => {
        const demand = demandThrough(evenDemand(today, fraction(n, 7)))
        expect(demand(from + days + more)).toBeGreaterThanOrEqual(demand(from + days))
      }),
    )
  })
})

describe('when and how much to buy', () => {
  const reorder = { leadWeeks: 3, servicePercent: 95, normalThousandths: 1645, slowBelow: 5 }

  it('orders at 13 with 2.5 a week, deviation 1.8 and three weeks of lead', () => {
    const issues = { mean: fraction(5, 2), variance: times(fraction(18, 10), fraction(18, 10)) }
    expect(reorderPoint(issues, reorder)).toEqual({ point: 13, by: 'normal' })
  })

  it('rounds up exactly: a sum that is whole stays', () => {
    // d·T = 6, z = 2, s²·T = 9 → 6 + 2·3 = 12.
    expect(
      reorderPoint({ mean: fraction(2), variance: fraction(3) }, { ...reorder, normalThousandths: 2000 }).point,
    ).toBe(12)
    expect(
      reorderPoint({ mean: fraction(2), variance: fraction(301, 100) }, { ...reorder, normalThousandths: 2000 }).point,
    ).toBe(13)
  })

  it('orders a slow mover at 2 where 0.6 is expected in the lead time', () => {
    // P(X ≤ 1) = 0.878, P(X ≤ 2) = 0.977
    expect(reorderPoint({ mean: fraction(1, 5), variance: fraction(1, 5) }, reorder)).toEqual({
      point: 2,
      by: 'poisson',
    })
  })

  it('reads mean and sample variance of weeks exactly', () => {
    // 2, 4, 4, 4, 5, 5, 7, 9: mean 5, sum of squares about it 32, over 7.
    expect(weeklyIssues([2, 4, 4, 4, 5, 5, 7, 9])).toEqual({ mean: fraction(5), variance: fraction(32, 7) })
  })

  it('the position leaves out what will die: 130 on the shelf count for 64', () => {
    expect(positionOf({ usable: 130, unused: 66, onOrder: 0, promised: 0 })).toBe(64)
    // 64 falls to 13 after 6.4 months at 8 a month.
    expect(toFixed(times(fraction(64 - 13), fraction(1, 8)), 1)).toBe('6.4')
  })

  it('fresh cells of 36 months that arrive two months old have a ceiling of 56, and 100 would need 39.5 months', () => {
    const bestBefore = '2029-10-01'
    expect(lastDay(bestBefore)).toBe(at('2027-07-01'))
    expect(orderCeiling({ lots: [], through, from }, from, lastDay(bestBefore))).toBe(56)
    expect(toFixed(monthsToDemandAtReceipt(24, 3, 100, fraction(8)), 1)).toBe('39.5')
  })

  it('a pack above the ceiling is priced by the pieces that are used', () => {
    const empty = { lots: [], through, from }
    const pack = { pieces: 100, arrival: from, last: lastDay('2029-10-01'), packPrice: 9200, wasteFee: 2 }
    expect(pricePerUsedPiece(empty, pack)).toEqual({ pieces: 56, perPiece: fraction(9200 + 2 * 44, 56) })
    const dead = { ...pack, last: from - 1 }
    expect(pricePerUsedPiece(empty, dead)).toEqual({ pieces: 0, perPiece: null })
  })

  it('offers no more than the ceiling and never less than nothing', () => {
    const costs = { demand: 10, underCost: 4, overCost: 1 }
    expect(quantityToOrder({ ...costs, ceiling: 100, position: 3 })).toEqual({ quantity: 10, target: 13 })
    expect(quantityToOrder({ ...costs, ceiling: 6, position: 3 }).quantity).toBe(6)
    expect(quantityToOrder({ ...costs, ceiling: 100, position: 40 }).quantity).toBe(0)
  })

  it('the ceiling is the greatest number of which every piece is gained, found by trying', () => {
    const anyShelf = fc.array(fc.record({ pieces: fc.nat(30), span: fc.nat(500) }), { maxLength: 4 })
    fc.assert(
      fc.property(anyShelf, fc.nat(200), fc.nat(300), fc.nat(240), (lots, arrival, span, n) => {
        const s = {
          lots: lots.map((l, i) => ({ lot: String(i), pieces: l.pieces, last: from + l.span })),
          through: demandThrough(evenDemand(today, fraction(n, 12))),
          from,
        }
        const offer = { arrival: from + arrival, last: from + arrival + span }
        const found = orderCeiling(s, offer.arrival, offer.last)
        expect(piecesGained(s, { ...offer, pieces: found })).toBe(found)
        for (let more = 1; more <= 5; more++) {
          expect(piecesGained(s, { ...offer, pieces: found + more })).toBe(found)
        }
      }),
      { numRuns: 200 },
    )
  })
})

describe('a bargain', () => {
  it('of 200 at half price that gains nothing is refused, though it looks like 11.73 a piece', () => {
    const offer = { pieces: 200, arrival: from, last: lastDay('2029-05-31') }
    expect(offer.last).toBe(at('2027-02-28'))
    const answer = judgeBargain(setting, { ...offer, unitPrice: fraction(45), wasteFee: 2, freshPrice: fraction(92) })
    expect(answer).toMatchObject({
      usedWithout: 64,
      usedWith: 64,
      gained: 0,
      addedWaste: 200,
      usedOfOffer: 8,
      truePerPiece: null,
      verdict: 'refuse',
    })
    expect(toFixed(times(answer.naivePerPiece!, fraction(1, 100)), 2)).toBe('11.73')
    // What the schedule uses: B 16, offer 8, C only 24, N 16.
    const all = [lotB, { lot: 'offer', ...offer }, lotC, lotN]
    expect(walkShelf(all, through).lots.map((l) => l.used)).toEqual([16, 8, 24, 16])
  })

  it('is worth it where every piece is gained below the fresh price', () => {
    const empty = { lots: [], through, from }
    const offer = { pieces: 10, arrival: from, last: lastDay('2029-05-31'), wasteFee: 2, freshPrice: fraction(92) }
    expect(judgeBargain(empty, { ...offer, unitPrice: fraction(45) })).toMatchObject({
      gained: 10,
      verdict: 'worth-it',
    })
    expect(judgeBargain(empty, { ...offer, pieces: 100, unitPrice: fraction(45) }).verdict).toBe('dearer-than-fresh')
  })
})

describe('Poisson and newsvendor', () => {
  // R 4.2.2 ppois(0:9, 5).
  test.each(
    [0.0067379, 0.0404277, 0.124652, 0.2650259, 0.4404933, 0.6159607, 0.7621835, 0.8666283, 0.9319064, 0.9681719].map(
      (p, k) => [k, p] as const,
    ),
  )('%i at mean 5 is the smallest count with P(X ≤ count) of %f and no more', (k, p) => {
    expect([poissonQuantile(p - 1e-6, 5), poissonQuantile(p + 1e-6, 5)]).toEqual([k, k + 1])
  })

  it('quantiles at mean 5 are 9 and 11 (R qpois)', () => {
    expect([poissonQuantile(0.95, 5), poissonQuantile(0.99, 5)]).toEqual([9, 11])
  })

  // F(Q) ≥ cu / (cu + co), own numbers computed with R: mean, under, over, Q, cost.
  test.each([
    [5, 3, 1, 6, 2.97319],
    [10, 4, 1, 13, 4.6123637],
    [20, 9, 1, 26, 8.1864315],
    [3.2, 5, 0.8, 5, 2.4549967],
  ])('mean %f, under %f, over %f: order %i at a cost of %f', (mean, under, overCost, quantity, cost) => {
    expect(newsvendorQuantity(mean, under, overCost)).toBe(quantity)
    const [short, left] = [expectedShort(quantity, mean), expectedLeft(quantity, mean)]
    expect(under * short + overCost * left).toBeCloseTo(cost, 6)
    expect(left - short).toBeCloseTo(quantity - mean, 10)
  })

  it('short and left at mean 5 and 6 pieces are 0.4932975 and 1.4932975', () => {
    expect(expectedShort(6, 5)).toBeCloseTo(0.4932975, 7)
    expect(expectedLeft(6, 5)).toBeCloseTo(1.4932975, 7)
  })

  it('agrees with the @stdlib distributions', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 0.01, max: 600, noNaN: true }),
        fc.double({ min: 0.001, max: 0.999, noNaN: true }),
        (mean, p) => {
          const quantile = poissonQuantile(p, mean)
          // On a probability that is a jump of the distribution to the last digits either side may be named.
          if ([quantile - 1, quantile].every((k) => Math.abs(poissonCdfOracle(k, mean) - p) > 1e-9))
            expect(quantile).toBe(poissonQuantileOracle(p, mean) + 0)
        },
      ),
      { numRuns: 500 },
    )
  })

  it('does not underflow at a mean of 5,000', () => {
    expect(poissonQuantile(0.5, 5000)).toBe(5000)
  })
})

describe('fractions', () => {
  it('are written with a fixed number of places, and stand over nothing', () => {
    expect(toFixed(fraction(-1, 200), 2)).toBe('0.00')
    expect(() => fraction(1, 0)).toThrow(RangeError)
  })
})
