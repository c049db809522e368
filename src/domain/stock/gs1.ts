/**
 * GS1 element strings of a delivery: (01) item number, (10) lot, (11) made, (15) best before, (17) expiry, (21) serial,
 * (30) count, (240) further identification. Formats and the check digit: GS1 Syntax Dictionary and its linters; the
 * day 00 is the last day of its month and the century is the nearest one: GS1 General Specifications. Day 00 is read,
 * never written. Pure text: the year of today is an argument.
 */
import { type Day, daysInMonth } from '../day.ts'

export type Element = { readonly ai: string; readonly value: string }
export type Gs1Fault = { readonly ai: string | null; readonly at: number; readonly detail: string }
export type Delivery = {
  readonly elements: readonly Element[]
  readonly itemNumber?: string
  readonly lotNumber?: string
  readonly madeOn?: Day
  readonly bestBefore?: Day
  readonly expires?: Day
  readonly serial?: string
  readonly count?: number
  readonly furtherId?: string
}
export type Gs1Answer =
  | { readonly ok: true; readonly delivery: Delivery }
  | { readonly ok: false; readonly faults: readonly Gs1Fault[] }

type Format = { fixed?: number; most?: number; digits: boolean; check?: boolean; date?: boolean }
const formats: Readonly<Record<string, Format>> = {
  '01': { fixed: 14, digits: true, check: true },
  '10': { most: 20, digits: false },
  '11': { fixed: 6, digits: true, date: true },
  '15': { fixed: 6, digits: true, date: true },
  '17': { fixed: 6, digits: true, date: true },
  '21': { most: 20, digits: false },
  '30': { most: 8, digits: true },
  '240': { most: 30, digits: false },
}
/** AI encodable character set 82. */
const characters82 = /^[!"%-?A-Z_a-z]*$/
const FNC1 = '\u001d'

/** Modulo-10 check digit over the digits before it, weights 3 and 1 from the right. */
export function hasCheckDigit(digits: string): boolean {
  if (!/^\d{2,}$/.test(digits)) return false
  let sum = 0
  for (let i = digits.length - 2, weight = 3; i >= 0; i--, weight = 4 - weight) sum += Number(digits[i]) * weight
  return (10 - (sum % 10)) % 10 === Number(digits[digits.length - 1])
}

/** The century of a two-digit year: at most 49 years back and 50 forward of `yearNow`. */
export function fullYear(twoDigits: number, yearNow: number): number {
  const century = Math.floor(yearNow / 100) * 100
  const apart = twoDigits - (yearNow % 100)
  if (apart >= 51) return century - 100 + twoDigits
  if (apart <= -50) return century + 100 + twoDigits
  return century + twoDigits
}

/** A YYMMDD date, day 00 being the last of the month; null where there is no such day. */
export function gs1Day(yymmdd: string, yearNow: number): Day | null {
  if (!/^\d{6}$/.test(yymmdd)) return null
  const year = fullYear(Number(yymmdd.slice(0, 2)), yearNow)
  const month = Number(yymmdd.slice(2, 4))
  if (month < 1 || month > 12) return null
  const length = daysInMonth(year, month)
  const day = Number(yymmdd.slice(4)) || length
  return day > length ? null : (`${year}-${yymmdd.slice(2, 4)}-${String(day).padStart(2, '0')}` as Day)
}

type Piece = Element & { at: number }

function splitBracketed(text: string): { pieces: Piece[]; faults: Gs1Fault[] } {
  const pieces: Piece[] = []
  const marks = [...text.matchAll(/\((\d{2,4})\)/g)]
  if (marks[0]?.index !== 0)
    return { pieces, faults: [{ ai: null, at: 0, detail: 'no application identifier in brackets' }] }
  marks.forEach((mark, i) => {
    const start = mark.index + mark[0].length
    pieces.push({ ai: mark[1]!, value: text.slice(start, marks[i + 1]?.index), at: mark.index })
  })
  return { pieces, faults: [] }
}

function splitScanned(text: string): { pieces: Piece[]; faults: Gs1Fault[] } {
  const pieces: Piece[] = []
  let at = 0
  while (at < text.length) {
    if (text[at] === FNC1) {
      at++
      continue
    }
    const ai = [2, 3].map((n) => text.slice(at, at + n)).find((candidate) => formats[candidate])
    if (!ai) {
      const detail = `“${text.slice(at, at + 4)}” is no application identifier that a delivery is read by`
      return { pieces, faults: [{ ai: null, at, detail }] }
    }
    const start = at + ai.length
    const { fixed } = formats[ai]!
    const separator = text.indexOf(FNC1, start)
    const end = fixed !== undefined ? start + fixed : separator < 0 ? text.length : separator
    pieces.push({ ai, value: text.slice(start, end), at })
    at = end
  }
  return { pieces, faults: [] }
}

function faultOf({ ai, value, at }: Piece, yearNow: number): Gs1Fault | null {
  const format = formats[ai]
  const say = (detail: string): Gs1Fault => ({ ai, at, detail })
  if (!format) return say(`(${ai}) is no application identifier that a delivery is read by`)
  if (format.fixed !== undefined && value.length !== format.fixed) {
    return say(`(${ai}) needs ${format.fixed} digits, there are ${value.length}`)
  }
  if (value.length === 0) return say(`(${ai}) has no value`)
  if (format.most !== undefined && value.length > format.most) return say(`(${ai}) is longer than ${format.most}`)
  if (format.digits && !/^\d+$/.test(value)) return say(`(${ai}) must be digits`)
  if (!format.digits && !characters82.test(value)) return say(`(${ai}) holds a character that may not be encoded`)
  if (format.check && !hasCheckDigit(value)) return say(`(${ai}) has a wrong check digit`)
  if (format.date && gs1Day(value, yearNow) === null) return say(`(${ai}) ${value} is no day of the calendar`)
  if (ai === '30' && Number(value) === 0) return say('(30) counts no pieces')
  return null
}

/** Reads what a scanner sends (separators FNC1 as GS, U+001D) or the bracketed text under the bars. */
export function readElementString(scanned: string, yearNow: number): Gs1Answer {
  const text = scanned.trim().replace(/^\](?:C1|d2|e0|Q3|J1)/, '')
  if (text === '') return { ok: false, faults: [{ ai: null, at: 0, detail: 'nothing was scanned' }] }
  const { pieces, faults } = text.startsWith('(') ? splitBracketed(text) : splitScanned(text)
  const all = [...faults]
  const values = new Map<string, string>()
  for (const piece of pieces) {
    const fault = faultOf(piece, yearNow)
    if (fault) all.push(fault)
    const earlier = values.get(piece.ai)
    if (earlier !== undefined && earlier !== piece.value) {
      all.push({ ai: piece.ai, at: piece.at, detail: `(${piece.ai}) stands twice with different values` })
    }
    values.set(piece.ai, piece.value)
  }
  if (all.length === 0 && !values.has('01')) {
    all.push({ ai: '01', at: 0, detail: 'the item number (01) is missing; lot and dates mean nothing without it' })
  }
  if (all.length > 0) return { ok: false, faults: all }
  const day = (ai: string) => (values.has(ai) ? gs1Day(values.get(ai)!, yearNow)! : undefined)
  const count = values.get('30')
  return {
    ok: true,
    delivery: {
      elements: pieces.map(({ ai, value }) => ({ ai, value })),
      itemNumber: values.get('01'),
      lotNumber: values.get('10'),
      madeOn: day('11'),
      bestBefore: day('15'),
      expires: day('17'),
      serial: values.get('21'),
      count: count === undefined ? undefined : Number(count),
      furtherId: values.get('240'),
    },
  }
}

/** The last good day that a delivery states: the earlier of best-before and expiry where it has both. */
export const lastGoodDay = ({ bestBefore, expires }: Delivery): Day | undefined =>
  bestBefore && expires ? (bestBefore < expires ? bestBefore : expires) : (bestBefore ?? expires)
