import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import { afterOf, page, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import type { Service } from '../../http/service.ts'
import { byId, dayOut, id, idOut } from '../../http/shapes.ts'
import { place } from '../stock-entries/shapes.ts'
import { countSheet, countStock, showCount } from './stock-counts.ts'

const countOut = z.object({
  id: idOut,
  countedOn: dayOut,
  place: z.string().nullable(),
  madeBy: z.string(),
  lines: z.array(
    z.object({
      lotId: idOut,
      name: z.string(),
      place: z.string(),
      book: z.number().int(),
      counted: z.number().int(),
      difference: z.number().int(),
      money: z.number().int(),
      entryId: idOut.nullable(),
    }),
  ),
  found: z.number().int(),
  missing: z.number().int(),
  money: z.number().int(),
})

export function stockCountRoutes(app: Routes, service: Service): void {
  const tags = ['stock']
  const config = { roles: ['stock', 'manager'] as const }

  app.get(
    '/v1/stock-counts/sheet',
    {
      config,
      schema: {
        tags,
        summary: 'What the book says lies where, for a count',
        querystring: z.strictObject({
          place: place.optional(),
          ...pageQuery,
          limit: z.coerce.number().int().min(1).max(1000).default(200),
        }),
        response: {
          200: z.object({
            items: z.array(
              z.object({
                lotId: idOut,
                name: z.string(),
                lotNumber: z.string().nullable(),
                place: z.string(),
                book: z.number().int(),
                reserved: z.number().int(),
              }),
            ),
          }),
        },
      },
    },
    async (request, reply) => {
      const { place, limit } = request.query
      const rows = await countSheet(service.database.prisma, place, afterOf(request, 'name', 'id'), limit)
      return page(request, reply, rows, (row) => [row.place, row.lotId])
    },
  )
  app.post(
    '/v1/stock-counts',
    {
      config,
      schema: {
        tags,
        summary: 'Count lots: each difference becomes a signed entry',
        body: z.strictObject({
          place: place.optional(),
          lines: z
            .array(z.strictObject({ lotId: id, counted: z.number().int().min(0).max(1_000_000) }))
            .min(1)
            .max(500),
        }),
        response: { 201: countOut },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => countStock(doing, request.body)),
  )
  app.get(
    '/v1/stock-counts/:id',
    { config, schema: { tags, summary: 'A count with its differences', params: byId, response: { 200: countOut } } },
    (request) => showCount(service.database.prisma, request.params.id),
  )
}
