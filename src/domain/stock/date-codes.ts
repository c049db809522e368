/**
 * A maker's date code, decoded by a table that the centre keeps: codes are printed by makers as they please, so the
 * table that decoded one is recorded beside it. The layout is generic; no maker's table is built in.
 */
import { type Day, dayOfNumber, numberOf } from '../day.ts'

/** Y one digit of the year, YY two; M a sign of the month, MM two digits. */
export const dateCodeLayouts = ['YM', 'MY', 'YMM', 'MMY', 'YYM', 'MYY', 'YYMM', 'MMYY'] as const
export type DateCodeLayout = (typeof dateCodeLayouts)[number]

export type DateCodeTable = {
  readonly name: string
  readonly layout: DateCodeLayout
  /** Twelve different signs for January to December, where the layout has a single M: `123456789OND`. */
  readonly monthSigns?: string
}

export type Decoded =
  | { readonly ok: true; readonly month: string; readonly firstDay: Day; readonly table: string }
  | { readonly ok: false; readonly because: string }

/** Why a table cannot be used, or null. */
export function whyNoTable({ layout, monthSigns }: DateCodeTable): string | null {
  if (layout.includes('MM')) return monthSigns === undefined ? null : 'month signs belong to a layout with a single M'
  if (monthSigns === undefined || monthSigns.length !== 12 || new Set(monthSigns).size !== 12) {
    return 'twelve different month signs are needed'
  }
  return null
}

/**
 * The month of manufacture. A year of one or two digits is the latest one not after the day of receipt: a code can not
 * be younger than the pack. A month of manufacture counts from its first day, which is early and so safe.
 */
export function decodeDateCode(printed: string, table: DateCodeTable, receivedOn: Day): Decoded {
  const fault = whyNoTable(table)
  if (fault) return { ok: false, because: fault }
  const code = printed.trim().toUpperCase()
  const { layout } = table
  if (code.length !== layout.length) return { ok: false, because: `the table reads ${layout.length} signs` }
  const part = (letter: string) => code.slice(layout.indexOf(letter), layout.lastIndexOf(letter) + 1)
  const [yearSigns, monthSign] = [part('Y'), part('M')]
  if (!/^\d+$/.test(yearSigns)) return { ok: false, because: `“${yearSigns}” is no year` }
  const month =
    monthSign.length === 2
      ? /^\d\d$/.test(monthSign)
        ? Number(monthSign)
        : 0
      : table.monthSigns!.toUpperCase().indexOf(monthSign) + 1
  if (month < 1 || month > 12) return { ok: false, because: `“${monthSign}” is no month of this table` }
  const step = yearSigns.length === 1 ? 10 : 100
  const receivedMonth = Number(receivedOn.slice(0, 4)) * 12 + Number(receivedOn.slice(5, 7))
  const receivedYear = Number(receivedOn.slice(0, 4))
  let year = Math.floor(receivedYear / step) * step + Number(yearSigns)
  while (year * 12 + month > receivedMonth) year -= step
  return {
    ok: true,
    month: `${year}-${String(month).padStart(2, '0')}`,
    firstDay: dayOfNumber(numberOf(year, month, 1)),
    table: table.name,
  }
}
