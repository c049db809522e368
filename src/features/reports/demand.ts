import type { Db } from '../../db/open.ts'
import type { Sql } from '../../db/sql.ts'
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
import type { StockRuleKey, StockRules } from '../../domain/stock/rules.ts'
import { canonicalDesignation } from '../../domain/stock/sizes.ts'
import { Prisma } from '../../generated/prisma/client.ts'

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
 * Watches by the calibre that is inside them now: of the movements that stand the newest. One hash join over all of
 * them; looked up watch by watch it costs a search each.
 */
const inside = Prisma.sql`
  select m.watch_id, m.calibre_id from movement m
  where not exists (select from strike x where x.fact_id = m.id)
    and not exists (
      select from movement later where later.watch_id = m.watch_id and (later.from_day, later.id) > (m.from_day, m.id)
        and not exists (select from strike x where x.fact_id = later.id))`

type Needed = Awaited<ReturnType<typeof calibresOf>>
const needOf = (needed: Needed) => Prisma.sql`
  select * from unnest(${needed.map((c) => c.calibreId)}::uuid[], ${needed.map((c) => c.itemId)}::uuid[], ${needed.map((c) => c.cells)}::int[])
    as n (calibre_id, item_id, cells)`

/** Sums of an item by month and stage, or by month: two columns of numbers side by side. */
type Sums = { itemId: string; keys: number[]; sums: number[] }
const bySums = (rows: readonly Sums[]): Map<string, Map<number, number>> =>
  new Map(rows.map((row) => [row.itemId, new Map(row.keys.map((key, i) => [key, row.sums[i] as number]))]))

/**
 * Cells of the watches on file that enter a stage in a month ahead, by `month * 4 + stage`. The obligations are read
 * once, each is put into the months of its four days, and what falls into the same four is summed before the stages are
 * told apart: a few thousand groups, however many watches.
 */
async function cellsEntering(db: Db, needed: Needed, today: Day): Promise<Map<string, Map<number, number>>> {
  const firstMonth = monthStart(today, 0)
  const starts = [today, ...Array.from({ length: MONTHS_AHEAD + 1 }, (_, i) => addMonths(firstMonth, i + 1))]
  const rows = await db.$queryRaw<Sums[]>`
    with need as (${needOf(needed)}), starts as materialized (select ${starts}::date[] as at),
    inside as (${inside} and m.calibre_id in (select calibre_id from need)),
    grouped as (
      select need.item_id, width_bucket(o.coming_up_from, starts.at) as a, width_bucket(o.notices_due_on, starts.at) as b,
        width_bucket(o.overdue_from, starts.at) as c, width_bucket(o.stop_on, starts.at) as d, sum(need.cells)::int as cells
      from inside join need on need.calibre_id = inside.calibre_id
      join watch w on w.id = inside.watch_id and w.state not in ('lost', 'stolen', 'disposed', 'beyond-repair')
      join obligation o on o.watch_id = inside.watch_id and o.kind = 'cell-change' and o.rule is not null
      cross join starts
      group by 1, 2, 3, 4, 5),
    summed as (
      select g.item_id, (s.month - 1) * 4 + s.stage as key, sum(g.cells)::int as cells
      from grouped g cross join lateral (values (0, g.a), (1, g.b), (2, g.c), (3, g.d)) as s (stage, month)
      where s.month between 1 and ${starts.length - 1} group by 1, 2)
    select item_id as "itemId", array_agg(key) as keys, array_agg(cells) as sums from summed group by 1`
  return bySums(rows)
}

/** Walk-ins of the last 36 full months, by months ago: cells we fitted to watches in none of the stages, and loose sales. */
async function walkInsByMonth(db: Db, ids: readonly string[], today: Day): Promise<Map<string, Map<number, number>>> {
  const firstMonth = monthStart(today, 0)
  const starts = Array.from({ length: 37 }, (_, i) => addMonths(firstMonth, i - 36))
  const rows = await db.$queryRaw<Sums[]>`
    with used as (
      select e.wanted_id, 37 - width_bucket(e.happened_on, ${starts}::date[]) as ago, sum(e.pieces)::int as pieces
      from stock_entry e
      where e.wanted_id = any(${[...ids]}::uuid[]) and e.kind in ('fitted', 'sold-loose')
        and e.happened_on >= ${starts[0] as Day}::date and e.happened_on < ${firstMonth}::date
        and (e.stood is null or e.stood not in ('coming-up', 'due', 'overdue', 'asked-enough'))
      group by 1, 2)
    select wanted_id as "itemId", array_agg(ago) as keys, array_agg(pieces) as sums from used group by 1`
  return bySums(rows)
}

