import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import { pageBy, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import type { Service } from '../../http/service.ts'
import { byId, day, dayOut, idOut, instantOut, line } from '../../http/shapes.ts'
import { desk, happened, ticketId, ticketParam } from '../tickets/desk.ts'
import { listCounts, oneCount } from './counts.ts'
import { countEvening, moveWatch } from './custody.ts'

const notThere = {
  number: z.string(),
  ticketId: idOut.nullable(),
  place: z.string().nullable().meta({ description: 'where the book had it at the count' }),
}
const notCounted = z
  .array(z.object({ place: z.string(), watches: z.number().int() }))
  .meta({ description: 'places that hold watches by the book and were left out of the count: nobody has looked there' })
const gone = z.array(z.object({ number: z.string(), ended: z.string(), on: dayOut })).meta({
  description: 'of the unknown, watches that by the book have left the house, and are here: whose has gone instead?',
})
const countOut = z.object({
  id: idOut,
  on: dayOut,
  recordedAt: instantOut,
  by: z.string(),
  places: z
    .array(z.object({ place: z.string(), numbers: z.array(z.string()) }))
    .meta({ description: 'what was found where, as it was typed' }),
  counted: z.number().int().meta({ description: 'watches found' }),
  missing: z
    .array(z.object({ ...notThere, holder: z.string().nullable() }))
    .meta({ description: 'the book had it in a counted place and nobody found it' }),
  elsewhere: z
    .array(z.object({ ...notThere, foundAt: z.string() }))
    .meta({ description: 'found in another place than the book said' }),
  unknown: z.array(z.string()).meta({ description: 'numbers found of which no watch is in the house' }),
  gone,
  notCounted: notCounted.nullable(),
})

const moveOut = z.object({ id: idOut, from: z.string(), to: z.string(), holder: z.string(), at: instantOut })

export function custodyRoutes(app: Routes, service: Service): void {
  const tags = ['custody']
  const everybody = { roles: ['counter', 'bench', 'stock', 'manager'] as const }

  app.post(
    '/v1/tickets/:ticket/custody-moves',
    {
      config: everybody,
      schema: {
        tags,
        summary: 'Move a watch from where it is to another place and holder; the tag is read at each move',
        params: ticketParam,
        body: z.strictObject({ from: line(60), to: line(60), holder: line(80), tagNumber: line(30), at: happened }),
        response: { 201: moveOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        moveWatch(desk(service, doing), request.params.ticket, request.body),
      ),
  )
  app.get(
    '/v1/tickets/:ticket/custody-moves',
    {
      config: everybody,
      schema: {
        tags,
        summary: 'Where a watch has been, from the first place to the present one',
        params: ticketParam,
        response: {
          200: z.object({
            items: z.array(
              z.object({
                id: idOut,
                n: z.number().int(),
                from: z.string().nullable(),
                to: z.string(),
                holder: z.string(),
                at: instantOut,
                by: z.string(),
              }),
            ),
          }),
        },
      },
    },
    async (request) => {
      const id = await ticketId(service.database.prisma, request.params.ticket)
      const rows = await service.database.prisma.custodyMove.findMany({
        where: { ticketId: id },
        orderBy: { n: 'asc' },
      })
      return {
        items: rows.map((row) => ({
          id: row.id,
          n: row.n,
          from: row.fromPlace,
          to: row.toPlace,
          holder: row.holder,
          at: row.at.toISOString(),
          by: row.recordedBy,
        })),
      }
    },
  )
  app.post(
    '/v1/evening-counts',
    {
      config: { roles: ['counter', 'manager'] },
      schema: {
        tags,
        summary: 'Count place by place against the book; what is missing opens an incident and freezes its ticket',
        body: z.strictObject({
          places: z
            .array(z.strictObject({ place: line(60), numbers: z.array(z.string().max(30)).max(2000) }))
            .min(1)
            .max(100),
        }),
        response: {
          201: z.object({
            id: idOut,
            on: dayOut,
            counted: z.number().int(),
            missing: z.array(z.object({ number: z.string(), place: z.string(), holder: z.string() })),
            elsewhere: z.array(z.object({ number: z.string(), place: z.string(), foundAt: z.string() })),
            unknown: z.array(z.string()),
            gone,
            notCounted,
          }),
        },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => countEvening(desk(service, doing), request.body)),
  )
  app.get(
    '/v1/evening-counts',
    {
      config: { roles: ['counter', 'manager'] },
      schema: {
        tags,
        summary: 'The evening counts, the oldest first: what was found, what was missing, what lay elsewhere',
        querystring: z.strictObject({ ...pageQuery, from: day.optional(), to: day.optional() }),
        response: { 200: z.object({ items: z.array(countOut) }) },
      },
    },
    (request, reply) =>
      pageBy(
        request,
        reply,
        (row) => row.id,
        (after, limit) => listCounts(service.database.prisma, request.query, after, limit),
      ),
  )
  app.get(
    '/v1/evening-counts/:id',
    {
      config: { roles: ['counter', 'manager'] },
      schema: { tags, summary: 'One evening count', params: byId, response: { 200: countOut } },
    },
    (request) => oneCount(service.database.prisma, request.params.id),
  )
}
