import { z } from 'zod'
import type { Routes } from '../../http/routes.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { dayOut } from '../../http/shapes.ts'
import { ticketId, ticketParam } from './desk.ts'
import { promiseOf } from './promise.ts'

const promiseOut = z.object({
  number: z.string(),
  step: z.string(),
  promisedOn: dayOut.nullable().meta({ description: 'the day a person said last' }),
  toldOn: dayOut
    .nullable()
    .meta({ description: 'the last day since then on which the owner was told of a delay; null where nobody did' }),
  readyOn: dayOut
    .nullable()
    .meta({ description: 'reckoned anew from what is on file today; null where something is not known' }),
  daysLate: z
    .number()
    .int()
    .nullable()
    .meta({ description: 'working days from the promise to the reckoned day; 0 where it is kept' }),
  ifYesToday: dayOut
    .nullable()
    .meta({ description: 'where nothing but the yes of the owner is wanting: the day, if it came today' }),
  terms: z
    .array(
      z.object({
        term: z.enum(['yes', 'queue', 'parts', 'bench', 'settling', 'observation', 'finish', 'buffer']),
        workingDays: z.number().int(),
        on: dayOut.meta({ description: 'the day on which this term ends' }),
        because: z.string(),
      }),
    )
    .meta({
      description:
        'work begins on the latest of yes, queue and parts; the others follow each other. Working days of the centre; waits run through closed days and end on a working day',
    }),
  unknown: z.array(z.string()).meta({ description: 'what would have to be known' }),
  words: z.string().meta({ description: 'the answer to "when is it ready?" in one sentence' }),
})

export function promiseRoutes(app: Routes, service: Service): void {
  const { prisma } = service.database
  app.get(
    '/v1/tickets/:ticket/promise',
    {
      config: { roles: ['counter', 'bench', 'manager'] },
      schema: {
        tags: ['tickets'],
        summary:
          'When a watch will be ready, reckoned today from queue, parts, work and waits, beside the day that was promised',
        params: ticketParam,
        response: { 200: promiseOut },
      },
    },
    async (request) => promiseOf(prisma, todayAt(service), await ticketId(prisma, request.params.ticket)),
  )
}
