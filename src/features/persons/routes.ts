import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import { afterOf, page, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import type { Service } from '../../http/service.ts'
import { byId, day, dayOut, idOut, instantOut, line } from '../../http/shapes.ts'
import { askErasure, erasureShown, getErasure, keeperOf } from './erasure.ts'
import { everythingAbout } from './export.ts'

const erasureOut = z.object({
  id: idOut,
  ownerId: idOut,
  askedOn: dayOut,
  answerBy: dayOut,
  how: z.string(),
  state: z.string(),
  because: z.array(z.string()),
  doneOn: dayOut.nullable(),
  consequence: z.string(),
})

export function personRoutes(app: Routes, service: Service): void {
  const config = { roles: ['manager'] as const }
  const tags = ['persons']

  app.get(
    '/v1/owners/:id/export',
    {
      config,
      schema: {
        tags,
        summary: 'All that is held about a person, for them and for machines',
        params: byId,
        response: {
          200: z.object({
            ownerId: idOut,
            ownerIds: z.array(idOut),
            madeAt: instantOut,
            records: z.record(z.string(), z.array(z.record(z.string(), z.unknown()))),
          }),
        },
      },
    },
    async (request, reply) => {
      reply.header('content-disposition', 'attachment; filename="person.json"')
      return everythingAbout(service.database.pool, request.params.id, service.clock.now())
    },
  )
  app.post(
    '/v1/owners/:id/erasures',
    {
      config,
      schema: {
        tags,
        summary: 'A person asks to be forgotten; an open ticket or claim postpones it and is named',
        params: byId,
        body: z.strictObject({ askedOn: day.optional(), how: line(200) }),
        response: { 201: erasureOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (act) => askErasure(act, request.params.id, request.body, keeperOf(service))),
  )
  app.get(
    '/v1/erasures',
    {
      config,
      schema: {
        tags,
        summary: 'Who asked to be forgotten, and what became of it',
        querystring: z.strictObject({ ...pageQuery }),
        response: { 200: z.object({ items: z.array(erasureOut) }) },
      },
    },
    async (request, reply) => {
      const after = afterOf(request, 'id')
      const rows = await service.database.prisma.erasure.findMany({
        ...(after && { where: { id: { gt: String(after[0]) } } }),
        orderBy: { id: 'asc' },
        take: request.query.limit + 1,
      })
      return page(request, reply, rows.map(erasureShown), (row) => [row.id])
    },
  )
  app.get(
    '/v1/erasures/:id',
    { config, schema: { tags, summary: 'One request to be forgotten', params: byId, response: { 200: erasureOut } } },
    (request) => getErasure(service.database.prisma, request.params.id),
  )
}
