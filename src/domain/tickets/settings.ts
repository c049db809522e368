import { type Day, isDay } from '../day.ts'
import { decimalsOf, isCurrency, LARGEST_AMOUNT, type Money } from '../money.ts'

/**
 * What only the centre can say: amounts, hours, local law. A key with `missing: 'stop'` has no default: until it is set
 * the service stops there and asks. `read` gives the value, or null where what was sent is not one.
 */
type Setting<T> = {
  readonly words: string
  readonly shape: string
  readonly missing: 'stop' | 'default'
  readonly read: (value: unknown) => T | null
}

const isRecord = (value: unknown): value is Record<string, unknown> =>
  typeof value === 'object' && value !== null && !Array.isArray(value)
const isWhole = (value: unknown, min: number, max: number): value is number =>
  typeof value === 'number' && Number.isInteger(value) && value >= min && value <= max

const money = (value: unknown): Money | null =>
  isRecord(value) &&
  Object.keys(value).length === 2 &&
  isWhole(value.amount, 0, LARGEST_AMOUNT) &&
  typeof value.currency === 'string' &&
  isCurrency(value.currency)
    ? { amount: value.amount, currency: value.currency }
    : null

const table =
  (min: number, max: number) =>
  (value: unknown): Readonly<Record<string, number>> | null =>
    isRecord(value) && Object.entries(value).every(([key, n]) => /^[a-z0-9-]{1,40}$/.test(key) && isWhole(n, min, max))
      ? (value as Record<string, number>)
      : null

const yesOrNo = (value: unknown): boolean | null => (typeof value === 'boolean' ? value : null)
const whole = (min: number, max: number) => (value: unknown) => (isWhole(value, min, max) ? value : null)
const words = (value: unknown): string | null =>
  typeof value === 'string' && value.trim() !== '' && value.length <= 4000 ? value : null

const moneyShape = '{ "amount": whole minor units, "currency": ISO 4217 }'

export const settingTable = {
  conditionLine: {
    words: 'Up to this declared value a manager may stand for a missing condition record',
    shape: moneyShape,
    missing: 'default',
    read: money,
  },
  coverPerItem: { words: 'Cover of the policy for one watch', shape: moneyShape, missing: 'stop', read: money },
  coverTotal: {
    words: 'Cover of the policy for all watches in the house',
    shape: moneyShape,
    missing: 'stop',
    read: money,
  },
  phoneYesUpTo: {
    words: 'Up to this total a yes by telephone needs no written confirmation',
    shape: moneyShape,
    missing: 'stop',
    read: money,
  },
  contactAttempts: {
    words: 'Attempts to reach an owner before a letter by post',
    shape: 'whole number 1–20',
    missing: 'stop',
    read: whole(1, 20),
  },
  observationHours: {
    words: 'Hours of observation by class of work',
    shape: '{ class: hours }',
    missing: 'stop',
    read: table(0, 720),
  },
  radiationRules: {
    words: 'The rules of the local authority on radioactive lume',
    shape: 'text',
    missing: 'stop',
    read: words,
  },
  unclaimedLaw: {
    words: 'The local law on goods nobody fetches',
    shape: '{ "name": text, "monthsIfOwed": 0–120, "monthsIfNotOwed": 0–120 }',
    missing: 'stop',
    read: (value: unknown) =>
      isRecord(value) &&
      words(value.name) !== null &&
      isWhole(value.monthsIfOwed, 0, 120) &&
      isWhole(value.monthsIfNotOwed, 0, 120)
        ? { name: value.name as string, monthsIfOwed: value.monthsIfOwed, monthsIfNotOwed: value.monthsIfNotOwed }
        : null,
  },
  taxRates: {
    words: 'Rates of tax by class, in hundredths of a percent',
    shape: '{ class: 0–10000 }',
    missing: 'stop',
    read: table(0, 10_000),
  },
  rounding: {
    words: 'How tax is rounded, fixed in each estimate',
    shape: '"per-line" or "per-total"',
    missing: 'stop',
    read: (value: unknown) => (value === 'per-line' || value === 'per-total' ? value : null),
  },
  estimateValidDays: {
    words: 'Days an estimate is valid',
    shape: 'whole number 1–365',
    missing: 'default',
    read: whole(1, 365),
  },
  depositForSpecialOrders: {
    words: 'A special order waits for a deposit',
    shape: 'true or false',
    missing: 'default',
    read: yesOrNo,
  },
  sameCheckerNextDay: {
    words: 'A small house: the same person may check from the next calendar day on',
    shape: 'true or false',
    missing: 'default',
    read: yesOrNo,
  },
  workingWeekdays: {
    words: 'Days of the week on which the centre works, 1 Monday to 7 Sunday',
    shape: '[1, 2, …]',
    missing: 'default',
    read: (value: unknown) =>
      Array.isArray(value) && value.length > 0 && value.every((n) => isWhole(n, 1, 7)) ? (value as number[]) : null,
  },
  holidays: {
    words: 'Days on which the centre is closed',
    shape: '["YYYY-MM-DD", …]',
    missing: 'default',
    read: (value: unknown) =>
      Array.isArray(value) && value.length <= 2000 && value.every((d) => typeof d === 'string' && isDay(d))
        ? (value as Day[])
        : null,
  },
} as const satisfies Record<string, Setting<unknown>>

export type SettingName = keyof typeof settingTable
export const settingNames = Object.keys(settingTable) as SettingName[]

export type Settings = { readonly [K in SettingName]: ReturnType<(typeof settingTable)[K]['read']> }

/** Values as stored, or the house default; null where the centre has to say and has not. */
export function readSettings(stored: Readonly<Record<string, unknown>>, currency: string): Settings {
  const defaults: Partial<Record<SettingName, unknown>> = {
    conditionLine: { amount: 1000 * 10 ** decimalsOf(currency), currency },
    estimateValidDays: 30,
    depositForSpecialOrders: false,
    sameCheckerNextDay: false,
    workingWeekdays: [1, 2, 3, 4, 5],
    holidays: [],
  }
  return Object.fromEntries(
    settingNames.map((name) => [name, settingTable[name].read(stored[name] ?? defaults[name])]),
  ) as Settings
}
