import { type Day, isDay } from './day.ts'
import { isCurrency, LARGEST_AMOUNT, type Money } from './money.ts'

/**
 * What only the place can say: the law, the policy of the insurer, the hours and times of this house. Dated rows beside
 * the house rules. What has `missing: 'stop'` has no default: until it is set, what leans on it stands still and asks.
 */
export type LocalSetting<T> = {
  readonly words: string
  /** how a value is written */
  readonly shape: string
  readonly missing: 'stop' | 'default'
  /** the value, or null where what was sent is not one */
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

const whole = (min: number, max: number) => (value: unknown) => (isWhole(value, min, max) ? value : null)
const words = (value: unknown): string | null =>
  typeof value === 'string' && value.trim() !== '' && value.length <= 4000 ? value : null
const oneOf =
  <const T extends string>(...choices: T[]) =>
  (value: unknown): T | null =>
    choices.find((choice) => choice === value) ?? null

const ofMoney = (what: string) => ({
  words: what,
  shape: '{ "amount": whole minor units, "currency": ISO 4217 }',
  missing: 'stop' as const,
  read: money,
})
const minutes = (what: string) => ({
  words: `How long ${what} takes on the bench in this house; without it a rehearsal of rules tells no hours of that kind`,
  shape: 'a whole number from 1 to 6000 (minutes)',
  missing: 'stop' as const,
  read: whole(1, 6000),
})

export const localSettingTable = {
  notAsked: {
    words: 'Whether an owner who was never asked about letters is written to; the law of the place decides',
    shape: 'one of: write, do-not-write',
    missing: 'stop',
    read: oneOf('write', 'do-not-write'),
  },
  completeServiceMinutes: minutes('a complete service'),
  waterCheckMinutes: minutes('a water check'),
  cellChangeMinutes: minutes('a cell change'),
  sealsMinutes: minutes('a replacement of seals'),
  coverPerItem: ofMoney('Cover of the policy for one watch'),
  coverTotal: ofMoney('Cover of the policy for all watches in the house'),
  insurerNoticeDays: {
    words: 'Days within which the policy wants the insurer told of a loss',
    shape: 'a whole number from 0 to 90',
    missing: 'stop',
    read: whole(0, 90),
  },
  phoneYesUpTo: ofMoney('Up to this total a yes by telephone needs no written confirmation'),
  contactAttempts: {
    words: 'Attempts to reach an owner before a letter by post',
    shape: 'a whole number from 1 to 20',
    missing: 'stop',
    read: whole(1, 20),
  },
  observationHours: {
    words: 'Hours of observation by class of work',
    shape: '{ class: hours from 0 to 720 }',
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
    shape: '{ "name": text, "monthsIfOwed": 0 to 120, "monthsIfNotOwed": 0 to 120 }',
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
    shape: '{ class: 0 to 10000 }',
    missing: 'stop',
    read: table(0, 10_000),
  },
  rounding: {
    words: 'How tax is rounded, fixed in each estimate',
    shape: 'one of: per-line, per-total',
    missing: 'stop',
    read: oneOf('per-line', 'per-total'),
  },
  workingWeekdays: {
    words: 'Days of the week on which the centre works, 1 Monday to 7 Sunday; Monday to Friday until it is set',
    shape: '[1, 2, …]',
    missing: 'default',
    read: (value: unknown) =>
      Array.isArray(value) && value.length > 0 && value.every((n) => isWhole(n, 1, 7)) ? (value as number[]) : null,
  },
  holidays: {
    words: 'Days on which the centre is closed; none until it is set',
    shape: '["YYYY-MM-DD", …]',
    missing: 'default',
    read: (value: unknown) =>
      Array.isArray(value) && value.length <= 2000 && value.every((d) => typeof d === 'string' && isDay(d))
        ? (value as Day[])
        : null,
  },
} as const satisfies Record<string, LocalSetting<unknown>>

export type LocalSettingKey = keyof typeof localSettingTable
export type LocalSettings = { readonly [K in LocalSettingKey]: ReturnType<(typeof localSettingTable)[K]['read']> }
export const localSettingKeys = Object.keys(localSettingTable) as LocalSettingKey[]

const defaults: Readonly<Partial<Record<LocalSettingKey, unknown>>> = { workingWeekdays: [1, 2, 3, 4, 5], holidays: [] }

/** Values of a day as stored, or the default; null where the place has to say and has not. */
export const readLocalSettings = (stored: Readonly<Record<string, unknown>>): LocalSettings =>
  Object.fromEntries(
    localSettingKeys.map((key) => [key, localSettingTable[key].read(stored[key] ?? defaults[key])]),
  ) as LocalSettings
