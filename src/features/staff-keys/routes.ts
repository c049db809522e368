import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import { afterOf, page, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { act, roles, type Service, signerOf } from '../../http/service.ts'
import { byId, day, idOut, instantOut, line } from '../../http/shapes.ts'
import { addStaffKey, getStaffKey, listStaffKeys, revokeStaffKey } from './staff-keys.ts'

const keyOut = z.object({
  id: idOut,
  name: z.string(),
  role: z.enum(roles),
  createdAt: instantOut,
  createdBy: z.string(),
  expiresAt: instantOut.nullable(),
  revokedAt: instantOut.nullable(),
  revokedBy: z.string().nullable(),
})

export function staffKeyRoutes(app: Routes, service: Service): void {
  const config = { roles: ['manager'] as const }

  app.post(
    '/v1/staff-keys',
    {
      config,
      schema: {
        tags: ['staff'],
        summary: 'Make a key for somebody; the key is shown once',
        body: z.strictObject({ name: line(80), role: z.enum(roles), expiresOn: day.optional() }),
        response: { 201: keyOut.extend({ key: z.string().nullable() }) },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => addStaffKey(doing, request.body)),
  )
  app.get(
    '/v1/staff-keys',
    {
      config,
      schema: {
        tags: ['staff'],
        summary: 'Who has a key',
        querystring: z.strictObject(pageQuery),
        response: { 200: z.object({ items: z.array(keyOut) }) },
      },
    },
    async (request, reply) => {
      const rows = await listStaffKeys(service.database.prisma, afterOf(request, 'id'), request.query.limit)
      return page(request, reply, rows, (row) => [row.id])
    },
  )
  app.get(
    '/v1/staff-keys/:id',
    {
      config,
      schema: {
        tags: ['staff'],
        summary: 'One key: whose, for what, until when',
        params: byId,
        response: { 200: keyOut },
      },
    },
    (request) => getStaffKey(service.database.prisma, request.params.id),
  )
  app.post(
    '/v1/staff-keys/:id/revocation',
    {
      config,
      schema: {
        tags: ['staff'],
        summary: 'Revoke a key at once; repeating it changes nothing',
        params: byId,
        response: { 200: keyOut },
      },
    },
    (request) => act(service, signerOf(request), (doing) => revokeStaffKey(doing, request.params.id)),
  )
}
