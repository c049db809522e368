import { z } from 'zod'
import type { Db } from '../../db/open.ts'
import { type Created, createOnce } from '../../http/creating.ts'
import { pageBy, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import type { Act, Service } from '../../http/service.ts'
import { byId } from '../../http/shapes.ts'

type Named = { id: string; name: string }

/** What is kept of one kind, entered once and listed by name; `summaries` of entering and of listing. Where one has more to show it has a route of its own. */
export function kindRoutes<Body extends z.ZodType, Out extends z.ZodType<Named, Named>>(
  app: Routes,
  service: Service,
  path: string,
  summaries: readonly [string, string],
  shapes: { body: Body; out: Out },
  doings: {
    add: (act: Act, body: z.output<Body>) => Promise<Created>
    list: (db: Db, after: string | null, limit: number) => Promise<z.input<Out>[]>
    one?: { summary: string; read: (db: Db, id: string) => Promise<z.input<Out>> }
  },
): void {
  const tags = ['stock']
  app.post(
    path,
    {
      config: { roles: ['stock', 'manager'] },
      schema: {
        tags,
        summary: summaries[0],
        body: shapes.body as z.ZodType,
        response: { 201: shapes.out as z.ZodType },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => doings.add(doing, request.body as z.output<Body>)),
  )
  app.get(
    path,
    {
      config: { roles: ['counter', 'bench', 'stock', 'manager'] },
      schema: {
        tags,
        summary: summaries[1],
        querystring: z.strictObject(pageQuery),
        response: { 200: z.object({ items: z.array(shapes.out as z.ZodType) }) },
      },
    },
    (request, reply) =>
      pageBy(
        request,
        reply,
        (row) => (row as Named).name,
        (after, limit) => doings.list(service.database.prisma, after, limit),
        'name',
      ),
  )
  const { one } = doings
  if (one === undefined) return
  app.get(
    `${path}/:id`,
    {
      config: { roles: ['counter', 'bench', 'stock', 'manager'] },
      schema: { tags, summary: one.summary, params: byId, response: { 200: shapes.out as z.ZodType } },
    },
    (request) => one.read(service.database.prisma, (request.params as { id: string }).id),
  )
}
