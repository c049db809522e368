import { z } from 'zod'
import type { Routes } from '../../http/routes.ts'
import type { Service } from '../../http/service.ts'
import { dayOut, id, idOut, instantOut, moneyOut } from '../../http/shapes.ts'
import { ticketParam } from '../tickets/desk.ts'
import { readTicket } from '../tickets/read-ticket.ts'
import { readEstimates, totalsOfChoice } from './reading.ts'
import { estimateOut } from './routes.ts'

const answeredOut = estimateOut.extend({
  agreedTotal: moneyOut.nullable().meta({
    description: 'what the agreed lines come to, tax included; null for an earlier version or where nothing is agreed',
  }),
  lines: z.array(
    estimateOut.shape.lines.element.extend({
      agreed: z.boolean().meta({
        description:
          'whether it may be worked on: of the newest version, said yes to by an answer, by the amount agreed in advance or by goodwill',
      }),
      answer: z
        .enum(['yes', 'no'])
        .nullable()
        .meta({ description: 'the answer that stands; null: not yet, or taken back' }),
      answers: z
        .array(
          z.object({
            answer: z.enum(['yes', 'no']),
            person: z.string(),
            how: z.string(),
            on: dayOut,
            at: instantOut,
            total: moneyOut.meta({ description: 'the total that was said with it' }),
            textShown: z.string().nullable(),
            confirmedInWriting: z.boolean(),
            by: z.string().meta({ description: 'who of the house took the answer' }),
          }),
        )
        .meta({ description: 'every answer, the oldest first' }),
    }),
  ),
})

export function estimateReadingRoutes(app: Routes, service: Service): void {
  const tags = ['estimates']
  const config = { roles: ['counter', 'bench', 'manager'] as const }
  app.get(
    '/v1/tickets/:ticket/estimates',
    {
      config,
      schema: {
        tags,
        summary:
          'All versions, with their answers line by line; lines=agreed gives only what may be worked on, of the newest version',
        params: ticketParam,
        querystring: z.strictObject({
          version: z.coerce.number().int().min(1).max(10_000).optional(),
          lines: z.enum(['all', 'agreed']).default('all'),
        }),
        response: { 200: z.object({ items: z.array(answeredOut) }) },
      },
    },
    async (request) => {
      const { version, lines } = request.query
      return {
        items: await readEstimates(service.database.prisma, await readTicket(service, request.params.ticket), {
          version,
          agreedOnly: lines === 'agreed',
        }),
      }
    },
  )
  app.post(
    '/v1/tickets/:ticket/estimates/:version/totals',
    {
      config,
      schema: {
        tags,
        summary:
          'What a choice of lines comes to, with the answers that stand: the total the answer must repeat. Nothing is recorded',
        params: ticketParam.extend({ version: z.coerce.number().int().min(1).max(10_000) }),
        body: z.strictObject({
          lines: z
            .array(z.strictObject({ line: id, answer: z.enum(['yes', 'no']) }))
            .max(100)
            .refine((lines) => new Set(lines.map((one) => one.line)).size === lines.length, {
              error: 'answers a line twice',
            }),
        }),
        response: {
          200: z.object({
            version: z.number().int(),
            newest: z.boolean().meta({ description: 'only the newest version can be answered' }),
            net: moneyOut,
            tax: moneyOut,
            total: moneyOut,
            yes: z.array(idOut),
            unanswered: z.array(idOut),
            faults: z
              .array(z.object({ line: idOut, words: z.string() }))
              .meta({ description: 'why these answers would be refused; empty where they would be taken' }),
          }),
        },
      },
    },
    async (request) =>
      totalsOfChoice(await readTicket(service, request.params.ticket), request.params.version, request.body.lines),
  )
}
