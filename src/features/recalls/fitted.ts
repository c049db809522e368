import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { canonicalDesignation } from '../../domain/stock/sizes.ts'

export type FittedWatch = { lotId: string; watchId: string; pieces: number; stillIn: boolean }

/**
 * Watches whose fitting facts name these lots. A fitting counts while its fact stands (or was replaced by one that
 * stands, when more cells were fitted the same day). It is still in the watch where the newest cell-fitted, removal or
 * movement fitting is this one.
 */
export async function fittedBy(db: Db, lotIds: readonly string[]): Promise<FittedWatch[]> {
  return db.$queryRaw<FittedWatch[]>`
    with recursive entry as (
      select e.lot_id, e.watch_id, e.event_id, sum(e.pieces)::int as pieces from stock_entry e
      where e.lot_id = any(${[...lotIds]}::uuid[]) and e.kind = 'fitted' and e.strikes is null
        and not exists (select from stock_entry s where s.strikes = e.id)
      group by 1, 2, 3),
    chain as (
      select event_id as first, event_id as now from entry
      union select chain.first, s.replaced_by from chain join strike s on s.fact_id = chain.now where s.replaced_by is not null),
    standing as (select first, now from chain where not exists (select from strike s where s.fact_id = chain.now))
    select e.lot_id as "lotId", e.watch_id as "watchId", sum(e.pieces)::int as pieces, bool_or(newest.id = standing.now) as "stillIn"
    from entry e join standing on standing.first = e.event_id
    join lateral (
      select v.id from watch_event v
      where v.watch_id = e.watch_id and v.event in ('cell-fitted', 'cell-removed', 'movement-fitted')
        and not exists (select from strike s where s.fact_id = v.id)
      order by v.happened desc, v.id desc limit 1) newest on true
    group by e.lot_id, e.watch_id order by e.watch_id`
}

/**
 * Fittings with no lot on record in watches that take this designation, while one of these lots was open: from its first
 * issue to its last, or to today while any of it is on the shelf.
 */
export async function possibleIn(
  db: Db,
  itemId: string,
  lotIds: readonly string[],
  today: Day,
): Promise<{ watchId: string; on: Day }[]> {
  const names = await db.$queryRaw<{ written: string }[]>`
    select distinct c.cell_designation as written from calibre c where c.cell_designation is not null`
  const [item] = await db.$queryRaw<{ name: string }[]>`select name from stock_item where id = ${itemId}::uuid`
  const written = names.map((row) => row.written).filter((one) => canonicalDesignation(one) === item?.name)
  return db.$queryRaw<{ watchId: string; on: Day }[]>`
    with span as (
      select l.id, min(e.happened_on) as first, case when l.shelf > 0 then ${today}::date else max(e.happened_on) end as last
      from stock_lot l join stock_entry e on e.lot_id = l.id and e.kind = 'issued' and e.strikes is null
      where l.id = any(${[...lotIds]}::uuid[]) group by l.id)
    select distinct v.watch_id as "watchId", v.happened as "on"
    from watch_event v
    join movement m on m.watch_id = v.watch_id and not exists (select from strike s where s.fact_id = m.id)
    join calibre c on c.id = m.calibre_id and c.cell_designation = any(${written}::text[])
    join span on v.happened >= to_char(span.first, 'YYYY-MM-DD') and v.happened <= to_char(span.last, 'YYYY-MM-DD')
    where v.event = 'cell-fitted' and v.source = 'own-record' and not exists (select from strike s where s.fact_id = v.id)
      and not exists (select from stock_entry e where e.watch_id = v.watch_id and e.kind = 'fitted' and e.strikes is null
        and to_char(e.happened_on, 'YYYY-MM-DD') = v.happened
        and not exists (select from stock_entry s where s.strikes = e.id))
    order by 1`
}
