import { z } from 'zod'
import type { Database } from '../../db/open.ts'
import { type Day, numberOfDay } from '../../domain/day.ts'
import { type Bucket, bestBeforeThresholds, buckets, isUsable } from '../../domain/stock/buckets.ts'
import { demandThrough } from '../../domain/stock/demand.ts'
import { lastDayNumberWithin, monthsForFullLife } from '../../domain/stock/life.ts'
import { canonicalDesignation } from '../../domain/stock/sizes.ts'
import type { Routes } from '../../http/routes.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { day, dayOut, idOut, line } from '../../http/shapes.ts'
import { lifeRulesOf, stockRulesOn } from '../stock-entries/rules.ts'
import { ageingChart } from './cell-ageing-chart.ts'
import { demandFrom, demandOf, promisedOf } from './demand.ts'
import { formatOf, sendCsv, sendSvg } from './formats.ts'

export type BucketSum = { pieces: number; money: number; unreached: number; unreachedMoney: number }
export type AgeingRow = {
  designationId: string
  designation: string
  intervalMonths: number
  demandReckonedOn: Day | null
  pieces: number
  money: number
  /** usable pieces that demand will not reach in time */
  unreached: number
  unreachedMoney: number
  /** waste fee of the unreached, shown beside the money, not in it */
  wasteFee: number
  buckets: Record<Bucket, BucketSum>
}
export type Ageing = {
  on: Day
  currency: string
  rows: AgeingRow[]
  total: Omit<AgeingRow, 'designationId' | 'designation' | 'intervalMonths' | 'demandReckonedOn'>
}

type Cut = { bucket: Bucket; from: number }

const none = (): BucketSum => ({ pieces: 0, money: 0, unreached: 0, unreachedMoney: 0 })
const noBuckets = () => Object.fromEntries(buckets.map((bucket) => [bucket, none()])) as Record<Bucket, BucketSum>

type Packed = {
  id: string
  name: string
  ageing_months: number | null
  waste_fee: number | null
  ends: Buffer
  pieces: Buffer
  costs: Buffer
}

/** The wire form of a one-dimensional array: a head of 20 bytes, then each element behind its length of 4. */
const HEAD = 20
const wholeAt = (array: Buffer, index: number) => array.readInt32BE(HEAD + index * 8 + 4)
const doubleAt = (array: Buffer, index: number) => array.readDoubleBE(HEAD + index * 12 + 4)
const lengthOf = (array: Buffer) => array.readInt32BE(12)

/**
 * Every lot on the shelf, packed as arrays in the order of issue, pieces of a blocked lot below zero: a hundred thousand
 * lots come in three columns of bytes a designation, where as many rows would cost more to read than to reckon.
 */
async function lotsOnShelf(database: Database, name: string | null): Promise<Packed[]> {
  const { rows } = await database.pool.query<Packed>({
    name: 'cell-ageing',
    text: `
      select i.id, i.name, i.ageing_months, i.waste_fee, l.ends, l.pieces, l.costs
      from (
        select item_id, array_send(array_agg(good_through - date '1970-01-01')) as ends,
          array_send(array_agg(case when blocked is null then shelf else -shelf end)) as pieces,
          array_send(array_agg(unit_cost::float8)) as costs
        from (
          select item_id, good_through, shelf, unit_cost, blocked from stock_lot
          where shelf > 0 and good_through is not null
          order by item_id, good_through, received_on, id) on_shelf
        group by item_id) l
      join stock_item i on i.id = l.item_id and i.what = 'cell' and ($1::text is null or i.name = $1)
      order by i.name`,
    values: [name],
  })
  return rows
}

