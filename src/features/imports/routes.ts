import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import type { Routes } from '../../http/routes.ts'
import type { Service } from '../../http/service.ts'
import { day, idOut, line, prose } from '../../http/shapes.ts'
import { eventBody, noteBody, wearBody } from '../facts/shapes.ts'
import { ownerBody } from '../owners/routes.ts'
import { hazardKind, watchBody, watchState } from '../watches/routes.ts'
import { importBook } from './imports.ts'

const ref = line(80)
const importedOwner = ownerBody.extend({ ref, deceased: z.strictObject({ on: day, toldBy: line(120) }).optional() })
const importedWatch = watchBody.omit({ ownerId: true, calibreId: true }).extend({
  ref,
  owner: ref.optional(),
  calibre: line(80).optional(),
  state: watchState.optional(),
  stateSince: day.optional(),
  ownerships: z
    .array(z.strictObject({ owner: ref.nullable(), from: day, learned: day.optional(), how: line(200) }))
    .max(20)
    .optional(),
  events: z.array(eventBody).max(200).optional(),
  wear: z.array(wearBody).max(50).optional(),
  notes: z.array(noteBody).max(50).optional(),
  hazards: z
    .array(
      z.strictObject({ kind: hazardKind, note: prose(500).optional(), confirmedBy: line(80).optional(), seenOn: day }),
    )
    .max(10)
    .optional(),
})
/** What an import may hold; a thousand of each at a time. */
export const importBody = z.strictObject({
  owners: z.array(importedOwner).max(1000).default([]),
  watches: z.array(importedWatch).max(1000).default([]),
})
const refOut = z.array(z.object({ ref: z.string(), id: idOut }))

export function importRoutes(app: Routes, service: Service): void {
  app.post(
    '/v1/imports',
    {
      bodyLimit: 8_388_608,
      config: { roles: ['manager'] as const },
      schema: {
        tags: ['imports'],
        summary:
          'Load a book kept elsewhere: owners, watches and their facts; facts dated in the future are taken and set aside, with a warning',
        body: importBody,
        response: {
          201: z.object({
            owners: refOut,
            watches: refOut,
            warnings: z.array(z.object({ pointer: z.string(), detail: z.string() })),
          }),
        },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => importBook(doing, request.body, service.config.centre.country)),
  )
}
