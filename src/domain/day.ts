/**
 * Calendar days without a clock and without a zone: `YYYY-MM-DD`, proleptic Gregorian, years 1500–2200 at the doors.
 * Inside the reckoning a day is its number, counted from 1970-01-01 = 0; comparing and adding days is then plain
 * integer arithmetic. Month addition clamps to the end of the target month, in one step from the base
 * (checked in tests against PostgreSQL, luxon and temporal-polyfill).
 */
export type Day = string & { readonly __day: never }

/** A day that may be known only to its month or year: `2024`, `2024-06` or `2024-06-10`. */
export type PartialDay = string & { readonly __partialDay: never }

export const FIRST_YEAR = 1500
export const LAST_YEAR = 2200

const isLeap = (year: number) => year % 4 === 0 && (year % 100 !== 0 || year % 400 === 0)

export function daysInMonth(year: number, month: number): number {
  if (month === 2) return isLeap(year) ? 29 : 28
  return month === 4 || month === 6 || month === 9 || month === 11 ? 30 : 31
}

/** Days from 1970-01-01; the civil-calendar algorithm on years that begin in March, so that the leap day comes last. */
export function numberOf(year: number, month: number, day: number): number {
  const y = month > 2 ? year : year - 1
  const era = Math.floor(y / 400)
  const yearOfEra = y - era * 400
  const dayOfYear = Math.floor((153 * (month > 2 ? month - 3 : month + 9) + 2) / 5) + day - 1
  return era * 146_097 + yearOfEra * 365 + Math.floor(yearOfEra / 4) - Math.floor(yearOfEra / 100) + dayOfYear - 719_468
}

export function civilOf(dayNumber: number): { year: number; month: number; day: number } {
  const z = dayNumber + 719_468
  const era = Math.floor(z / 146_097)
  const dayOfEra = z - era * 146_097
  const yearOfEra = Math.floor(
    (dayOfEra - Math.floor(dayOfEra / 1460) + Math.floor(dayOfEra / 36_524) - Math.floor(dayOfEra / 146_096)) / 365,
  )
  const dayOfYear = dayOfEra - (365 * yearOfEra + Math.floor(yearOfEra / 4) - Math.floor(yearOfEra / 100))
  const m = Math.floor((5 * dayOfYear + 2) / 153)
  const month = m < 10 ? m + 3 : m - 9
  return {
    year: yearOfEra + era * 400 + (month <= 2 ? 1 : 0),
    month,
    day: dayOfYear - Math.floor((153 * m + 2) / 5) + 1,
  }
}

/** Same day number in the target month, else that month's last day. Months may be negative for calendars, never for dues. */
export function addMonthsToNumber(dayNumber: number, months: number): number {
  const { year, month, day } = civilOf(dayNumber)
  const total = year * 12 + (month - 1) + months
  const y = Math.floor(total / 12)
  const m = total - y * 12 + 1
  return numberOf(y, m, Math.min(day, daysInMonth(y, m)))
}

const twoDigits = Array.from({ length: 100 }, (_, n) => String(n).padStart(2, '0'))

export function dayOfNumber(dayNumber: number): Day {
  const { year, month, day } = civilOf(dayNumber)
  const century = Math.floor(year / 100)
  return `${twoDigits[century]}${twoDigits[year - century * 100]}-${twoDigits[month]}-${twoDigits[day]}` as Day
}

const ZERO = '0'.charCodeAt(0)
const twoAt = (text: string, at: number) => (text.charCodeAt(at) - ZERO) * 10 + text.charCodeAt(at + 1) - ZERO
const yearIn = (text: string) => twoAt(text, 0) * 100 + twoAt(text, 2)
const monthIn = (text: string) => twoAt(text, 5)
const dayIn = (text: string) => twoAt(text, 8)

/** The number of a day that is known to be well formed. */
export function numberOfDay(day: Day): number {
  return numberOf(yearIn(day), monthIn(day), dayIn(day))
}

const shape = /^(\d{4})(?:-(\d{2})(?:-(\d{2}))?)?$/

/** True for `YYYY`, `YYYY-MM` or `YYYY-MM-DD` that exists in the calendar, years 1500–2200. */
export function isPartialDay(text: string): text is PartialDay {
  const parts = shape.exec(text)
  if (!parts) return false
  const year = Number(parts[1])
  if (year < FIRST_YEAR || year > LAST_YEAR) return false
  if (parts[2] === undefined) return true
  const month = Number(parts[2])
  if (month < 1 || month > 12) return false
  if (parts[3] === undefined) return true
  const day = Number(parts[3])
  return day >= 1 && day <= daysInMonth(year, month)
}

/** True for a full day that exists, years 1500–2200. */
export function isDay(text: string): text is Day {
  return text.length === 10 && isPartialDay(text)
}

/** First and last day number of a partial day that is known to be well formed. */
export function spanOf(partial: PartialDay | Day): { first: number; last: number } {
  const year = yearIn(partial)
  if (partial.length === 4) return { first: numberOf(year, 1, 1), last: numberOf(year, 12, 31) }
  const month = monthIn(partial)
  if (partial.length === 7) {
    const first = numberOf(year, month, 1)
    return { first, last: first + daysInMonth(year, month) - 1 }
  }
  const only = numberOf(year, month, dayIn(partial))
  return { first: only, last: only }
}

export const addDays = (day: Day, days: number): Day => dayOfNumber(numberOfDay(day) + days)
export const addMonths = (day: Day, months: number): Day => dayOfNumber(addMonthsToNumber(numberOfDay(day), months))
export const daysBetween = (from: Day, to: Day): number => numberOfDay(to) - numberOfDay(from)