/** By designation and bucket of days to the last full-life day: pieces, money, and what demand will not reach. */
export async function cellAgeing(
  database: Database,
  today: Day,
  currency: string,
  designation: string | null,
): Promise<Ageing> {
  const { prisma } = database
  const [rules, packed, promised] = await Promise.all([
    stockRulesOn(prisma, today),
    lotsOnShelf(database, designation === null ? null : canonicalDesignation(designation)),
    promisedOf(prisma),
  ])
  const forecasts = await demandOf(
    prisma,
    packed.map((row) => row.id),
    today,
    rules,
  )
  const life = lifeRulesOf(rules)
  const lastDays = new Map<number, Map<number, number>>()
  const rows = packed.map((row): AgeingRow => {
    const intervalMonths = row.ageing_months ?? rules.ageingMonths
    const months = monthsForFullLife(intervalMonths, life)
    const known = lastDays.get(months) ?? new Map<number, number>()
    lastDays.set(months, known)
    const thresholds = bestBeforeThresholds(today, intervalMonths, life)
    const cuts: Cut[] = buckets.slice(2).map((bucket) => ({ bucket, from: numberOfDay(thresholds[bucket] as Day) }))
    const bucketAt = (reached: number): Bucket => (reached === 0 ? 'expired' : (cuts[reached - 1] as Cut).bucket)
    const forecast = forecasts.get(row.id)
    const through = demandThrough(demandFrom(forecast, today, promised.get(row.id) ?? 0))
    const sums = noBuckets()
    let used = 0
    // best-before only rises along the row, so the bucket, the last day and the demand of the lot before are at hand
    let reachedCut = 0
    let end = Number.NEGATIVE_INFINITY
    let asked = 0
    for (let i = 0; i < lengthOf(row.ends); i++) {
      const signed = wholeAt(row.pieces, i)
      const pieces = Math.abs(signed)
      const cost = doubleAt(row.costs, i)
      const until = wholeAt(row.ends, i)
      if (until !== end) {
        end = until
        while (reachedCut < cuts.length && end >= (cuts[reachedCut] as Cut).from) reachedCut++
        if (isUsable(bucketAt(reachedCut))) {
          const last = known.get(end) ?? lastDayNumberWithin(end, months)
          known.set(end, last)
          asked = through(last)
        }
      }
      const bucket = signed < 0 ? 'blocked' : bucketAt(reachedCut)
      const sum = sums[bucket]
      sum.pieces += pieces
      sum.money += pieces * cost
      let unreached = pieces
      if (isUsable(bucket)) {
        const taken = Math.max(0, Math.min(pieces, asked - used))
        used += taken
        unreached = pieces - taken
      }
      sum.unreached += unreached
      sum.unreachedMoney += cost * unreached
    }
    const total = totalOf(sums)
    return {
      designationId: row.id,
      designation: row.name,
      intervalMonths,
      demandReckonedOn: forecast?.reckonedOn ?? null,
      ...total,
      wasteFee: total.unreached * (row.waste_fee === null ? rules.cellWasteFee : Number(row.waste_fee)),
      buckets: sums,
    }
  })
  const all = noBuckets()
  for (const row of rows) {
    for (const bucket of buckets) {
      for (const key of ['pieces', 'money', 'unreached', 'unreachedMoney'] as const)
        all[bucket][key] += row.buckets[bucket][key]
    }
  }
  return {
    on: today,
    currency,
    rows,
    total: { ...totalOf(all), wasteFee: rows.reduce((sum, row) => sum + row.wasteFee, 0), buckets: all },
  }
}

/** Pieces and money of all; unreached only of the usable, since the others are out of reach by their bucket already. */
function totalOf(sums: Record<Bucket, BucketSum>) {
  const total = none()
  for (const bucket of buckets) {
    total.pieces += sums[bucket].pieces
    total.money += sums[bucket].money
    if (!isUsable(bucket)) continue
    total.unreached += sums[bucket].unreached
    total.unreachedMoney += sums[bucket].unreachedMoney
  }
  return total
}

const sumOut = z.object({
  pieces: z.number().int(),
  money: z.number().int(),
  unreached: z.number().int(),
  unreachedMoney: z.number().int(),
})
const totalOut = sumOut.extend({
  wasteFee: z.number().int(),
  buckets: z.object(Object.fromEntries(buckets.map((bucket) => [bucket, sumOut])) as Record<Bucket, typeof sumOut>),
})
const ageingOut = z.object({
  on: dayOut,
  currency: z.string(),
  rows: z.array(
    totalOut.extend({
      designationId: idOut,
      designation: z.string(),
      intervalMonths: z.number().int(),
      demandReckonedOn: dayOut.nullable(),
    }),
  ),
  total: totalOut,
})

export function cellAgeingRoutes(app: Routes, service: Service): void {
  app.get(
    '/v1/reports/cell-ageing',
    {
      config: { roles: ['stock', 'manager'] },
      schema: {
        tags: ['reports'],
        summary:
          'Cells by days left of full life: pieces, money, and what demand will not reach. JSON, CSV, or SVG by Accept or ?format=',
        querystring: z.strictObject({
          designation: line(20).optional(),
          on: day.optional(),
          format: z.enum(['json', 'csv', 'svg']).optional(),
        }),
        response: { 200: ageingOut },
      },
    },
    async (request, reply) => {
      const format = formatOf(request, ['json', 'csv', 'svg'])
      const { designation = null, on = todayAt(service) } = request.query
      const ageing = await cellAgeing(service.database, on, service.config.centre.currency, designation)
      if (format === 'json') return ageing
      if (format === 'svg') return sendSvg(reply, ageingChart(ageing)) as never
      const columns = ['designation', 'bucket', 'pieces', 'money', 'unreached pieces', 'unreached money', 'currency']
      const lines = ageing.rows.flatMap((row) =>
        buckets.map((bucket) => {
          const { pieces, money, unreached, unreachedMoney } = row.buckets[bucket]
          return [row.designation, bucket, pieces, money, unreached, unreachedMoney, ageing.currency]
        }),
      )
      return sendCsv(reply, columns, lines) as never
    },
  )
}
