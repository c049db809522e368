import { z } from 'zod'
import { pageBy, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { byId } from '../../http/shapes.ts'
import { historyOut } from '../watches/routes.ts'
import { getWatch, historyOf } from '../watches/watches.ts'

const lists = [
  ['events', 'What happened to a watch, in the order it was recorded; struck facts are marked so'],
  ['wear', 'How the watch was worn by its owners, as each was told, in the order it was recorded'],
  ['notes', "The watchmaker's notes on a watch, in the order they were recorded"],
] as const

/** The facts of a watch list by list, each under the address it was written to; its whole history is one answer beside them. */
export function factReadingRoutes(app: Routes, service: Service): void {
  const db = service.database.prisma
  for (const [name, summary] of lists)
    app.get(
      `/v1/watches/:id/${name}`,
      {
        config: { roles: ['counter', 'bench', 'stock', 'manager'] },
        schema: {
          tags: ['facts'],
          summary,
          params: byId,
          querystring: z.strictObject(pageQuery),
          response: {
            200: z.object({ items: z.array(historyOut.shape[name].element as z.ZodObject<{ id: z.ZodString }>) }),
          },
        },
      },
      (request, reply) =>
        pageBy(
          request,
          reply,
          (row) => row.id,
          async (after) => {
            const { id } = request.params
            await getWatch(db, id, todayAt(service))
            const rows = (await historyOf(db, id))[name] as { id: string }[]
            return rows.filter((row) => after === null || row.id > after)
          },
        ),
    )
}
