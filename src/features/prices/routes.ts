import { z } from 'zod'
import { workClassNames } from '../../domain/tickets/classes.ts'
import { guaranteeKinds } from '../../domain/tickets/guarantee.ts'
import { createOnce } from '../../http/creating.ts'
import type { Routes } from '../../http/routes.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { day, dayOut, idOut, line, money } from '../../http/shapes.ts'
import { addPrice, pricesOn } from './prices.ts'

const priceOut = z.object({
  id: idOut,
  code: z.string(),
  workClass: z.string().nullable(),
  what: z.string(),
  from: dayOut,
  until: dayOut.nullable(),
  amount: z.number().int(),
  currency: z.string(),
  taxClass: z.string(),
  minutes: z.number().int(),
  guarantee: z.string(),
  part: z.boolean(),
  opensCase: z.boolean(),
  pressureTest: z.boolean(),
  completeService: z.boolean(),
  recordedBy: z.string(),
})

export function priceRoutes(app: Routes, service: Service): void {
  const tags = ['estimates']
  app.post(
    '/v1/prices',
    {
      config: { roles: ['manager'] },
      schema: {
        tags,
        summary:
          'A price of the bench from a day on: operation or part by class of work, without tax; never changed in place',
        body: z.strictObject({
          code: line(40),
          workClass: z
            .enum(workClassNames as [string, ...string[]])
            .meta({ description: 'left out: for every class without a row of its own' })
            .optional(),
          what: line(200),
          from: day,
          until: day.optional(),
          ...money.shape,
          taxClass: line(40),
          minutes: z.number().int().min(0).max(10_000),
          guarantee: z.enum(guaranteeKinds).default('repair'),
          part: z.boolean().default(false),
          opensCase: z.boolean().default(false),
          pressureTest: z.boolean().default(false),
          completeService: z.boolean().default(false),
        }),
        response: { 201: priceOut },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => addPrice(doing, request.body)),
  )
  app.get(
    '/v1/prices',
    {
      config: { roles: ['counter', 'bench', 'stock', 'manager'] },
      schema: {
        tags,
        summary: 'The price list of the bench as it stands on a day',
        querystring: z.strictObject({ on: day.optional() }),
        response: { 200: z.object({ items: z.array(priceOut) }) },
      },
    },
    async (request) => ({ items: await pricesOn(service.database.prisma, request.query.on ?? todayAt(service)) }),
  )
}
