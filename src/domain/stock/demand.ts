/**
 * Demand expected, in exact pieces: walk-ins plus the known watches times the share that comes at the stage they
 * reach. Common practice, no source; the shares where too little was measured are house rules.
 */
import { addMonths, civilOf, type Day, daysInMonth, numberOf, numberOfDay } from '../day.ts'
import { commonDenominator, type Fraction, fraction, over, plus, sumOf, times, zero } from './fraction.ts'

/** The stages of an obligation, each entered on the day of the reckoning's edge of that name. */
export const stages = ['comingUp', 'due', 'overdue', 'askedEnough'] as const
export type Stage = (typeof stages)[number]
export type Shares = Readonly<Record<Stage, Fraction>>

/** What was measured: watches whose cell we fitted while they stood in the stage, of all letter cycles that began. */
export type Cycles = { readonly began: number; readonly came: Readonly<Record<Stage, number>> }

const measured = (cycles: Cycles): Shares => {
  const share = (stage: Stage) => fraction(cycles.came[stage], cycles.began)
  return {
    comingUp: share('comingUp'),
    due: share('due'),
    overdue: share('overdue'),
    askedEnough: share('askedEnough'),
  }
}

/** The shares of a designation, else of all watches, else of the house rules (hundredths); below `fewest` cycles a share says nothing. */
export function sharesFrom(
  designation: Cycles,
  everything: Cycles,
  house: Readonly<Record<Stage, number>>,
  fewest: number,
): { shares: Shares; from: 'designation' | 'all-watches' | 'house-rules' } {
  if (designation.began >= fewest) return { shares: measured(designation), from: 'designation' }
  if (everything.began >= fewest) return { shares: measured(everything), from: 'all-watches' }
  const share = (stage: Stage) => fraction(house[stage], 100)
  return {
    shares: {
      comingUp: share('comingUp'),
      due: share('due'),
      overdue: share('overdue'),
      askedEnough: share('askedEnough'),
    },
    from: 'house-rules',
  }
}

/** A month's demand: cells of the watches that enter a stage in it, by the share that comes there, plus walk-ins. */
export function monthDemand(
  walkIns: Fraction,
  cellsEntering: Readonly<Partial<Record<Stage, number>>>,
  shares: Shares,
): Fraction {
  let sum = walkIns
  for (const stage of stages) {
    const cells = cellsEntering[stage]
    if (cells) sum = plus(sum, times(fraction(cells), shares[stage]))
  }
  return sum
}

/**
 * Walk-ins expected in a month, from full past months (newest last; the month before today's is the last one). With
 * 36 full months or more the same month of last year, else the mean of the last 12, or of all where there are fewer.
 * `ahead` is 0 for the month of today.
 */
export function walkInsOf(fullMonths: readonly number[], ahead: number): Fraction {
  if (fullMonths.length === 0) return zero
  if (fullMonths.length >= 36) return fraction(fullMonths[fullMonths.length - 12 + (ahead % 12)] ?? 0)
  const last = fullMonths.slice(-12)
  return fraction(
    last.reduce((sum, pieces) => sum + pieces, 0),
    last.length,
  )
}

/**
 * Demand from `from` on. `months[0]` is the month of `from`, whole; its days before `from` no longer count. After the
 * 24th month ahead a month asks for the mean of months 1–24. `atOnce` are pieces wanted on `from` itself: watches in
 * the house that wait for a cell, less those already issued to them.
 */
export type Demand = { readonly from: Day; readonly atOnce: number; readonly months: readonly Fraction[] }

export const MONTHS_AHEAD = 24

function meanOfMonthsAhead(demand: Demand): Fraction {
  const ahead = demand.months.slice(1, MONTHS_AHEAD + 1)
  if (ahead.length === 0) return demand.months[0] ?? zero
  return over(sumOf(ahead), fraction(ahead.length))
}

/** The months' lengths 28, 29, 30 and 31 all divide it. */
const DAYS_OF_ALL_MONTHS = 377_580n

/**
 * Whole pieces asked for from `demand.from` through a day, both included: summed exactly, then rounded down. Days are
 * day numbers; before `from` nothing is asked for. All fractions are brought to one denominator once, so that asking
 * for many days costs two multiplications each; plain numbers where they are exact, else BigInt.
 */
export function demandThrough(demand: Demand): (dayNumber: number) => number {
  const start = numberOfDay(demand.from)
  const { year, month } = civilOf(start)
  const tail = meanOfMonthsAhead(demand)
  const denominator = commonDenominator([...demand.months, tail]) * DAYS_OF_ALL_MONTHS
  const monthAt = (index: number) => {
    const asked = index <= MONTHS_AHEAD && index < demand.months.length ? demand.months[index]! : tail
    const total = month - 1 + index
    const y = year + Math.floor(total / 12)
    const m = (total % 12) + 1
    const first = index === 0 ? start : numberOf(y, m, 1)
    const days = daysInMonth(y, m)
    return { first, last: numberOf(y, m, days), perDay: (asked.n * (denominator / asked.d)) / BigInt(days) }
  }
  const known: { first: number; last: number; perDay: bigint; before: bigint; fast: boolean }[] = []
  let before = BigInt(demand.atOnce) * denominator
  const extend = () => {
    const { first, last, perDay } = monthAt(known.length)
    const after = before + perDay * BigInt(last - first + 1)
    known.push({ first, last, perDay, before, fast: after <= BigInt(Number.MAX_SAFE_INTEGER) })
    before = after
  }
  const denominatorNumber = Number(denominator)
  return (dayNumber) => {
    if (dayNumber < start) return 0
    while (known.length === 0 || known[known.length - 1]!.last < dayNumber) extend()
    let low = 0
    let high = known.length - 1
    while (low < high) {
      const middle = (low + high) >> 1
      if (known[middle]!.last < dayNumber) low = middle + 1
      else high = middle
    }
    const { first, perDay, before: sum, fast } = known[low]!
    const days = dayNumber - first + 1
    if (fast) {
      const top = Number(sum) + Number(perDay) * days
      const rest = top % denominatorNumber
      return (top - rest) / denominatorNumber
    }
    return Number((sum + perDay * BigInt(days)) / denominator)
  }
}

/** Mean demand of a month over the coming `months` full months: what a buyer calls "so many a month". */
export function monthlyMean(demand: Demand, months = 12): Fraction {
  const ahead = demand.months.slice(1, months + 1)
  return ahead.length === 0 ? zero : over(sumOf(ahead), fraction(ahead.length))
}

/** The first day of the n-th month after the month of a day. */
export const monthStart = (day: Day, ahead: number): Day => addMonths(`${day.slice(0, 7)}-01` as Day, ahead)
