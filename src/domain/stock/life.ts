/**
 * A cell is judged on the day of fitting by the day of its next change, not by today: it is not a cell that is sold
 * but two years of running. Common practice of the trade, no source; the numbers are house rules.
 */
import { addMonthsToNumber, type Day, dayOfNumber, numberOfDay } from '../day.ts'

/** Months: the guard for an owner who comes late, and the shortest life a centre is ready to hand over. */
export type LifeRules = { readonly guardMonths: number; readonly shortestMonths: number }

export type Grade = 'full-life' | 'short-life' | 'not-to-be-fitted'

/** Months of shelf life that a full-life cell must still have on the day of fitting. */
export const monthsForFullLife = (intervalMonths: number, rules: LifeRules): number =>
  Math.max(intervalMonths + rules.guardMonths, rules.shortestMonths)

/** The grade of a cell with this best-before, on day numbers. */
export function gradeOfNumbers(fitting: number, intervalMonths: number, bestBefore: number, rules: LifeRules): Grade {
  if (addMonthsToNumber(fitting, monthsForFullLife(intervalMonths, rules)) <= bestBefore) return 'full-life'
  return addMonthsToNumber(fitting, rules.shortestMonths) <= bestBefore ? 'short-life' : 'not-to-be-fitted'
}

/** The grade of a cell fitted on this day into a watch whose cell is changed every `intervalMonths`. */
export const gradeOf = (fitting: Day, intervalMonths: number, bestBefore: Day, rules: LifeRules): Grade =>
  gradeOfNumbers(numberOfDay(fitting), intervalMonths, numberOfDay(bestBefore), rules)

/**
 * The day that can be promised for the next change, consumption aside; null where the cell is not to be fitted.
 * A short-life cell is promised no longer than its best-before.
 */
export function nextChangeOn(fitting: Day, intervalMonths: number, bestBefore: Day, rules: LifeRules): Day | null {
  const grade = gradeOf(fitting, intervalMonths, bestBefore, rules)
  if (grade === 'not-to-be-fitted') return null
  const byInterval = addMonthsToNumber(numberOfDay(fitting), intervalMonths)
  return dayOfNumber(grade === 'full-life' ? byInterval : Math.min(byInterval, numberOfDay(bestBefore)))
}

/**
 * The greatest day number F with F + months ≤ bestBefore. Searched, because month addition clamps and so cannot be
 * undone: 2027-03-31 + 27 months is 2029-06-30, but 2029-06-30 − 27 months is 2027-03-30. Adding the same months
 * never changes the order of two days, so halving finds the greatest.
 */
export function lastDayNumberWithin(bestBefore: number, months: number): number {
  let fits = bestBefore - 31 * (months + 1)
  let tooLate = bestBefore + 1
  while (tooLate - fits > 1) {
    const middle = (fits + tooLate) >> 1
    if (addMonthsToNumber(middle, months) <= bestBefore) fits = middle
    else tooLate = middle
  }
  return fits
}

/** The last day on which a cell with this best-before is still of full life. */
export const lastFullLifeDay = (bestBefore: Day, intervalMonths: number, rules: LifeRules): Day =>
  dayOfNumber(lastDayNumberWithin(numberOfDay(bestBefore), monthsForFullLife(intervalMonths, rules)))

/** The last day on which it may be fitted at all, with the short-life signature. */
export const lastShortLifeDay = (bestBefore: Day, rules: LifeRules): Day =>
  dayOfNumber(lastDayNumberWithin(numberOfDay(bestBefore), rules.shortestMonths))
