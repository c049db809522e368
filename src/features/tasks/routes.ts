import { z } from 'zod'
import { afterOf, page, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { act, type Service, signerOf } from '../../http/service.ts'
import { byId, dayOut, id, idOut, instantOut, line, prose } from '../../http/shapes.ts'
import { closeTask, listTasks } from './tasks.ts'

const taskOut = z.object({
  id: idOut,
  kind: z.string(),
  role: z.string(),
  words: z.string(),
  ownerId: idOut.nullable(),
  watchId: idOut.nullable(),
  noticeId: idOut.nullable(),
  dueOn: dayOut,
  madeAt: instantOut,
  doneAt: instantOut.nullable(),
  doneBy: z.string().nullable(),
  doneHow: z.string().nullable(),
})

export function taskRoutes(app: Routes, service: Service): void {
  const config = { roles: ['counter', 'bench', 'stock', 'manager'] as const }
  app.get(
    '/v1/tasks',
    {
      config,
      schema: {
        tags: ['tasks'],
        summary: 'What people have to do, the earliest due first',
        querystring: z.strictObject({
          ...pageQuery,
          role: z.enum(['counter', 'bench', 'stock', 'manager']).optional(),
          kind: line(60).optional(),
          watchId: id.optional(),
          done: z.enum(['yes', 'no']).default('no'),
        }),
        response: { 200: z.object({ items: z.array(taskOut) }) },
      },
    },
    async (request, reply) => {
      const { limit, done, role, kind, watchId } = request.query
      const filter = { role, kind, watchId, done: done === 'yes' }
      const rows = await listTasks(service.database.prisma, filter, afterOf(request, 'day', 'id'), limit)
      return page(request, reply, rows, (row) => [row.dueOn, row.id])
    },
  )
  app.post(
    '/v1/tasks/:id/closing',
    {
      config,
      schema: {
        tags: ['tasks'],
        summary: 'Close a task: what was done',
        params: byId,
        body: z.strictObject({ how: prose(500) }),
        response: { 200: taskOut },
      },
    },
    (request) => act(service, signerOf(request), (doing) => closeTask(doing, request.params.id, request.body.how)),
  )
}
