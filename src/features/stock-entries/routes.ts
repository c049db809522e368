import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import type { Routes } from '../../http/routes.ts'
import type { Service } from '../../http/service.ts'
import { byId, idOut, line } from '../../http/shapes.ts'
import { summaryOut } from '../facts/shapes.ts'
import { strikeFitting } from '../facts/strikes.ts'
import { readEntry, strikeEntry } from './entries.ts'
import { entryOut } from './shapes.ts'

export function stockEntryRoutes(app: Routes, service: Service): void {
  const tags = ['stock']
  const strikeBody = z.strictObject({ reason: line(300) })

  app.get(
    '/v1/stock-entries/:id',
    {
      config: { roles: ['counter', 'bench', 'stock', 'manager'] },
      schema: { tags, summary: 'One signed movement of pieces', params: byId, response: { 200: entryOut } },
    },
    (request) => readEntry(service.database.prisma, request.params.id),
  )
  app.post(
    '/v1/stock-entries/:id/strike',
    {
      config: { roles: ['stock', 'manager'] },
      schema: {
        tags,
        summary: 'Strike a mistaken entry by its opposite',
        params: byId,
        body: strikeBody,
        response: { 201: entryOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (act) => strikeEntry(act, request.params.id, request.body.reason)),
  )
  app.post(
    '/v1/fittings/:id/strike',
    {
      config: { roles: ['bench', 'manager'] },
      schema: {
        tags,
        summary: 'Strike a fitting: the fact on the watch and its entries; the pieces are out at the bench again',
        params: byId,
        body: strikeBody,
        response: { 201: z.object({ factId: idOut, replacedBy: idOut.nullable(), ...summaryOut }) },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (act) => strikeFitting(act, request.params.id, request.body.reason)),
  )
}
