import { z } from 'zod'
import { ranks } from '../../domain/tickets/next-watch.ts'
import type { Routes } from '../../http/routes.ts'
import type { Service } from '../../http/service.ts'
import { byId, dayOut, idOut } from '../../http/shapes.ts'
import { nextFor } from './next-watch.ts'

const nextOut = z.object({
  bench: z.object({ id: idOut, name: z.string(), skills: z.array(z.string()) }),
  on: dayOut,
  items: z.array(
    z.object({
      id: idOut,
      number: z.string(),
      watch: z.string(),
      step: z.string(),
      workClass: z.string().nullable(),
      rank: z.enum(ranks).meta({ description: 'one comes before the other in this order' }),
      promisedOn: dayOut.nullable(),
      bookedOn: dayOut,
      left: z.number().int().nullable().meta({ description: 'working days to the promise; below 0 past it' }),
      needed: z
        .number()
        .nullable()
        .meta({ description: 'working days of work and waits still needed; null where something of it is not known' }),
      ratio: z.number().nullable().meta({ description: 'left by needed' }),
      tellOwner: z.boolean().meta({ description: 'the promise breaks even if it is begun now' }),
      kitAt: z.string().nullable().meta({ description: 'the bench its kit was checked for' }),
    }),
  ),
  notRead: z.number().int().meta({ description: 'of what might be begun, how many behind these were not looked at' }),
  opened: z
    .object({ watches: z.number().int(), limit: z.number().int(), mayOpenAnother: z.boolean() })
    .meta({ description: 'watches with the case open in the place of the name of this bench' }),
  hint: z.string().nullable().meta({ description: 'what to begin and what not before closed days' }),
  damage: z
    .array(z.object({ number: z.string(), step: z.string(), hazard: z.string() }))
    .meta({ description: 'water inside or a leaking cell in a watch that is not among the items: see to it today' }),
})

export function nextWatchRoutes(app: Routes, service: Service): void {
  app.get(
    '/v1/benches/:id/next',
    {
      config: { roles: ['bench', 'manager'] },
      schema: {
        tags: ['tickets'],
        summary:
          'What a free bench takes next: only what it may do and whose yes, parts and kit are in order, in order',
        params: byId,
        querystring: z.strictObject({ limit: z.coerce.number().int().min(1).max(20).default(5) }),
        response: { 200: nextOut },
      },
    },
    (request) => nextFor(service, request.params.id, request.query.limit),
  )
}
