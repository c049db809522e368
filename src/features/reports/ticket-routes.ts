import type { FastifyReply } from 'fastify'
import { z } from 'zod'
import { afterOf, page, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { day, dayOut, idOut, moneyOut } from '../../http/shapes.ts'
import { localSettingsOn } from '../house-rules/house-rules.ts'
import { benchesOn, benchesOut } from './benches.ts'
import { formatOf, sendCsv } from './formats.ts'
import { promiseRow, promisesOn } from './promises.ts'
import { againstCover, comebacks, queuesOn, stuckTickets, valueByPlace } from './tickets.ts'
import { unclaimedWatches } from './unclaimed.ts'

const stuckOut = z.object({
  id: idOut,
  number: z.string(),
  step: z.string(),
  side: z.string().nullable(),
  watch: z.string(),
  ownerName: z.string(),
  nextActor: z.string(),
  nextBy: dayOut,
  daysPast: z.number().int().meta({ description: 'since the day of the next actor; 0 where it has not passed' }),
  place: z.string().nullable(),
  promisedOn: dayOut.nullable(),
  advice: z.string().nullable().meta({ description: 'what the house can do beyond asking the next actor' }),
})
const placeOut = z.object({
  place: z.string(),
  currency: z.string().nullable(),
  watches: z.number().int(),
  amount: z.number(),
  withoutValue: z.number().int(),
})

const unclaimedOut = z.object({
  id: idOut,
  number: z.string(),
  watch: z.string(),
  ownerName: z.string(),
  place: z.string().nullable(),
  side: z.string().nullable(),
  readyOn: dayOut,
  deliveredOn: dayOut.nullable(),
  days: z.number().int(),
  stage: z.string(),
  mayDo: z.string(),
  on: dayOut.nullable(),
  owed: moneyOut.nullable(),
  stop: z.string().nullable(),
})

const forms = ['json', 'csv'] as const

const csv = <T extends object>(reply: FastifyReply, rows: readonly T[], columns: readonly (keyof T & string)[]) =>
  sendCsv(
    reply,
    columns,
    rows.map((row) => columns.map((column) => row[column] as string | number | null)),
  ) as never

export function ticketReportRoutes(app: Routes, service: Service): void {
  const tags = ['reports']
  const { prisma, pool } = service.database

  app.get(
    '/v1/reports/stuck-tickets',
    {
      config: { roles: ['counter', 'manager'] },
      schema: {
        tags,
        summary:
          'Tickets whose next actor let the date pass, and those that wait for a part too long or past the day promised; also as text/csv',
        querystring: z.strictObject(pageQuery),
        response: { 200: z.object({ items: z.array(stuckOut) }) },
      },
    },
    async (request, reply) => {
      const after = afterOf(request, 'day', 'id')
      const rows = await stuckTickets(prisma, todayAt(service), after, request.query.limit)
      const items = page(request, reply, rows, (row) => [row.nextBy, row.id])
      if (formatOf(request, forms) === 'csv')
        return csv(reply, items.items, [
          'number',
          'step',
          'side',
          'watch',
          'ownerName',
          'nextActor',
          'nextBy',
          'daysPast',
          'place',
          'promisedOn',
          'advice',
        ])
      return items
    },
  )
  app.get(
    '/v1/reports/queues',
    {
      config: { roles: ['counter', 'manager'] },
      schema: {
        tags,
        summary: 'Where the watches of the house wait: how many at each step, and for how long; also as text/csv',
        response: {
          200: z.object({
            on: dayOut,
            items: z.array(
              z.object({
                step: z.string(),
                watches: z.number().int(),
                aside: z.number().int().meta({ description: 'of them on hold, sent out or otherwise set aside' }),
                past: z.number().int().meta({ description: 'of them past the day of their next actor' }),
                nextBy: dayOut.nullable().meta({ description: 'the first day by which somebody must act' }),
                longestDays: z.number().int().nullable().meta({ description: 'of the one longest at this step' }),
              }),
            ),
          }),
        },
      },
    },
    async (request, reply) => {
      const on = todayAt(service)
      const items = await queuesOn(prisma, on)
      if (formatOf(request, forms) === 'json') return { on, items }
      return csv(reply, items, ['step', 'watches', 'aside', 'past', 'nextBy', 'longestDays'])
    },
  )
  app.get(
    '/v1/reports/unclaimed-watches',
    {
      config: { roles: ['counter', 'manager'] },
      schema: {
        tags,
        summary:
          'Ready watches nobody fetches: how far the clock of each has come, and what may be done next; nothing is done by itself; also as text/csv',
        querystring: z.strictObject(pageQuery),
        response: { 200: z.object({ items: z.array(unclaimedOut) }) },
      },
    },
    async (request, reply) => {
      const after = afterOf(request, 'id')
      const at = {
        now: service.clock.now(),
        today: todayAt(service),
        zone: service.config.centre.timeZone,
        currency: service.config.centre.currency,
      }
      const rows = await unclaimedWatches(pool, at, after === null ? null : String(after[0]), request.query.limit)
      const shown = page(request, reply, rows, (row) => [row.id])
      if (formatOf(request, forms) === 'json') return shown
      const lines = shown.items.map(({ owed, ...row }) => ({
        ...row,
        owed: owed?.amount ?? null,
        currency: owed?.currency ?? null,
      }))
      return csv(reply, lines, [
        'number',
        'watch',
        'ownerName',
        'place',
        'side',
        'readyOn',
        'deliveredOn',
        'days',
        'stage',
        'mayDo',
        'on',
        'owed',
        'currency',
        'stop',
      ])
    },
  )
  app.get(
    '/v1/reports/value-at-risk',
    {
      config: { roles: ['manager'] },
      schema: {
        tags,
        summary:
          "Other people's watches in the house tonight: value by place, against the cover of the policy; also as text/csv",
        response: {
          200: z.object({
            on: dayOut,
            cover: moneyOut.nullable(),
            total: moneyOut.nullable(),
            over: z
              .boolean()
              .nullable()
              .meta({ description: 'null where nobody can say, because something is not in the sum' }),
            because: z.string().nullable(),
            places: z.array(placeOut),
          }),
        },
      },
    },
    async (request, reply) => {
      const today = todayAt(service)
      const places = await valueByPlace(prisma)
      if (formatOf(request, forms) === 'csv')
        return csv(reply, places, ['place', 'currency', 'watches', 'amount', 'withoutValue'])
      const settings = await localSettingsOn(prisma, today)
      return { on: today, ...againstCover(places, settings.coverTotal), places }
    },
  )
  app.get(
    '/v1/reports/benches',
    {
      config: { roles: ['manager'] },
      schema: {
        tags,
        summary:
          'Agreed work against the hours of the benches by skill, at the final check and at the places all share, where it chokes, what lies untouched, open cases by place, the mean time through the house and the promises that break; the skills also as text/csv',
        response: { 200: benchesOut },
      },
    },
    async (request, reply) => {
      const report = await benchesOn(prisma, todayAt(service))
      if (formatOf(request, forms) === 'json') return report
      return csv(reply, report.skills, ['skill', 'needed', 'available', 'load', 'standing'])
    },
  )
  app.get(
    '/v1/reports/promises',
    {
      config: { roles: ['counter', 'manager'] },
      schema: {
        tags,
        summary:
          'Every watch that was promised and is not ready: the date reckoned today, how late, whether its owner knows; whom to tell first before the others; also as text/csv',
        response: { 200: z.object({ on: dayOut, items: z.array(promiseRow) }) },
      },
    },
    async (request, reply) => {
      const today = todayAt(service)
      const items = await promisesOn(prisma, today)
      if (formatOf(request, forms) === 'json') return { on: today, items }
      return csv(reply, items, [
        'number',
        'watch',
        'ownerName',
        'step',
        'promisedOn',
        'readyOn',
        'daysLate',
        'standing',
        'toldOn',
        'because',
      ])
    },
  )
  app.get(
    '/v1/reports/comebacks',
    {
      config: { roles: ['manager'] },
      schema: {
        tags,
        summary:
          'Watches that came back, by the cause of each line, with what the covered work and parts cost the house; also as text/csv',
        querystring: z.strictObject({ from: day, to: day }),
        response: {
          200: z.object({
            items: z.array(
              z.object({
                cause: z.string(),
                tickets: z.number().int(),
                covered: z.number().int().meta({ description: 'lines' }),
                notCovered: z.number().int().meta({ description: 'lines' }),
                costs: z
                  .array(z.object({ currency: z.string(), work: z.number(), parts: z.number(), total: z.number() }))
                  .meta({ description: 'whole minor units without tax, one entry a currency' }),
              }),
            ),
          }),
        },
      },
    },
    async (request, reply) => {
      const items = await comebacks(prisma, request.query.from, request.query.to)
      if (formatOf(request, forms) === 'json') return { items }
      const nothing = { currency: '', work: 0, parts: 0, total: 0 }
      const rows = items.flatMap(({ costs, ...row }) =>
        (costs.length > 0 ? costs : [nothing]).map((cost) => ({ ...row, ...cost })),
      )
      return csv(reply, rows, ['cause', 'tickets', 'covered', 'notCovered', 'currency', 'work', 'parts', 'total'])
    },
  )
}
