import { z } from 'zod'
import { afterOf, page, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { type Service, signerOf, todayAt } from '../../http/service.ts'
import { day, dayOut, idOut, instantOut } from '../../http/shapes.ts'
import { getRun, listRuns, listWithheld, rehearseNights, runNow } from './nightly-runs.ts'
import { replayNight } from './replay.ts'

const countsOut = z.object({
  quiet: z.boolean().optional(),
  reckoned: z.number().optional(),
  looked: z.number().optional(),
  letters: z.number().optional(),
  items: z.number().optional(),
  skipped: z.number().optional(),
  withheld: z.number().optional(),
  reasons: z.record(z.string(), z.number()).optional(),
})
const runOut = z.object({
  date: dayOut,
  state: z.enum(['running', 'finished', 'missed']),
  by: z.string(),
  attempt: z.number(),
  startedAt: instantOut,
  finishedAt: instantOut.nullable(),
  seconds: z.number().nullable(),
  counts: countsOut,
})
const withheldOut = z.object({
  ownerId: idOut.nullable(),
  watchId: idOut,
  kind: z.string(),
  cycle: z.string(),
  stage: z.string(),
  reasons: z.array(z.string()),
})
const partOut = z.object({
  part: z.string(),
  watchId: idOut,
  kind: z.string().optional(),
  rule: z.string().optional(),
  stage: z.string().optional(),
  standing: z.string().optional(),
  dueOn: dayOut.optional(),
  foldedUnder: z.string().nullable().optional(),
  wentOut: z.string().optional(),
})
const letterOut = z.object({
  ownerId: idOut,
  language: z.string(),
  runOn: dayOut,
  comeBy: dayOut,
  parts: z.array(partOut),
})

// a night of a large centre takes longer than other answers may
const handlerTimeout = 900_000

export function nightlyRunRoutes(app: Routes, service: Service): void {
  const config = { roles: ['counter', 'manager'] as const }
  const tags = ['nightly run']
  const db = service.database.prisma
  const byDate = z.strictObject({ date: day })

  app.get(
    '/v1/nightly-runs',
    {
      config,
      schema: {
        tags,
        summary: 'The nightly runs, newest first: counts, duration, what was held back and why',
        querystring: z.strictObject(pageQuery),
        response: { 200: z.object({ items: z.array(runOut) }) },
      },
    },
    async (request, reply) => {
      const [before = null] = afterOf(request, 'day') ?? []
      const rows = await listRuns(db, before, request.query.limit)
      return page(request, reply, rows, (row) => [row.date])
    },
  )
  app.post(
    '/v1/nightly-runs',
    {
      handlerTimeout,
      config: { roles: ['manager'] as const },
      schema: {
        tags,
        summary:
          'Run the date that is due now, without waiting for the clock; 409 where none is due or changed rules are still being reckoned',
        response: { 200: runOut },
      },
    },
    (request) => runNow(service, signerOf(request)),
  )
  app.get(
    '/v1/nightly-runs/:date',
    { config, schema: { tags, summary: 'One nightly run', params: byDate, response: { 200: runOut } } },
    (request) => getRun(db, request.params.date),
  )
  app.get(
    '/v1/nightly-runs/:date/withheld',
    {
      config,
      schema: {
        tags,
        summary: 'What a night held back, item by item, and every reason why',
        params: byDate,
        querystring: z.strictObject(pageQuery),
        response: { 200: z.object({ items: z.array(withheldOut.extend({ id: idOut })) }) },
      },
    },
    async (request, reply) => {
      const [after = null] = afterOf(request, 'id') ?? []
      const rows = await listWithheld(db, request.params.date, after, request.query.limit)
      return page(request, reply, rows, (row) => [row.id])
    },
  )
  app.get(
    '/v1/nightly-runs/:date/replay',
    {
      handlerTimeout,
      config: { roles: ['manager'] as const },
      schema: {
        tags,
        summary: 'The letters of a past night reckoned again from what was known then, beside those that were booked',
        params: byDate,
        response: {
          200: z.object({
            date: dayOut,
            same: z.boolean(),
            letters: z.number(),
            differences: z.array(z.object({ ownerId: idOut, booked: z.array(z.string()), again: z.array(z.string()) })),
          }),
        },
      },
    },
    (request) => replayNight(service.database, request.params.date),
  )
  app.get(
    '/v1/rehearsals',
    {
      handlerTimeout,
      config,
      schema: {
        tags,
        summary: 'The letters of the coming nights before they go, if nothing more is told; nothing is written',
        querystring: z.strictObject({
          from: day.optional(),
          nights: z.coerce.number().int().min(1).max(14).default(1),
        }),
        response: {
          200: z.object({
            nights: z.array(
              z.object({
                day: dayOut,
                quiet: z.boolean(),
                counts: countsOut,
                letters: z.array(letterOut),
                withheld: z.array(withheldOut),
              }),
            ),
          }),
        },
      },
    },
    async (request) => {
      const nights = await rehearseNights(
        service.database,
        request.query.from ?? todayAt(service),
        request.query.nights,
      )
      return {
        nights: nights.map((night) => ({
          ...night,
          letters: night.letters.map((letter) => ({ ...letter, parts: [...letter.parts] })),
          withheld: night.withheld.map(({ recordId, reasons, ...item }) => ({
            ...item,
            ownerId: recordId,
            reasons: [...reasons],
          })),
        })),
      }
    },
  )
}
