import { z } from 'zod'
import { type Day, isDay, isPartialDay, type PartialDay } from '../domain/day.ts'
import { currencyCode, LARGEST_AMOUNT } from '../domain/money.ts'

/** The shapes that bodies and answers share. Strict everywhere: an unknown key is a fault. */

export const day = z
  .string()
  .refine((value) => isDay(value), { error: 'must be a day that exists, as YYYY-MM-DD, from 1500 to 2200' })
  .meta({ format: 'date', examples: ['2026-11-25'] }) as unknown as z.ZodType<Day, string>

/** For answers: schemas of answers encode, so they carry no transform. */
export const dayOut = z.string().meta({ format: 'date', examples: ['2026-11-25'] })

export const partialDay = z
  .string()
  .refine((value) => isPartialDay(value), {
    error: 'must be a year, a month or a day that exists: YYYY, YYYY-MM or YYYY-MM-DD, from 1500 to 2200',
  })
  .meta({ examples: ['2019-06'] }) as unknown as z.ZodType<PartialDay, string>

export const partialDayOut = z.string().meta({ examples: ['2019-06'] })
export const instantOut = z.string().meta({ format: 'date-time' })
export const id = z.uuid({ error: 'must be an id (UUID)' })
export const idOut = z.string().meta({ format: 'uuid' })

// control characters, halves of a surrogate pair (which no database stores), and the bidirectional overrides that hide what
// a person reads
const hidden = /\p{Cc}|\p{Cs}|[\u202a-\u202e\u2066-\u2069\u2028\u2029\ufeff]/u

/** One line of text, trimmed, 1 to `max` characters. */
export const line = (max = 200) =>
  z
    .string()
    .trim()
    .min(1, { error: 'must not be empty' })
    .max(max, { error: `must have at most ${max} characters` })
    .refine((value) => !hidden.test(value), { error: 'must be one line without control characters' })

/** Several lines of text, trimmed. */
export const prose = (max = 4000) =>
  z
    .string()
    .trim()
    .min(1, { error: 'must not be empty' })
    .max(max, { error: `must have at most ${max} characters` })
    .refine((value) => !hidden.test(value.replace(/[\r\n\t]/g, '')), { error: 'must have no control characters' })

export const yesNoUnknown = z.enum(['yes', 'no', 'unknown'])
export const source = z.enum(['own-record', 'paper', 'owner-word'])
export const obligationKind = z.enum(['complete-service', 'water-check', 'cell-change', 'seals'])

export const currency = z.string().regex(currencyCode, { error: 'must be a currency code of ISO 4217' })

/** Whole minor units and an ISO 4217 code. */
export const money = z.strictObject({ amount: z.number().int().min(0).max(LARGEST_AMOUNT), currency })
export const moneyOut = z.object({ amount: z.number().int(), currency: z.string() })

export const byId = z.strictObject({ id })
