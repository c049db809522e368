import { type Day, dayOfNumber, numberOfDay } from '../domain/day.ts'

/** Escapes of RFC 5545 3.3.11. */
const text = (value: string) => value.replace(/[\\;,]/g, '\\$&').replace(/\r?\n/g, '\\n')

/** Lines of at most 75 octets without the break (RFC 5545 3.1), never broken inside a character. */
export function folded(line: string): string {
  if (Buffer.byteLength(line) <= 75) return line
  const parts: string[] = []
  let current = ''
  let octets = 0
  for (const character of line) {
    const size = Buffer.byteLength(character)
    // a continued line begins with a space that counts
    if (octets + size > 75) {
      parts.push(current)
      current = ' '
      octets = 1
    }
    current += character
    octets += size
  }
  return [...parts, current].join('\r\n')
}

export type CalendarEntry = {
  uid: string
  /** when the letter was written; the same at each hand-over */
  stamp: Date
  day: Day
  summary: string
  description: string
  location: string | undefined
}

/**
 * A single all-day event. Never a rule that repeats: months added by RRULE fall on other days than ours at month ends
 * (an invalid date is skipped, RFC 5545 3.3.10, where we clamp).
 */
export function calendarFile(entry: CalendarEntry): string {
  const compact = (day: Day) => day.replaceAll('-', '')
  const lines = [
    'BEGIN:VCALENDAR',
    'VERSION:2.0',
    'PRODID:-//Mainplate//Letters//EN',
    'METHOD:PUBLISH',
    'BEGIN:VEVENT',
    `UID:${text(entry.uid)}`,
    `DTSTAMP:${entry.stamp.toISOString().replace(/\.\d+/, '').replace(/[-:]/g, '')}`,
    `DTSTART;VALUE=DATE:${compact(entry.day)}`,
    `DTEND;VALUE=DATE:${compact(dayOfNumber(numberOfDay(entry.day) + 1))}`,
    `SUMMARY:${text(entry.summary)}`,
    `DESCRIPTION:${text(entry.description)}`,
    ...(entry.location ? [`LOCATION:${text(entry.location)}`] : []),
    'TRANSP:TRANSPARENT',
    'END:VEVENT',
    'END:VCALENDAR',
  ]
  return lines.map((line) => `${folded(line)}\r\n`).join('')
}
