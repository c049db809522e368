/**
 * Ageing by days to the last full-life day, not by days to the best-before: a lot is dead for ordinary work long
 * before its best-before, and that is what nobody sees at the drawer.
 */
import { addDays, addMonths, type Day, daysBetween } from '../day.ts'
import { type LifeRules, lastFullLifeDay, monthsForFullLife } from './life.ts'

export const buckets = [
  'blocked',
  'expired',
  'under-shortest-life',
  'past-full-life',
  'days-0-30',
  'days-31-90',
  'days-91-180',
  'over-180-days',
] as const
export type Bucket = (typeof buckets)[number]

/** The last day of each counted bucket; common practice, no source. */
const edges = [
  [30, 'days-0-30'],
  [90, 'days-31-90'],
  [180, 'days-91-180'],
] as const

const usable: ReadonlySet<Bucket> = new Set(buckets.slice(buckets.indexOf('days-0-30')))
/** Usable lots are those that demand can still reach with full life. */
export const isUsable = (bucket: Bucket): boolean => usable.has(bucket)

/** The first bucket that applies. `intervalMonths` is the one set for the designation's ageing. */
export function bucketOf(
  lot: { readonly bestBefore: Day; readonly blocked: boolean },
  today: Day,
  intervalMonths: number,
  rules: LifeRules,
): Bucket {
  if (lot.blocked) return 'blocked'
  if (lot.bestBefore < today) return 'expired'
  if (addMonths(today, rules.shortestMonths) > lot.bestBefore) return 'under-shortest-life'
  const left = daysBetween(today, lastFullLifeDay(lot.bestBefore, intervalMonths, rules))
  if (left < 0) return 'past-full-life'
  return edges.find(([last]) => left <= last)?.[1] ?? 'over-180-days'
}

/**
 * The same cut as days of best-before, for a database that holds no last full-life day: a lot lies in the bucket of
 * the last threshold that its best-before reaches. "L ≥ day" says the same as "day + months ≤ best-before", so no
 * lot needs a search of its own.
 */
export function bestBeforeThresholds(today: Day, intervalMonths: number, rules: LifeRules): Record<Bucket, Day | null> {
  const months = monthsForFullLife(intervalMonths, rules)
  return {
    blocked: null,
    expired: null,
    'under-shortest-life': today,
    'past-full-life': addMonths(today, rules.shortestMonths),
    'days-0-30': addMonths(today, months),
    'days-31-90': addMonths(addDays(today, 31), months),
    'days-91-180': addMonths(addDays(today, 91), months),
    'over-180-days': addMonths(addDays(today, 181), months),
  }
}
