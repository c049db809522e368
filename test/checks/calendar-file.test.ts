import fc from 'fast-check'
import ICAL from 'ical.js'
import { expect, test } from 'vitest'
import type { Day } from '../../src/domain/day.ts'
import { calendarFile, folded } from '../../src/letters/calendar.ts'

/** RFC 5545, against ical.js, a general-purpose library. */
const entry = (more: Partial<Parameters<typeof calendarFile>[0]> = {}) =>
  calendarFile({
    uid: '1@centre.example',
    stamp: new Date('2026-11-25T03:00:00Z'),
    day: '2026-12-10' as Day,
    summary: 'Bring it',
    description: 'https://centre.example/your-watches/x',
    location: 'Lindholm, Quay 4; door \\2',
    ...more,
  })

const eventIn = (text: string) => {
  const calendar = new ICAL.Component(ICAL.parse(text))
  const events = calendar.getAllSubcomponents('vevent')
  expect(events).toHaveLength(1)
  return new ICAL.Event(events[0])
}

test('lines are folded at 75 octets, never inside a character, and unfold to what they were (RFC 5545 3.1)', () => {
  fc.assert(
    fc.property(
      fc.string({ unit: 'grapheme', maxLength: 300 }).map((text) => text.replace(/[\r\n]/g, '')),
      (text) => {
        const lines = folded(`SUMMARY:${text}`).split('\r\n')
        for (const line of lines) {
          expect(Buffer.byteLength(line)).toBeLessThanOrEqual(75)
          expect(Buffer.from(line).toString()).toBe(line)
        }
        expect(lines.map((line, at) => (at === 0 ? line : line.slice(1))).join('')).toBe(`SUMMARY:${text}`)
      },
    ),
  )
})

test('what was written is what is read, whatever the words', () => {
  fc.assert(
    fc.property(fc.string({ unit: 'grapheme-ascii', minLength: 1, maxLength: 120 }), (words) => {
      const summary = words.replace(/\r/g, '')
      expect(eventIn(entry({ summary })).summary).toBe(summary)
    }),
  )
  expect(eventIn(entry()).location).toBe('Lindholm, Quay 4; door \\2')
})

test('one whole day that ends on the next, month ends and leap days too, and never a rule that repeats', () => {
  for (const [day, next] of [
    ['2026-12-10', '2026-12-11'],
    ['2026-12-31', '2027-01-01'],
    ['2028-02-28', '2028-02-29'],
    ['2028-02-29', '2028-03-01'],
    ['2027-02-28', '2027-03-01'],
  ]) {
    const text = entry({ day: day as Day })
    const event = eventIn(text)
    expect([event.startDate.toString(), event.endDate.toString(), event.startDate.isDate, event.isRecurring()]).toEqual(
      [day, next, true, false],
    )
    expect(text).not.toMatch(/RRULE|RDATE/)
    expect(text.split('\r\n').at(-1)).toBe('')
  }
})
