import { z } from 'zod'
import type { Database } from '../../db/open.ts'
import { type Day, numberOfDay } from '../../domain/day.ts'
import { type Bucket, bestBeforeThresholds, buckets, isUsable } from '../../domain/stock/buckets.ts'
import { demandThrough } from '../../domain/stock/demand.ts'
import { type LifeRules, lastDayNumberWithin, monthsForFullLife } from '../../domain/stock/life.ts'
import { wasteFeeOf } from '../../domain/stock/rules.ts'
import { canonicalDesignation } from '../../domain/stock/sizes.ts'
import type { Routes } from '../../http/routes.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { day, dayOut, idOut, line } from '../../http/shapes.ts'
import { tableOn } from '../house-rules/house-rules.ts'
import { lifeRulesOf, stockRulesOn } from '../stock-entries/rules.ts'
import { ageingChart } from './cell-ageing-chart.ts'
import { demandFrom, forecastDemand, storedForecasts, wantedToday } from './demand.ts'
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

const none = (): BucketSum => ({ pieces: 0, money: 0, unreached: 0, unreachedMoney: 0 })
const noBuckets = () => Object.fromEntries(buckets.map((bucket) => [bucket, none()])) as Record<Bucket, BucketSum>

type Packed = {
  id: string
  name: string
  chemistry: string | null
  ageing_months: number | null
  waste_fee: number | null
  lots: Buffer
}

/** The wire form of a one-dimensional array of eight-byte numbers: a head of 20 bytes, then each behind its length of 4. */
const HEAD = 20
const EACH = 12

/** Days from yesterday on, some ninety years, in which a best-before is told exactly; all earlier ones are expired alike. */
const DAYS_BACK = 1
const DAYS_SPAN = 32_768

/**
 * Every lot on the shelf, in the order of issue, each packed into one whole number: 15 bits for the best-before as days
 * from `today`, 1 for blocked, 20 for the pieces, 27 for the unit cost (what can be received or counted fits). A hundred
 * thousand lots come as one column of bytes a designation, from the index alone; as many rows, or a column for each
 * figure, cost more to send than to reckon.
 */
async function lotsOnShelf(database: Database, name: string | null, today: Day): Promise<Packed[]> {
  const { rows } = await database.pool.query<Packed>({
    name: name === null ? 'cell-ageing' : 'cell-ageing-of-one',
    text: `
      select i.id, i.name, i.chemistry, i.ageing_months, i.waste_fee, l.lots
      from (
        select item_id, array_send(array_agg(
          (least(greatest(good_through - $1::date + ${DAYS_BACK}, 0), ${DAYS_SPAN - 1})::bigint << 48)
          | (case when blocked is null then 0 else ${2 ** 47} end) | (shelf::bigint << 27) | unit_cost)) as lots
        from (
          select item_id, good_through, shelf, unit_cost, blocked from stock_lot
          where shelf > 0 and good_through is not null
            ${name === null ? '' : `and item_id = (select id from stock_item where what = 'cell' and name = $2)`}
          order by item_id, good_through, received_on, id) on_shelf
        group by item_id) l
      join stock_item i on i.id = l.item_id and i.what = 'cell'
      order by i.name`,
    values: name === null ? [today] : [today, name],
  })
  return rows
}

/** What an interval makes of a best-before: where each bucket begins, and the last full-life day, searched once a day. */
type Calendar = { start: number; months: number; from: number[]; lastDays: Map<number, number> }
const calendarOf = (today: Day, intervalMonths: number, life: LifeRules): Calendar => {
  const thresholds = bestBeforeThresholds(today, intervalMonths, life)
  return {
    start: numberOfDay(today),
    months: monthsForFullLife(intervalMonths, life),
    from: aged.slice(1).map((bucket) => numberOfDay(thresholds[bucket] as Day)),
    lastDays: new Map(),
  }
}

/** Buckets by age alone, the oldest first. */
const aged = buckets.slice(1)
const firstUsable = aged.findIndex(isUsable)

/**
 * Sums of one designation by bucket, and the walk of its usable lots against demand. Best-before only rises along the
 * lots, so the bucket, the last day and the demand of the lot before are at hand.
 */
function walkPacked(lots: Buffer, calendar: Calendar, through: (day: number) => number): Record<Bucket, BucketSum> {
  const { start, months, from, lastDays } = calendar
  const sums = noBuckets()
  let used = 0
  let asked = 0
  let age = 0
  let sum = sums[aged[0] as Bucket]
  let end = Number.NEGATIVE_INFINITY
  for (let at = HEAD + 4; at < lots.length; at += EACH) {
    const high = lots.readUInt32BE(at)
    const low = lots.readUInt32BE(at + 4)
    const pieces = ((high & 0x7fff) << 5) | (low >>> 27)
    const cost = low & 0x7ffffff
    const until = start + (high >>> 16) - DAYS_BACK
    if (until !== end) {
      end = until
      while (age < from.length && end >= (from[age] as number)) age++
      sum = sums[aged[age] as Bucket]
      if (age >= firstUsable) {
        const last = lastDays.get(end) ?? lastDayNumberWithin(end, months)
        lastDays.set(end, last)
        asked = through(last)
      }
    }
    const blocked = (high & 0x8000) !== 0
    let unreached = pieces
    if (!blocked && age >= firstUsable) {
      const taken = Math.max(0, Math.min(pieces, asked - used))
      used += taken
      unreached = pieces - taken
    }
    const into = blocked ? sums.blocked : sum
    into.pieces += pieces
    into.money += pieces * cost
    into.unreached += unreached
    into.unreachedMoney += cost * unreached
  }
  return sums
}

/** By designation and bucket of days to the last full-life day: pieces, money, and what demand will not reach. */
async function cellAgeing(
  database: Database,
  today: Day,
  currency: string,
  designation: string | null,
): Promise<Ageing> {
  const { prisma } = database
  const [rules, fees, packed, wanted, stored] = await Promise.all([
    stockRulesOn(prisma, today),
    tableOn(prisma, 'cellWasteFees', today),
    lotsOnShelf(database, designation === null ? null : canonicalDesignation(designation), today),
    wantedToday(prisma, today),
    storedForecasts(prisma, null, today),
  ])
  const missing = packed.map((row) => row.id).filter((id) => !stored.has(id))
  const made = missing.length === 0 ? [] : await forecastDemand(prisma, missing, today, rules)
  const forecasts = new Map([...stored, ...made.map((forecast) => [forecast.itemId, forecast] as const)])
  const life = lifeRulesOf(rules)
  const calendars = new Map<number, Calendar>()
  const rows = packed.map((row): AgeingRow => {
    const intervalMonths = row.ageing_months ?? rules.ageingMonths
    const calendar = calendars.get(intervalMonths) ?? calendarOf(today, intervalMonths, life)
    calendars.set(intervalMonths, calendar)
    const forecast = forecasts.get(row.id)
    const sums = walkPacked(row.lots, calendar, demandThrough(demandFrom(forecast, today, wanted.get(row.name) ?? 0)))
    const total = totalOf(sums)
    return {
      designationId: row.id,
      designation: row.name,
      intervalMonths,
      demandReckonedOn: forecast?.reckonedOn ?? null,
      ...total,
      wasteFee:
        total.unreached *
        wasteFeeOf(
          { wasteFee: row.waste_fee === null ? null : Number(row.waste_fee), chemistry: row.chemistry },
          fees,
          rules,
        ),
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
      // hundreds of rows of the shape below, made above: to walk them once more against the schema cost as much as the sums
      serializerCompiler: () => JSON.stringify,
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
