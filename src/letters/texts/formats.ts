import type { PartialDay } from '../../domain/day.ts'
import { decimalsOf } from '../../domain/money.ts'

/** Days and amounts by Intl. A day is fixed to UTC on both sides, so that no zone can move it. */

/** A formatter costs more to make than a hundred uses of it. */
function kept<T>(make: (...key: string[]) => T): (...key: string[]) => T {
  const made = new Map<string, T>()
  return (...key) => {
    const name = key.join('|')
    let one = made.get(name)
    if (one === undefined) {
      one = make(...key)
      made.set(name, one)
    }
    return one
  }
}

const utc = (day: PartialDay | string): number => {
  const [year = 0, month = 1, date = 1] = day.split('-').map(Number)
  return Date.UTC(year, month - 1, date)
}

export function dayFormats(locale: string) {
  const base = { timeZone: 'UTC', calendar: 'gregory' } as const
  const full = new Intl.DateTimeFormat(locale, { ...base, day: 'numeric', month: 'long', year: 'numeric' })
  const month = new Intl.DateTimeFormat(locale, { ...base, month: 'long', year: 'numeric' })
  return {
    full: (day: string) => full.format(utc(day)),
    month: (day: string) => month.format(utc(day)),
  }
}

/** `2022`, `2022-03` or `2022-03-15`, each with its own words. */
export function byPrecision<T>(
  day: PartialDay,
  words: { year: (text: string) => T; month: (text: string) => T; day: (text: string) => T },
): T {
  if (day.length === 4) return words.year(day)
  return day.length === 7 ? words.month(day) : words.day(day)
}

const moneyFormat = kept((locale = '', currency = '') => {
  const decimals = decimalsOf(currency)
  return new Intl.NumberFormat(locale, {
    style: 'currency',
    currency,
    minimumFractionDigits: decimals,
    maximumFractionDigits: decimals,
  })
})
const listFormat = kept((locale = '') => new Intl.ListFormat(locale, { style: 'long', type: 'conjunction' }))
const unitFormat = kept(
  (locale = '', unit = '') => new Intl.NumberFormat(locale, { style: 'unit', unit, unitDisplay: 'long' }),
)

/** Minor units as ISO 4217 counts them; Intl's own count differs for some (HUF). Amounts stay exact below 2^53. */
export function moneyIn(locale: string, amount: number, currency: string): string {
  const decimals = decimalsOf(currency)
  const digits = String(amount).padStart(decimals + 1, '0')
  const exact = decimals === 0 ? digits : `${digits.slice(0, -decimals)}.${digits.slice(-decimals)}`
  const format = moneyFormat(locale, currency)
  return format.format(exact as unknown as number)
}

export const listIn = (locale: string, items: readonly string[]): string => listFormat(locale).format(items)

/** "5 years" or "18 months", "half an hour to an hour", by the plural rules of the language. */
export function counted(locale: string, unit: 'year' | 'month' | 'minute' | 'day' | 'week', count: number): string {
  return unitFormat(locale, unit).format(count)
}

export const spanIn = (locale: string, months: number): string =>
  months % 12 === 0 ? counted(locale, 'year', months / 12) : counted(locale, 'month', months)