/** Full months since an item first came: the month of the first receipt counts only if it came on the first. */
async function monthsKept(db: Db, ids: readonly string[], today: Day): Promise<Map<string, number>> {
  const rows = await db.$queryRaw<{ itemId: string; months: number }[]>`
    select item_id as "itemId",
      ((extract(year from ${today}::date) - extract(year from min(received_on))) * 12 + extract(month from ${today}::date) - extract(month from min(received_on))
        - case when extract(day from min(received_on)) > 1 then 1 else 0 end)::int as months
    from stock_lot where item_id = any(${[...ids]}::uuid[]) group by 1`
  return new Map(rows.map((row) => [row.itemId, row.months]))
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
  const wanted = itemIds && new Set(itemIds)
  const ids = items.map((item) => item.id).filter((id) => wanted === null || wanted.has(id))
  if (ids.length === 0) return []
  const asked = new Set(ids)
  const firstMonth = monthStart(today, 0)
  const calibres = await calibresOf(db, new Map(items.map((item) => [item.name, item.id])))
  const entering = await cellsEntering(
    db,
    calibres.filter((calibre) => asked.has(calibre.itemId)),
    today,
  )
  const used = await walkInsByMonth(db, ids, today)
  const kept = await monthsKept(db, ids, today)
  const cycles = await measuredCycles(db, calibres)
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
    const full = Math.max(0, Math.min(36, kept.get(itemId) ?? 0))
    const pieces = used.get(itemId)
    const past = Array.from({ length: full }, (_, i) => pieces?.get(full - i) ?? 0)
    const mine = entering.get(itemId)
    const total = noneCame()
    const months = Array.from({ length: MONTHS_AHEAD + 1 }, (_, ahead) => {
      const cells: Partial<Record<Stage, number>> = {}
      stages.forEach((stage, index) => {
        const sum = mine?.get(ahead * stages.length + index) ?? 0
        if (sum === 0) return
        cells[stage] = sum
        total[stage] += sum
      })
      return monthDemand(walkInsOf(past, ahead), cells, shares)
    })
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
async function measuredCycles(db: Db, needed: Needed): Promise<Map<string, Cycles>> {
  const began = await db.$queryRaw<{ itemId: string; began: number }[]>`
    with need as (${needOf(needed)}), inside as (${inside})
    select need.item_id as "itemId", count(*)::int as began
    from (select distinct watch_id, cycle from notice_item where kind = 'cell-change') n
    join inside on inside.watch_id = n.watch_id join need on need.calibre_id = inside.calibre_id group by 1`
  const came = await db.$queryRaw<{ itemId: string; stood: string; watches: number }[]>`
    select item_id as "itemId", stood, count(*)::int as watches
    from (
      select distinct e.wanted_id as item_id, e.stood, e.watch_id, e.happened_on
      from stock_entry e
      where e.kind = 'fitted' and e.wanted_id is not null and e.stood in ('coming-up', 'due', 'overdue', 'asked-enough') and e.strikes is null
        and not exists (select from stock_entry s where s.strikes = e.id)) fitted
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

/** `months` and `basis` as JSON text: hundreds of them are taken apart faster here than on the way. */
type StoredRow = { item_id: string; reckoned_on: Day; first_month: Day; months: string; basis: string | null }

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

// the numbers of the stock that a forecast is made with; the others are asked when a report is read
const forecastRules = [
  'comesComingUpPercent',
  'comesDuePercent',
  'comesOverduePercent',
  'comesAskedEnoughPercent',
  'fewestCycles',
] as const satisfies readonly StockRuleKey[]
export const isForecastRule = (key: string): boolean => (forecastRules as readonly string[]).includes(key)

/** The day from which the newest value of these numbers holds: what was made before it was made by others. */
export const rulesSince = (today: Day) =>
  Prisma.sql`coalesce((select max(from_day) from house_rule where key = any(${[...forecastRules]}::text[]) and from_day <= ${today}::date), '-infinity')`

/** Until the transaction ends nobody else makes forecasts to be kept, nor forgets them. */
export const lockForecasts = (tx: Sql): Promise<unknown> =>
  tx.$queryRaw`select 1 from pg_advisory_xact_lock(hashtext('demand_forecast'))`

/**
 * For the transaction that changes what forecasts rest on: none that was made before it is read after it. The lock makes
 * a refreshing that still reads the old state end first, or begin when this has committed.
 */
export async function forgetForecasts(tx: Sql): Promise<void> {
  await lockForecasts(tx)
  await tx.$executeRaw`delete from demand_forecast`
}

const isFresh = (reckonedOn: Day, firstMonth: Day, today: Day): boolean =>
  firstMonth === monthStart(today, 0) && reckonedOn <= today && daysBetween(reckonedOn, today) < FORECAST_KEEPS_DAYS

const pairs = (text: string): Fraction[] => {
  const numbers = text.match(/-?\d+/g) ?? []
  // kept in lowest terms
  return Array.from({ length: numbers.length / 2 }, (_, i) => ({
    n: BigInt(numbers[2 * i] as string),
    d: BigInt(numbers[2 * i + 1] as string),
  }))
}

export type StoredForecast = Omit<Forecast, 'basis'> & { basis: Basis | null }

/** Stored forecasts of these days, by item; `itemIds` null: of all, and without what they were made from. */
export async function storedForecasts(
  db: Db,
  itemIds: readonly string[] | null,
  today: Day,
): Promise<Map<string, StoredForecast>> {
  const stored = await db.$queryRaw<StoredRow[]>`
    select item_id, reckoned_on::text as reckoned_on, first_month::text as first_month, months::text as months,
      case when ${itemIds}::uuid[] is not null then basis::text end as basis
    from demand_forecast where (${itemIds}::uuid[] is null or item_id = any(${itemIds}::uuid[])) and reckoned_on >= ${rulesSince(today)}`
  const found = new Map<string, StoredForecast>()
  for (const row of stored) {
    if (!isFresh(row.reckoned_on, row.first_month, today)) continue
    found.set(row.item_id, {
      itemId: row.item_id,
      reckonedOn: row.reckoned_on,
      firstMonth: row.first_month,
      months: pairs(row.months),
      basis: row.basis === null ? null : (JSON.parse(row.basis) as Basis),
    })
  }
  return found
}

/** Forecasts by item: the stored one of these days where there is one, else made now. */
export async function demandOf(
  db: Db,
  itemIds: readonly string[],
  today: Day,
  rules: StockRules,
): Promise<Map<string, StoredForecast>> {
  const found = await storedForecasts(db, itemIds, today)
  const missing = itemIds.filter((id) => !found.has(id))
  for (const forecast of await forecastDemand(db, missing, today, rules)) found.set(forecast.itemId, forecast)
  return found
}

/** Pieces promised and not yet issued, by designation: once off the position. */
export async function promisedOf(db: Db): Promise<Map<string, number>> {
  const rows = await db.$queryRaw<{ itemId: string; pieces: number }[]>`
    select wanted_id as "itemId", sum(pieces)::int as pieces from reservation where state = 'held' group by 1`
  return new Map(rows.map((row) => [row.itemId, row.pieces]))
}

/** Steps of a ticket at which the watch may still be given its cell. */
const beforeClosing = [
  'booked-in',
  'awaiting-look',
  'looked-over',
  'priced',
  'awaiting-yes',
  'awaiting-parts',
  'ready-for-bench',
  'on-the-bench',
]

/**
 * Pieces wanted today, by the name of the designation: for each watch in the house that waits for a cell (its ticket is
 * a cell change, or its cell is due) the cells it takes less those issued to it, or what is reserved for it where that
 * is more; and every other reservation.
 */
export async function wantedToday(db: Db, today: Day): Promise<Map<string, number>> {
  const rows = await db.$queryRaw<{ written: string; pieces: number }[]>`
    with waiting as (
      select t.id, t.watch_id, c.cell_designation as written,
        greatest(greatest(c.cell_count, 1) - coalesce(given.pieces, 0), coalesce(kept.pieces, 0), 0)::int as pieces
      from ticket t
      join lateral (
        select m.calibre_id from movement m where m.watch_id = t.watch_id and not exists (select from strike x where x.fact_id = m.id)
        order by m.from_day desc, m.id desc limit 1) m on true
      join calibre c on c.id = m.calibre_id and c.cell_designation is not null
      left join lateral (
        select sum(e.bench_change) filter (where e.kind <> 'fitted') as pieces from stock_entry e
        join stock_lot l on l.id = e.lot_id join stock_item i on i.id = l.item_id and i.what = 'cell'
        where (e.ticket_id = t.id or e.watch_id = t.watch_id) and e.happened_on >= t.booked_on) given on true
      left join lateral (
        select sum(r.pieces) as pieces from reservation r where r.state = 'held' and (r.ticket_id = t.id or r.watch_id = t.watch_id)) kept on true
      where t.ended is null and not t.undone and t.step = any(${beforeClosing}::text[])
        and (t.work_class = 'cell' or exists (
          select from obligation o where o.watch_id = t.watch_id and o.kind = 'cell-change' and o.rule <> 'unknown-base' and o.due_on <= ${today}::date)))
    select written, sum(pieces)::int as pieces from waiting group by 1
    union all
    select i.name, sum(r.pieces)::int from reservation r join stock_item i on i.id = r.wanted_id
    where r.state = 'held' and not exists (select from waiting w where w.id = r.ticket_id or w.watch_id = r.watch_id) group by 1`
  const wanted = new Map<string, number>()
  for (const { written, pieces } of rows) {
    const name = canonicalDesignation(written)
    wanted.set(name, (wanted.get(name) ?? 0) + pieces)
  }
  return wanted
}

export const demandFrom = (forecast: Pick<Forecast, 'months'> | undefined, today: Day, atOnce: number): Demand => ({
  from: today,
  atOnce,
  months: forecast?.months ?? Array.from({ length: MONTHS_AHEAD + 1 }, () => fraction(0)),
})
