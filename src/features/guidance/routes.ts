import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import { afterOf, page, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import type { Service } from '../../http/service.ts'
import { day, dayOut, id, idOut, line, obligationKind } from '../../http/shapes.ts'
import { startedOut } from '../house-rules/routes.ts'
import { addGuidance, listGuidance } from './guidance.ts'

const months = z.number().int().min(1).max(240)
export const guidanceBody = z.strictObject({
  calibreId: id.optional(),
  maker: line(80).optional(),
  model: line(80).optional(),
  obligation: obligationKind,
  months,
  upToMonths: months.optional(),
  conditions: line(500).optional(),
  inForceFrom: day,
  learned: day.optional(),
  sourcePaper: line(200),
})
const guidanceOut = z.object({
  id: idOut,
  calibreId: idOut.nullable(),
  maker: z.string().nullable(),
  model: z.string().nullable(),
  obligation: z.string(),
  months: z.number().int(),
  upToMonths: z.number().int().nullable(),
  conditions: z.string().nullable(),
  inForceFrom: dayOut,
  learned: dayOut,
  sourcePaper: z.string(),
  recordedBy: z.string(),
})

export function guidanceRoutes(app: Routes, service: Service): void {
  const tags = ['guidance']
  app.post(
    '/v1/guidance',
    {
      config: { roles: ['bench', 'manager'] as const },
      schema: {
        tags,
        summary: 'What the maker says, from a day on; every watch it touches is reckoned again',
        body: guidanceBody,
        response: {
          201: guidanceOut.extend({ reReckoning: startedOut }),
        },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => addGuidance(doing, request.body)),
  )
  app.get(
    '/v1/guidance',
    {
      config: { roles: ['counter', 'bench', 'stock', 'manager'] as const },
      schema: {
        tags,
        summary: 'Makers’ guidance on file',
        querystring: z.strictObject({
          ...pageQuery,
          calibreId: id.optional(),
          maker: line(80).optional(),
          model: line(80).optional(),
        }),
        response: { 200: z.object({ items: z.array(guidanceOut) }) },
      },
    },
    async (request, reply) => {
      const rows = await listGuidance(
        service.database.prisma,
        request.query,
        afterOf(request, 'id'),
        request.query.limit,
      )
      return page(request, reply, rows, (row) => [row.id])
    },
  )
}
