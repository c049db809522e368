import type { Db } from '../../db/open.ts'
import { addMonths, type Day, daysBetween } from '../../domain/day.ts'
import {
  type Cycles,
  type Demand,
  MONTHS_AHEAD,
  monthDemand,
  monthStart,
  type Stage,
  sharesFrom,
  stages,
  walkInsOf,
} from '../../domain/stock/demand.ts'
import { type Fraction, fraction, toFixed } from '../../domain/stock/fraction.ts'
import type { StockRules } from '../../domain/stock/rules.ts'
import { canonicalDesignation } from '../../domain/stock/sizes.ts'

/** What a forecast was made from, for the reader. */
export type Basis = {
  sharesFrom: 'designation' | 'all-watches' | 'house-rules'
  shares: Record<Stage, string>
  cyclesBegan: number
  fullMonths: number
  walkInsAMonth: string
  entering: Record<Stage, number>
}
export type Forecast = { itemId: string; reckonedOn: Day; firstMonth: Day; months: readonly Fraction[]; basis: Basis }

const noneCame = (): Record<Stage, number> => ({ comingUp: 0, due: 0, overdue: 0, askedEnough: 0 })
const standingStages: Readonly<Record<string, Stage>> = {
  'coming-up': 'comingUp',
  due: 'due',
  overdue: 'overdue',
  'asked-enough': 'askedEnough',
}

/** Calibres by the designation their cells are kept under here: two codes of one size are one designation. */
async function calibresOf(db: Db, names: ReadonlyMap<string, string>) {
  const rows = await db.calibre.findMany({
    where: { cellDesignation: { not: null } },
    select: { id: true, cellDesignation: true, cellCount: true },
  })
  return rows.flatMap((row) => {
    const itemId = names.get(canonicalDesignation(row.cellDesignation as string))
    return itemId ? [{ calibreId: row.id, itemId, cells: Math.max(1, row.cellCount) }] : []
  })
}

/**
 * Expected demand of designations for the month of today and 24 months ahead, from the walk-ins on record and the
 * obligations on file. `itemIds` null: all of them.
 */
