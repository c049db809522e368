import { z } from 'zod'
import { judgeReadings } from '../../domain/readings/judge.ts'
import { judgeGate } from '../../domain/tickets/gates.ts'
import { afterOf, page, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { type Service, signerOf } from '../../http/service.ts'
import { dayOut, id, idOut, instantOut } from '../../http/shapes.ts'
import { ticketId, ticketParam } from './desk.ts'
import { readTicket } from './read-ticket.ts'
import { listRecords, oneRecord, shown } from './record-reading.ts'
import { recordKinds } from './story-words.ts'

const verdictOut = z.object({
  what: z.string().meta({ description: 'what was measured, and where' }),
  value: z.number().meta({ description: 'in the unit that stands in words' }),
  within: z.boolean(),
  words: z.string().meta({ description: 'value, unit and limits in one phrase' }),
})

export const recordOut = z.object({
  id: idOut,
  kind: z.string().meta({ description: `one of ${recordKinds.join(', ')}` }),
  at: instantOut.meta({ description: 'when it happened' }),
  on: dayOut.meta({ description: "the centre's day of it" }),
  recordedAt: instantOut.meta({ description: 'when it was written down' }),
  by: z.string().meta({ description: 'who signed it' }),
  words: z.string().meta({ description: 'the record in one sentence, as the story of the watch has it' }),
  content: z.record(z.string(), z.unknown()).meta({
    description:
      'all that was recorded, by the names of the body it came in; with what followed from it: facts (ids in the book), because, counts, shortcomings and passed of a water test, values and queries of a reading, gates of a move. identityProof and papers are shown to counter and manager only',
  }),
  line: z
    .object({ id: idOut, what: z.string() })
    .nullable()
    .meta({ description: 'the line of the estimate it belongs to' }),
  tool: z
    .object({ id: idOut, kind: z.string(), serial: z.string(), name: z.string() })
    .nullable()
    .meta({ description: 'what it was measured with' }),
  lot: z
    .object({ id: idOut, item: z.string(), number: z.string().nullable() })
    .nullable()
    .meta({ description: 'the lot a fitted piece came from' }),
  verdicts: z.array(verdictOut).nullable().meta({
    description:
      'of a reading that stands: each measured value against the tolerances it is judged by; null for a struck one and for every other kind',
  }),
  strikes: idOut.nullable().meta({ description: 'the record that this one strikes' }),
  struck: z
    .object({ record: idOut, by: z.string(), on: dayOut, why: z.string() })
    .nullable()
    .meta({ description: 'by which record, by whom, when and why it was struck; it no longer counts' }),
})

export function recordRoutes(app: Routes, service: Service): void {
  const tags = ['tickets']
  const everybody = { roles: ['counter', 'bench', 'stock', 'manager'] as const }
  const { prisma } = service.database

  /** The tolerances are read only where there is a reading to judge. */
  const judged = async (
    ticket: string,
    rows: Awaited<ReturnType<typeof listRecords>>,
    role: Parameters<typeof shown>[1],
  ) => {
    const whole = rows.some((row) => row.kind === 'reading') ? await readTicket(service, ticket) : null
    return rows.map((row) => ({ ...shown(row, role, whole), seq: row.seq }))
  }

  app.get(
    '/v1/tickets/:ticket/records',
    {
      config: everybody,
      schema: {
        tags,
        summary: 'Everything said and done about a ticket, in the order it was recorded; what was struck is marked so',
        params: ticketParam,
        querystring: z.strictObject({
          ...pageQuery,
          kind: z.enum(recordKinds).meta({ description: 'only records of this kind' }).optional(),
        }),
        response: { 200: z.object({ items: z.array(recordOut) }) },
      },
    },
    async (request, reply) => {
      const [after = 0] = afterOf(request, 'number') ?? []
      const ticket = await ticketId(prisma, request.params.ticket)
      const { kind, limit } = request.query
      const rows = await judged(
        ticket,
        await listRecords(prisma, ticket, { kind, after, limit }),
        signerOf(request).role,
      )
      return page(request, reply, rows, (row) => [row.seq])
    },
  )
  app.get(
    '/v1/tickets/:ticket/records/:record',
    {
      config: everybody,
      schema: {
        tags,
        summary: 'One record of a ticket, struck or not',
        params: ticketParam.extend({ record: id }),
        response: { 200: recordOut },
      },
    },
    async (request) => {
      const ticket = await ticketId(prisma, request.params.ticket)
      const row = await oneRecord(prisma, ticket, request.params.record)
      return (await judged(ticket, [row], signerOf(request).role))[0]!
    },
  )
  app.get(
    '/v1/tickets/:ticket/readings',
    {
      config: everybody,
      schema: {
        tags,
        summary:
          'The readings of a ticket, what they come to against the tolerances of the watch, and the gate they open',
        params: ticketParam,
        querystring: z.strictObject(pageQuery),
        response: {
          200: z.object({
            tolerances: z.string().meta({ description: 'maker, or house-class where no maker gives any' }),
            verdicts: z.array(verdictOut).meta({
              description:
                'all standing readings together, the last of each position and wind state: with mean, spread and run-down effect',
            }),
            gate: z.object({ state: z.string(), why: z.string() }),
            items: z.array(recordOut),
          }),
        },
      },
    },
    async (request, reply) => {
      const [after = 0] = afterOf(request, 'number') ?? []
      const ticket = await ticketId(prisma, request.params.ticket)
      const rows = await listRecords(prisma, ticket, { kind: 'reading', after, limit: request.query.limit })
      const whole = await readTicket(service, ticket)
      const { readings, tolerances } = whole.snapshot.observation
      const { state, why } = judgeGate('G12', whole.snapshot)
      const role = signerOf(request).role
      return {
        tolerances: tolerances.source,
        verdicts: judgeReadings(readings.kind, readings.list, tolerances).map(({ what, value, within, words }) => ({
          what,
          value,
          within,
          words,
        })),
        gate: { state, why },
        ...page(
          request,
          reply,
          rows.map((row) => ({ ...shown(row, role, whole), seq: row.seq })),
          (row) => [row.seq],
        ),
      }
    },
  )
}
