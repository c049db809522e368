import { z } from 'zod'
import { Refusal } from '../../domain/refusals.ts'
import type { Routes } from '../../http/routes.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { byId, day, dayOut, idOut } from '../../http/shapes.ts'
import { answerOut } from '../reckonings/shapes.ts'
import { obligationsOn } from './obligations.ts'

const warningOut = z.object({ code: z.string(), eventId: idOut.optional(), fact: z.string().optional() })

export function obligationRoutes(app: Routes, service: Service): void {
  app.get(
    '/v1/watches/:id/obligations',
    {
      config: { roles: ['counter', 'bench', 'stock', 'manager'] as const },
      schema: {
        tags: ['reckoning'],
        summary: 'What a watch is due for on a day, by which rule, from which fact, and what would change it',
        params: byId,
        querystring: z.strictObject({ on: day.optional() }),
        response: { 200: z.object({ watchId: idOut, ...answerOut, on: dayOut, warnings: z.array(warningOut) }) },
      },
    },
    (request) => {
      const today = todayAt(service)
      const on = request.query.on ?? today
      if (on > today)
        throw new Refusal('faulty-input', {}, [
          {
            parameter: 'on',
            detail: `must not lie after today, ${today}; POST /v1/reckonings answers for days to come`,
          },
        ])
      return obligationsOn(service.database.prisma, request.params.id, on)
    },
  )
}
