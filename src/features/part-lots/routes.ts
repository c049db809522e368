import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import { withEtag } from '../../http/editing.ts'
import { afterOf, page, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import type { Service } from '../../http/service.ts'
import { byId, day, dayOut, id, idOut, line } from '../../http/shapes.ts'
import { lotRoutes } from '../cell-lots/routes.ts'
import { lotOut } from '../stock-entries/lots.ts'
import { cost, costOut, pieces, place } from '../stock-entries/shapes.ts'
import { writeOffOthers } from '../waste/waste.ts'
import {
  addPart,
  fitPart,
  issueParts,
  listPartLots,
  listParts,
  partKinds,
  receiveParts,
  showPartLot,
} from './part-lots.ts'

const partOut = z.object({ id: idOut, name: z.string(), partKind: z.enum(partKinds) })
const partLotOut = lotOut.extend({ serial: z.string().nullable() })

export function partLotRoutes(app: Routes, service: Service): void {
  const tags = ['stock']
  const keeping = { roles: ['stock', 'manager'] as const }
  const reading = { roles: ['counter', 'bench', 'stock', 'manager'] as const }

  app.post(
    '/v1/parts',
    {
      config: keeping,
      schema: {
        tags,
        summary: 'Enter a traceable part',
        body: z.strictObject({ name: line(60), partKind: z.enum(partKinds) }),
        response: { 201: partOut },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => addPart(doing, request.body)),
  )
  app.get(
    '/v1/parts',
    {
      config: reading,
      schema: {
        tags,
        summary: 'Traceable parts',
        querystring: z.strictObject(pageQuery),
        response: { 200: z.object({ items: z.array(partOut) }) },
      },
    },
    async (request, reply) => {
      const after = afterOf(request, 1)
      const rows = await listParts(service.database.prisma, after ? String(after[0]) : null, request.query.limit)
      return page(request, reply, rows, (row) => [row.name])
    },
  )
  app.post(
    '/v1/part-lots',
    {
      config: keeping,
      schema: {
        tags,
        summary: 'Receive parts',
        body: z.strictObject({
          partId: id,
          lotNumber: line(40).optional(),
          serial: line(60).optional(),
          supplier: line(80),
          receivedOn: day.optional(),
          pieces,
          unitCost: cost,
          useBy: day.optional(),
          storagePlace: place,
        }),
        response: { 201: partLotOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => receiveParts(doing, request.body, service.config.centre.currency)),
  )
  app.get(
    '/v1/part-lots',
    {
      config: reading,
      schema: {
        tags,
        summary: 'Lots of parts',
        querystring: z.strictObject({ ...pageQuery, partId: id.optional() }),
        response: { 200: z.object({ items: z.array(partLotOut) }) },
      },
    },
    async (request, reply) => {
      const after = afterOf(request, 1)
      const rows = await listPartLots(
        service.database.prisma,
        request.query.partId,
        after ? String(after[0]) : null,
        request.query.limit,
      )
      return page(request, reply, rows, (row) => [row.id])
    },
  )
  app.get(
    '/v1/part-lots/:id',
    { config: reading, schema: { tags, summary: 'A lot of parts', params: byId, response: { 200: partLotOut } } },
    async (request, reply) => withEtag(reply, await showPartLot(service.database.prisma, request.params.id)),
  )
  app.post(
    '/v1/part-issues',
    {
      config: { roles: ['bench', 'stock', 'manager'] },
      schema: {
        tags,
        summary: 'Take parts: first to expire first, else first received',
        body: z
          .strictObject({ partId: id, pieces: pieces.max(100), watchId: id.optional(), ticketId: id.optional() })
          .refine((body) => body.watchId !== undefined || body.ticketId !== undefined, {
            path: ['watchId'],
            error: 'is needed, or a ticketId',
          }),
        response: {
          201: z.object({
            parts: z.array(
              z.object({ entryId: idOut, lotId: idOut, pieces: z.number().int(), useBy: dayOut.nullable() }),
            ),
          }),
        },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => issueParts(doing, request.body)),
  )
  app.post(
    '/v1/part-fittings',
    {
      config: { roles: ['bench', 'manager'] },
      schema: {
        tags,
        summary: 'Fit parts that are out at the bench',
        body: z.strictObject({
          lotId: id,
          pieces: pieces.max(100),
          watchId: id,
          ticketId: id.optional(),
          on: day.optional(),
          note: line(300).optional(),
        }),
        response: { 201: z.object({ entryId: idOut }) },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => fitPart(doing, request.body)),
  )
  app.post(
    '/v1/part-lots/:id/write-offs',
    {
      config: keeping,
      schema: {
        tags,
        summary: 'Out of the drawer',
        params: byId,
        body: z.strictObject({ pieces, reason: line(300) }),
        response: { 201: z.object({ entryId: idOut, pieces: z.number().int(), cost: costOut }) },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => writeOffOthers(doing, 'part', request.params.id, request.body)),
  )
  lotRoutes(app, service, 'part', '/v1/part-lots')
}
