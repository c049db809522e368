import { type Day, dayOfNumber, numberOfDay } from '../day.ts'

/** Days on which the centre works: days of the week (1 Monday … 7 Sunday) less its holidays. */
export type WorkCalendar = { readonly weekdays: ReadonlySet<number>; readonly holidays: ReadonlySet<Day> }

/** 1970-01-01, day number 0, was a Thursday. */
const weekdayOf = (dayNumber: number): number => ((((dayNumber + 3) % 7) + 7) % 7) + 1

const works = (dayNumber: number, calendar: WorkCalendar): boolean =>
  calendar.weekdays.has(weekdayOf(dayNumber)) &&
  !(calendar.holidays.size > 0 && calendar.holidays.has(dayOfNumber(dayNumber)))

/** A calendar without a working day has no next one; after ten years the search stops and the day itself is given. */
const SEARCH_DAYS = 3660

export function nextWorkingDay(day: Day, calendar: WorkCalendar): Day {
  const start = numberOfDay(day)
  for (let n = start; n < start + SEARCH_DAYS; n++) if (works(n, calendar)) return dayOfNumber(n)
  return day
}

/** The nth working day after a day; 0 is the day itself or, if the centre is closed then, the next working day. */
export function addWorkingDays(day: Day, days: number, calendar: WorkCalendar): Day {
  let n = numberOfDay(nextWorkingDay(day, calendar))
  if (days > 0 && numberOfDay(day) !== n) days -= 1
  const stop = n + SEARCH_DAYS
  for (let left = days; left > 0 && n < stop; ) {
    n += 1
    if (works(n, calendar)) left -= 1
  }
  return dayOfNumber(n)
}

/** Working days after `from` up to and including `to`; 0 where `to` does not lie after `from`. */
export function workingDaysBetween(from: Day, to: Day, calendar: WorkCalendar): number {
  let count = 0
  for (let n = numberOfDay(from) + 1; n <= numberOfDay(to); n++) if (works(n, calendar)) count += 1
  return count
}
