import type { Database, Db } from '../../db/open.ts'
import { transaction } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { type Bucket, bestBeforeThresholds, buckets } from '../../domain/stock/buckets.ts'
import { monthStart } from '../../domain/stock/demand.ts'
import { FORECAST_KEEPS_DAYS, forecastDemand, keepForecasts, lockForecasts, rulesSince } from '../reports/demand.ts'
import { lifeRulesOf, stockRulesOn } from '../stock-entries/rules.ts'

export type Flagged = {
  lots: number
  pieces: number
  money: number
  counts: Partial<Record<Bucket, { lots: number; pieces: number }>>
}

type Row = { bucket: Bucket; lots: number; pieces: number; money: number }

/**
 * Puts every lot on the shelf into its bucket of this day; a lot that enters one is flagged, a lot below the shortest
 * life or expired comes onto the write-off list and can no longer be issued, and the manager gets one summary of the
 * night. No entry is written: out of the drawer a lot goes by a person's signature. Repeating a night changes nothing.
 */
export async function flagLots(database: Database, today: Day, currency: string): Promise<Flagged> {
  return transaction(database, async (tx) => {
    const rules = await stockRulesOn(tx, today)
    const life = lifeRulesOf(rules)
    const intervals = await tx.$queryRaw<{ months: number }[]>`
      select distinct coalesce(ageing_months, ${rules.ageingMonths}::int) as months from stock_item where what = 'cell'`
    const cuts = intervals.map(({ months }) => {
      const from = bestBeforeThresholds(today, months, life)
      return [months, ...buckets.slice(3).map((bucket) => from[bucket] as Day)] as const
    })
    const column = (index: number) => cuts.map((cut) => cut[index] as Day)
    const rows = await tx.$queryRaw<Row[]>`
      with cut as (
        select * from unnest(${cuts.map((cut) => cut[0])}::int[], ${column(1)}::date[], ${column(2)}::date[], ${column(3)}::date[], ${column(4)}::date[], ${column(5)}::date[])
          as c (months, past, d0, d31, d91, d181)),
      now as (
        select l.id, l.bucket as was, l.shelf, l.shelf * l.unit_cost as money, l.listed_on,
          case when l.blocked is not null then 'blocked'
            when l.good_through < ${today}::date then 'expired'
            when l.good_through < cut.past then 'under-shortest-life'
            when l.good_through < cut.d0 then 'past-full-life'
            when l.good_through < cut.d31 then 'days-0-30'
            when l.good_through < cut.d91 then 'days-31-90'
            when l.good_through < cut.d181 then 'days-91-180'
            else 'over-180-days' end as bucket
        from stock_lot l join stock_item i on i.id = l.item_id and i.what = 'cell'
        join cut on cut.months = coalesce(i.ageing_months, ${rules.ageingMonths}::int)
        where l.shelf > 0),
      moved as (select * from now where bucket is distinct from was or (bucket in ('expired', 'under-shortest-life') and listed_on is null)),
      updated as (
        update stock_lot l set bucket = moved.bucket,
          bucket_since = case when l.bucket is distinct from moved.bucket then ${today}::date else l.bucket_since end,
          listed_on = case when moved.bucket in ('expired', 'under-shortest-life') then coalesce(l.listed_on, ${today}::date) else l.listed_on end
        from moved where l.id = moved.id),
      entered as (select * from moved where bucket is distinct from was and bucket <> 'over-180-days'),
      flagged as (
        insert into lot_flag (lot_id, bucket, entered_on, was, pieces)
        select id, bucket, ${today}::date, was, shelf from entered on conflict do nothing)
      select bucket, count(*)::int as lots, sum(shelf)::int as pieces, sum(money)::float8 as money from entered group by bucket`
    const counts: Flagged['counts'] = {}
    for (const row of rows) counts[row.bucket] = { lots: row.lots, pieces: row.pieces }
    const sum = (key: 'lots' | 'pieces' | 'money') => rows.reduce((total, row) => total + row[key], 0)
    const flagged = { lots: sum('lots'), pieces: sum('pieces'), money: sum('money'), counts }
    if (flagged.lots > 0) {
      await tx.$executeRaw`
        insert into stock_summary (made_on, counts, lots, pieces, money, currency)
        values (${today}::date, ${JSON.stringify(counts)}::jsonb, ${flagged.lots}, ${flagged.pieces}, ${flagged.money}::bigint, ${currency})
        on conflict (made_on) do nothing`
    }
    return flagged
  })
}

/** Makes anew the forecasts of cells on the shelf that are a week old, of another month, of older numbers, or forgotten. */
export function refreshForecasts({ prisma }: Database, today: Day): Promise<number> {
  const stale = async (db: Db) => {
    const rows = await db.$queryRaw<{ id: string }[]>`
      select i.id from stock_item i left join demand_forecast f on f.item_id = i.id
      where i.what = 'cell' and exists (select from stock_lot l where l.item_id = i.id and l.shelf > 0)
        and (f.item_id is null or f.first_month <> ${monthStart(today, 0)}::date or f.reckoned_on < ${rulesSince(today)}
          or f.reckoned_on <= ${today}::date - ${FORECAST_KEEPS_DAYS}::int or f.reckoned_on > ${today}::date)`
    return rows.map((row) => row.id)
  }
  return prisma.$transaction(
    async (tx) => {
      if ((await stale(tx)).length === 0) return 0
      await lockForecasts(tx)
      const ids = await stale(tx)
      if (ids.length === 0) return 0
      const forecasts = await forecastDemand(tx, ids, today, await stockRulesOn(tx, today))
      await keepForecasts(tx, forecasts)
      return forecasts.length
    },
    { timeout: 300_000 },
  )
}