export async function forecastDemand(
  db: Db,
  itemIds: readonly string[] | null,
  today: Day,
  rules: StockRules,
): Promise<Forecast[]> {
  const items = await db.stockItem.findMany({ where: { what: 'cell' }, select: { id: true, name: true } })
  const asked = itemIds ? items.filter((item) => itemIds.includes(item.id)) : items
  if (asked.length === 0) return []
  const ids = asked.map((item) => item.id)
  const firstMonth = monthStart(today, 0)
  const calibres = await calibresOf(db, new Map(items.map((item) => [item.name, item.id])))
  const needed = [
    calibres.map((c) => c.calibreId),
    calibres.map((c) => c.itemId),
    calibres.map((c) => c.cells),
  ] as const

  const entering = await db.$queryRaw<{ itemId: string; ahead: number; stage: Stage; cells: number }[]>`
    with need as (select * from unnest(${needed[0]}::uuid[], ${needed[1]}::uuid[], ${needed[2]}::int[]) as n (calibre_id, item_id, cells))
    select need.item_id as "itemId",
      ((extract(year from s.day) - extract(year from ${today}::date)) * 12 + extract(month from s.day) - extract(month from ${today}::date))::int as ahead,
      s.stage, sum(need.cells)::int as cells
    from need join movement m on m.calibre_id = need.calibre_id
    join watch w on w.id = m.watch_id and w.state not in ('lost', 'stolen', 'disposed', 'beyond-repair')
    join obligation o on o.watch_id = m.watch_id and o.kind = 'cell-change' and o.rule is not null
    cross join lateral (values ('comingUp', o.coming_up_from), ('due', o.notices_due_on), ('overdue', o.overdue_from), ('askedEnough', o.stop_on)) as s (stage, day)
    where need.item_id = any(${ids}::uuid[]) and s.day >= ${today}::date and s.day < ${addMonths(firstMonth, MONTHS_AHEAD + 1)}::date
      and not exists (select from strike x where x.fact_id = m.id)
      and not exists (select from movement later where later.watch_id = m.watch_id and (later.from_day, later.id) > (m.from_day, m.id)
        and not exists (select from strike x where x.fact_id = later.id))
    group by 1, 2, 3`

  const used = await db.$queryRaw<{ itemId: string; ago: number; pieces: number }[]>`
    select e.wanted_id as "itemId",
      ((extract(year from ${today}::date) - extract(year from e.happened_on)) * 12 + extract(month from ${today}::date) - extract(month from e.happened_on))::int as ago,
      sum(e.pieces)::int as pieces
    from stock_entry e
    where e.wanted_id = any(${ids}::uuid[]) and e.kind in ('fitted', 'sold-loose')
      and e.happened_on >= ${addMonths(firstMonth, -36)}::date and e.happened_on < ${firstMonth}::date
      and (e.stood is null or e.stood not in ('coming-up', 'due', 'overdue', 'asked-enough'))
    group by 1, 2`
  const since = await db.$queryRaw<{ itemId: string; months: number }[]>`
    select item_id as "itemId",
      ((extract(year from ${today}::date) - extract(year from min(received_on))) * 12 + extract(month from ${today}::date) - extract(month from min(received_on))
        - case when extract(day from min(received_on)) > 1 then 1 else 0 end)::int as months
    from stock_lot where item_id = any(${ids}::uuid[]) group by 1`

  const cycles = await measuredCycles(db, needed)
  const everything = sumCycles([...cycles.values()])
  const house = {
    comingUp: rules.comesComingUpPercent,
    due: rules.comesDuePercent,
    overdue: rules.comesOverduePercent,
    askedEnough: rules.comesAskedEnoughPercent,
  }
  return ids.map((itemId): Forecast => {
    const own = cycles.get(itemId) ?? { began: 0, came: noneCame() }
    const { shares, from } = sharesFrom(own, everything, house, rules.fewestCycles)
    const full = Math.max(0, Math.min(36, since.find((row) => row.itemId === itemId)?.months ?? 0))
    const past = Array.from(
      { length: full },
      (_, i) => used.find((u) => u.itemId === itemId && u.ago === full - i)?.pieces ?? 0,
    )
    const mine = entering.filter((row) => row.itemId === itemId)
    const months = Array.from({ length: MONTHS_AHEAD + 1 }, (_, ahead) => {
      const cells: Partial<Record<Stage, number>> = {}
      for (const row of mine) if (row.ahead === ahead) cells[row.stage] = row.cells
      return monthDemand(walkInsOf(past, ahead), cells, shares)
    })
    const total = noneCame()
    for (const row of mine) total[row.stage] += row.cells
    return {
      itemId,
      reckonedOn: today,
      firstMonth,
      months,
      basis: {
        sharesFrom: from,
        shares: Object.fromEntries(stages.map((stage) => [stage, toFixed(shares[stage], 4)])) as Record<Stage, string>,
        cyclesBegan: own.began,
        fullMonths: full,
        walkInsAMonth: toFixed(walkInsOf(past, 0), 2),
        entering: total,
      },
    }
  })
}

/** Letter cycles that began, and in which stage the watches stood whose cell we then fitted. */
async function measuredCycles(db: Db, needed: readonly [string[], string[], number[]]): Promise<Map<string, Cycles>> {
  const began = await db.$queryRaw<{ itemId: string; began: number }[]>`
    with need as (select * from unnest(${needed[0]}::uuid[], ${needed[1]}::uuid[]) as n (calibre_id, item_id))
    select need.item_id as "itemId", count(distinct (n.watch_id, n.cycle))::int as began
    from notice_item n
    join lateral (
      select calibre_id from movement m where m.watch_id = n.watch_id and not exists (select from strike x where x.fact_id = m.id)
      order by m.from_day desc, m.id desc limit 1) m on true
    join need on need.calibre_id = m.calibre_id
    where n.kind = 'cell-change' group by 1`
  const came = await db.$queryRaw<{ itemId: string; stood: string; watches: number }[]>`
    select e.wanted_id as "itemId", e.stood, count(distinct (e.watch_id, e.happened_on))::int as watches
    from stock_entry e
    where e.kind = 'fitted' and e.wanted_id is not null and e.stood in ('coming-up', 'due', 'overdue', 'asked-enough') and e.strikes is null
      and not exists (select from stock_entry s where s.strikes = e.id)
    group by 1, 2`
  const cycles = new Map<string, { began: number; came: Record<Stage, number> }>()
  const of = (itemId: string) => {
    const known = cycles.get(itemId) ?? { began: 0, came: noneCame() }
    cycles.set(itemId, known)
    return known
  }
  for (const row of began) of(row.itemId).began = row.began
  for (const row of came) of(row.itemId).came[standingStages[row.stood] as Stage] = row.watches
  return cycles
}

