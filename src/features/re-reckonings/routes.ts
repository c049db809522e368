import { z } from 'zod'
import { afterOf, page, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import type { Service } from '../../http/service.ts'
import { byId, dayOut, idOut, instantOut } from '../../http/shapes.ts'
import { getReReckoning, listReReckonings } from './re-reckonings.ts'

const reReckoningOut = z.object({
  id: idOut,
  houseRuleId: idOut.nullable(),
  guidanceId: idOut.nullable(),
  calibreId: idOut.nullable().meta({ description: 'a calibre whose beat was mended' }),
  fromDay: dayOut,
  state: z.string().meta({ description: 'waiting (its day has not come, or the job not yet), running or finished' }),
  done: z.number().int().meta({ description: 'watches reckoned anew' }),
  total: z.number().int().nullable().meta({ description: 'watches touched, once counted' }),
  moved: z.number().int().meta({ description: 'watches with an obligation that came out otherwise' }),
  madeAt: instantOut,
  madeBy: z.string(),
  startedAt: instantOut.nullable(),
  finishedAt: instantOut.nullable(),
})

export function reReckoningRoutes(app: Routes, service: Service): void {
  const tags = ['house rules']
  const config = { roles: ['counter', 'bench', 'stock', 'manager'] as const }
  app.get(
    '/v1/re-reckonings',
    {
      config,
      schema: {
        tags,
        summary: 'How far the re-reckoning of changed rules, guidance and calibres has come, the newest first',
        querystring: z.strictObject(pageQuery),
        response: { 200: z.object({ items: z.array(reReckoningOut) }) },
      },
    },
    async (request, reply) => {
      const rows = await listReReckonings(service.database.prisma, afterOf(request, 'id'), request.query.limit)
      return page(request, reply, rows, (row) => [row.id])
    },
  )
  app.get(
    '/v1/re-reckonings/:id',
    {
      config,
      schema: { tags, summary: 'One re-reckoning', params: byId, response: { 200: reReckoningOut } },
    },
    (request) => getReReckoning(service.database.prisma, request.params.id),
  )
}
