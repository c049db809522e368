import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import { pageBy, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { act, type Service, signerOf } from '../../http/service.ts'
import { byId, day, dayOut, idOut, line, moneyOut, partialDay } from '../../http/shapes.ts'
import { cost, flag, flagOf, pieces } from '../stock-entries/shapes.ts'
import { endOrder, listOrders, placeOrder, shownOrder, showOrder } from './stock-orders.ts'

const orderOut = z.object({
  id: idOut,
  designation: z.string(),
  supplier: z.string(),
  pieces: z.number().int(),
  unitPrice: moneyOut,
  orderedOn: dayOut,
  expectedOn: dayOut,
  expectedBestBefore: dayOut.nullable(),
  state: z.enum(['open', 'received', 'cancelled']),
  endedOn: dayOut.nullable(),
})

export function stockOrderRoutes(app: Routes, service: Service): void {
  const tags = ['stock']
  const config = { roles: ['stock', 'manager'] as const }
  const ending = { tags, params: byId, response: { 200: orderOut } }

  app.post(
    '/v1/stock-orders',
    {
      config,
      schema: {
        tags,
        summary: 'Note cells ordered from a supplier',
        body: z.strictObject({
          designation: line(20),
          supplier: line(80),
          pieces,
          unitPrice: cost,
          expectedOn: day,
          expectedBestBefore: partialDay.optional(),
        }),
        response: { 201: orderOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => placeOrder(doing, request.body, service.config.centre.currency)),
  )
  app.get(
    '/v1/stock-orders',
    {
      config,
      schema: {
        tags,
        summary: 'Orders',
        querystring: z.strictObject({ ...pageQuery, open: flag }),
        response: { 200: z.object({ items: z.array(orderOut) }) },
      },
    },
    (request, reply) =>
      pageBy(
        request,
        reply,
        (row) => row.id,
        async (after, limit) =>
          (await listOrders(service.database.prisma, { open: flagOf(request.query.open) }, after, limit)).map(
            shownOrder,
          ),
      ),
  )
  app.get(
    '/v1/stock-orders/:id',
    { config, schema: { tags, summary: 'One order', params: byId, response: { 200: orderOut } } },
    (request) => showOrder(service.database.prisma, request.params.id),
  )
  app.post(
    '/v1/stock-orders/:id/receipt',
    {
      config,
      schema: { ...ending, summary: 'The order came; its lot is entered on its own. Repeating it changes nothing' },
    },
    (request) => act(service, signerOf(request), (doing) => endOrder(doing, request.params.id, 'received')),
  )
  app.post(
    '/v1/stock-orders/:id/cancellation',
    { config, schema: { ...ending, summary: 'The order will not come. Repeating it changes nothing' } },
    (request) => act(service, signerOf(request), (doing) => endOrder(doing, request.params.id, 'cancelled')),
  )
}