function sumCycles(all: readonly Cycles[]): Cycles {
  const came = noneCame()
  for (const one of all) for (const stage of stages) came[stage] += one.came[stage]
  return { began: all.reduce((sum, one) => sum + one.began, 0), came }
}

type StoredRow = { item_id: string; reckoned_on: Day; first_month: Day; months: [string, string][]; basis: Basis }

/** Days after which a stored forecast is made anew. */
export const FORECAST_KEEPS_DAYS = 7

export async function keepForecasts(db: Db, forecasts: readonly Forecast[]): Promise<void> {
  const rows = forecasts.map((f) => ({
    item_id: f.itemId,
    reckoned_on: f.reckonedOn,
    first_month: f.firstMonth,
    months: f.months.map((m) => [String(m.n), String(m.d)]),
    basis: f.basis,
  }))
  await db.$executeRaw`
    insert into demand_forecast (item_id, reckoned_on, first_month, months, basis)
    select item_id, reckoned_on, first_month, months, basis
    from jsonb_to_recordset(${JSON.stringify(rows)}::jsonb) as r (item_id uuid, reckoned_on date, first_month date, months jsonb, basis jsonb)
    on conflict (item_id) do update set reckoned_on = excluded.reckoned_on, first_month = excluded.first_month,
      months = excluded.months, basis = excluded.basis`
}

export const isFresh = (reckonedOn: Day, firstMonth: Day, today: Day): boolean =>
  firstMonth === monthStart(today, 0) && reckonedOn <= today && daysBetween(reckonedOn, today) < FORECAST_KEEPS_DAYS

/** Forecasts by item: the stored one of these days where there is one, else made now. */
export async function demandOf(
  db: Db,
  itemIds: readonly string[],
  today: Day,
  rules: StockRules,
): Promise<Map<string, Forecast>> {
  const stored = await db.$queryRaw<StoredRow[]>`
    select item_id, reckoned_on::text as reckoned_on, first_month::text as first_month, months, basis
    from demand_forecast where item_id = any(${[...itemIds]}::uuid[])`
  const found = new Map<string, Forecast>()
  for (const row of stored) {
    if (!isFresh(row.reckoned_on, row.first_month, today)) continue
    const months = row.months.map(([n, d]) => fraction(BigInt(n), BigInt(d)))
    found.set(row.item_id, {
      itemId: row.item_id,
      reckonedOn: row.reckoned_on,
      firstMonth: row.first_month,
      months,
      basis: row.basis,
    })
  }
  const missing = itemIds.filter((id) => !found.has(id))
  for (const forecast of await forecastDemand(db, missing, today, rules)) found.set(forecast.itemId, forecast)
  return found
}

/** Pieces promised and not yet issued, by designation: demand of today, and once off the position. */
export async function promisedOf(db: Db): Promise<Map<string, number>> {
  const rows = await db.$queryRaw<{ itemId: string; pieces: number }[]>`
    select wanted_id as "itemId", sum(pieces)::int as pieces from reservation where state = 'held' group by 1`
  return new Map(rows.map((row) => [row.itemId, row.pieces]))
}

export const demandFrom = (forecast: Forecast | undefined, today: Day, atOnce: number): Demand => ({
  from: today,
  atOnce,
  months: forecast?.months ?? Array.from({ length: MONTHS_AHEAD + 1 }, () => fraction(0)),
})
