import { z } from 'zod'

const date = z.iso.datetime({ offset: true })
const SECOND = 1000

/**
 * An instant as RFC 3339 writes it, in milliseconds; null where it is none. A leap second, which comes as the last second of
 * a month in UTC, is taken for the second before it (RFC 5545, 3.3.12: systems without one should).
 */
export function readInstant(text: string): number | null {
  const leap = /:60(?=[.Z+-])/.test(text)
  const plain = leap ? text.replace(/:60(?=[.Z+-])/, ':59') : text
  if (!date.safeParse(plain).success) return null
  const at = new Date(plain).getTime()
  if (Number.isNaN(at)) return null
  if (!leap) return at
  const after = new Date(Math.floor(at / SECOND) * SECOND + SECOND)
  return after.getUTCDate() === 1 && after.getUTCHours() === 0 && after.getUTCMinutes() === 0 ? at : null
}

/** An instant said at a door. */
export const instantIn = z
  .string()
  .max(40)
  .refine((text) => readInstant(text) !== null, {
    error: 'must be an instant of RFC 3339, such as 2026-11-25T09:30:00+01:00',
  })
  .meta({ format: 'date-time' })
