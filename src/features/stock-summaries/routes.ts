import { z } from 'zod'
import { type Db, dateOf, dayFrom } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { Refusal } from '../../domain/refusals.ts'
import { buckets } from '../../domain/stock/buckets.ts'
import type { StockSummary } from '../../generated/prisma/client.ts'
import { afterOf, page, pageBy, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { type Act, act, type Service, signerOf } from '../../http/service.ts'
import { day, dayOut, idOut, instantOut } from '../../http/shapes.ts'

const whole = z.number().int()
const summaryOut = z.object({
  on: dayOut,
  lots: whole,
  pieces: whole,
  money: z.object({ amount: whole, currency: z.string() }),
  counts: z.record(z.string(), z.object({ lots: whole, pieces: whole })),
  seenAt: instantOut.nullable(),
  seenBy: z.string().nullable(),
})
const flagOut = z.object({
  lotId: idOut,
  designation: z.string(),
  place: z.string(),
  bucket: z.enum(buckets),
  was: z.string().nullable(),
  pieces: whole,
})

async function listSummaries(db: Db, after: Day | null, limit: number) {
  const rows = await db.stockSummary.findMany({
    where: after ? { madeOn: { lt: dateOf(after) } } : {},
    orderBy: { madeOn: 'desc' },
    take: limit + 1,
  })
  return rows.map(shown)
}

const shown = (row: StockSummary) => ({
  on: dayFrom(row.madeOn),
  lots: row.lots,
  pieces: row.pieces,
  money: { amount: Number(row.money), currency: row.currency },
  counts: row.counts as Record<string, { lots: number; pieces: number }>,
  seenAt: row.seenAt?.toISOString() ?? null,
  seenBy: row.seenBy,
})

async function flagsOf(db: Db, on: Day, after: readonly [string, string] | null, limit: number) {
  const [afterName, afterId] = after ?? ['', '00000000-0000-0000-0000-000000000000']
  if (!(await db.stockSummary.findFirst({ where: { madeOn: dateOf(on) } })))
    throw new Refusal('not-found', { what: 'stock summary of', id: on })
  return db.$queryRaw<z.output<typeof flagOut>[]>`
  select f.lot_id as "lotId", i.name as designation, l.storage_place as place, f.bucket, f.was, f.pieces
  from lot_flag f join stock_lot l on l.id = f.lot_id join stock_item i on i.id = l.item_id
  where f.entered_on = ${on}::date and (i.name, f.lot_id) > (${afterName}, ${afterId}::uuid) order by i.name, f.lot_id limit ${limit + 1}`
}

async function markSeen({ tx, now, who }: Act, on: Day) {
  await tx.stockSummary.updateMany({
    where: { madeOn: dateOf(on), seenAt: null },
    data: { seenAt: now, seenBy: who.name },
  })
  const row = await tx.stockSummary.findFirst({ where: { madeOn: dateOf(on) } })
  if (!row) throw new Refusal('not-found', { what: 'stock summary of', id: on })
  return shown(row)
}

export function stockSummaryRoutes(app: Routes, service: Service): void {
  const tags = ['stock']
  const config = { roles: ['stock', 'manager'] as const }
  const ofDay = z.strictObject({ on: day })

  app.get(
    '/v1/stock-summaries',
    {
      config,
      schema: {
        tags,
        summary: 'What the night found: lots that entered a bucket, newest night first',
        querystring: z.strictObject(pageQuery),
        response: { 200: z.object({ items: z.array(summaryOut) }) },
      },
    },
    (request, reply) =>
      pageBy(
        request,
        reply,
        (row) => row.on,
        (after, limit) => listSummaries(service.database.prisma, after, limit),
        'day',
      ),
  )
  app.get(
    '/v1/stock-summaries/:on/lots',
    {
      config,
      schema: {
        tags,
        summary: 'The lots of one night, by designation',
        params: ofDay,
        querystring: z.strictObject(pageQuery),
        response: { 200: z.object({ items: z.array(flagOut) }) },
      },
    },
    async (request, reply) => {
      const after = afterOf(request, 'name', 'id')
      const rows = await flagsOf(service.database.prisma, request.params.on, after, request.query.limit)
      return page(request, reply, rows, (row) => [row.designation, row.lotId])
    },
  )
  app.post(
    '/v1/stock-summaries/:on/seen',
    {
      config: { roles: ['manager'] },
      schema: {
        tags,
        summary: 'The manager has seen it; repeating it changes nothing',
        params: ofDay,
        response: { 200: summaryOut },
      },
    },
    (request) => act(service, signerOf(request), (doing) => markSeen(doing, request.params.on)),
  )
}
