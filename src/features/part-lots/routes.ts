import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import { withEtag } from '../../http/editing.ts'
import { pageBy, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import type { Service } from '../../http/service.ts'
import { byId, day, dayOut, id, idOut, line } from '../../http/shapes.ts'
import { kindRoutes } from '../stock-entries/kind-routes.ts'
import { lotRoutes } from '../stock-entries/lot-routes.ts'
import { lotOut } from '../stock-entries/lots.ts'
import { delivered, forSomething, pieces, someFor, whom } from '../stock-entries/shapes.ts'
import {
  addPart,
  fitPart,
  issueParts,
  listPartLots,
  listParts,
  partKinds,
  receiveParts,
  showPart,
  showPartLot,
} from './part-lots.ts'

const partOut = z.object({ id: idOut, name: z.string(), partKind: z.enum(partKinds) })
const partLotOut = lotOut.extend({ serial: z.string().nullable() })

export function partLotRoutes(app: Routes, service: Service): void {
  const tags = ['stock']
  const keeping = { roles: ['stock', 'manager'] as const }
  const reading = { roles: ['counter', 'bench', 'stock', 'manager'] as const }

  kindRoutes(
    app,
    service,
    '/v1/parts',
    ['Enter a traceable part', 'Traceable parts'],
    { body: z.strictObject({ name: line(60), partKind: z.enum(partKinds) }), out: partOut },
    { add: addPart, list: listParts, one: { summary: 'A traceable part', read: showPart } },
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
          ...delivered,
          serial: line(60).optional(),
          useBy: day.optional(),
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
    (request, reply) =>
      pageBy(
        request,
        reply,
        (row) => row.id,
        (after, limit) => listPartLots(service.database.prisma, request.query.partId, after, limit),
      ),
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
        body: z.strictObject({ partId: id, pieces: pieces.max(100), ...forSomething }).refine(someFor, whom),
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
  lotRoutes(app, service, 'part', '/v1/part-lots')
}
