import { z } from 'zod'
import { currency, day, dayOut, id, idOut, instantOut, line } from '../../http/shapes.ts'
import { plainKinds } from './entries.ts'

/** Shapes that cells, gaskets and parts share. */
export const pieces = z.number().int().min(1).max(100_000)
export const cost = z.strictObject({ amount: z.number().int().min(0).max(100_000_000), currency })
export const place = line(60)
export const celsius = z.number().min(-40).max(100)

/** What every delivery says. */
export const delivered = {
  lotNumber: line(40).optional(),
  supplier: line(80),
  receivedOn: day.optional(),
  pieces,
  unitCost: cost,
  storagePlace: place,
}

/** Pieces leave the shelf for a watch or a ticket. */
export const forSomething = { watchId: id.optional(), ticketId: id.optional() }
export const someFor = (body: { watchId?: string | undefined; ticketId?: string | undefined }) =>
  body.watchId !== undefined || body.ticketId !== undefined
export const whom = { path: ['watchId'], error: 'is needed, or a ticketId: pieces leave the shelf for something' }

export const plainEntryBody = z.strictObject({
  kind: z.enum(plainKinds),
  pieces,
  on: day.optional(),
  reason: line(300),
  ticketId: id.optional(),
  untouched: z.boolean().optional(),
})

export const entryOut = z.object({
  id: idOut,
  lotId: idOut,
  name: z.string(),
  kind: z.string(),
  pieces: z.number().int(),
  on: dayOut,
  strikes: idOut.nullable(),
  struckBy: idOut.nullable(),
  ticketId: idOut.nullable(),
  watchId: idOut.nullable(),
  grade: z.string().nullable(),
  allowedBy: z.string().nullable(),
  reason: z.string().nullable(),
  recordedAt: instantOut,
  recordedBy: z.string(),
})

export const blockBody = z.strictObject({
  reason: z.enum(['opened-unmarked', 'stored-hot', 'in-sunlight', 'other']),
  note: line(300).optional(),
})
export const lotChangeBody = z.strictObject({
  storagePlace: place.optional(),
  maxCelsius: celsius.optional(),
  opened: z.enum(['marked', 'unmarked']).optional(),
})

/** Query flags come as text. */
export const flag = z.enum(['true', 'false']).optional()
export const flagOf = (value: 'true' | 'false' | undefined): boolean | undefined =>
  value === undefined ? undefined : value === 'true'
