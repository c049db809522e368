import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { canonicalDesignation } from '../../domain/stock/sizes.ts'
import type { What } from '../stock-entries/lots.ts'

export type FittedWatch = { lotId: string; watchId: string; pieces: number; stillIn: boolean }

/**
 * Watches whose fittings name these lots, cells, gaskets and parts alike. A fitting counts while its fact stands (or was
 * replaced by one that stands, when more was fitted the same day); a part's fitting has no fact but its entry.
 *
 * Still in the watch: a cell while the newest cell-fitted, removal or movement fitting is this one; a gasket until
 * another is fitted in its position, from whatever lot; a movement until a later one is fitted; oil, grease and epilame
 * until a later complete service. Of every other part nothing in the book says that it came out: a person settles it.
 * A gasket's position is not taken for renewed by a service that does not name it: in doubt the owner is told.
 */
export async function fittedBy(db: Db, lotIds: readonly string[]): Promise<FittedWatch[]> {
  return db.$queryRaw<FittedWatch[]>`
    with recursive entry as (
      select e.id, e.lot_id, e.watch_id, e.event_id, e.reason as position, e.happened_on, e.pieces, i.what, i.part_kind
      from stock_entry e join stock_lot l on l.id = e.lot_id join stock_item i on i.id = l.item_id
      where e.lot_id = any(${[...lotIds]}::uuid[]) and e.kind = 'fitted' and e.strikes is null and e.watch_id is not null
        and not exists (select from stock_entry s where s.strikes = e.id)),
    chain as (
      select event_id as first, event_id as now from entry where event_id is not null
      union select chain.first, s.replaced_by from chain join strike s on s.fact_id = chain.now where s.replaced_by is not null),
    standing as (select first, now from chain where not exists (select from strike s where s.fact_id = chain.now)),
    fitting as (
      select e.*, standing.now as fact_id from entry e left join standing on standing.first = e.event_id
      where e.event_id is null or standing.now is not null)
    select lot_id as "lotId", watch_id as "watchId", sum(pieces)::int as pieces, still_in as "stillIn"
    from (
      select f.lot_id, f.watch_id, f.pieces, case
        when f.what = 'cell' then f.fact_id = (
          select v.id from watch_event v
          where v.watch_id = f.watch_id and v.event in ('cell-fitted', 'cell-removed', 'movement-fitted')
            and not exists (select from strike s where s.fact_id = v.id)
          order by v.happened desc, v.id desc limit 1)
        when f.what = 'gasket' then not exists (
          select from stock_entry later join stock_lot l on l.id = later.lot_id join stock_item i on i.id = l.item_id and i.what = 'gasket'
          where later.watch_id = f.watch_id and later.kind = 'fitted' and later.strikes is null
            and lower(later.reason) = lower(f.position) and (later.happened_on, later.id) > (f.happened_on, f.id)
            and later.event_id is distinct from f.event_id
            and not exists (select from stock_entry s where s.strikes = later.id))
          and not exists (
          select from ticket t join ticket_record r on r.ticket_id = t.id
          where t.watch_id = f.watch_id and r.kind = 'fitting' and r.lot_id is null and r.strikes is null
            and lower(r.data ->> 'position') = lower(f.position) and (r.on_day, r.id) > (f.happened_on, f.id)
            and not exists (select from ticket_record s where s.strikes = r.id))
        else not exists (
          select from watch_event v
          where v.watch_id = f.watch_id and v.happened > to_char(f.happened_on, 'YYYY-MM-DD')
            and v.event = any(case when f.part_kind = 'movement' then array['movement-fitted']
              when f.part_kind in ('oil', 'grease', 'epilame') then array['complete-service', 'movement-fitted'] else '{}' end)
            and not exists (select from strike s where s.fact_id = v.id))
        end as still_in
      from fitting f) told
    group by lot_id, watch_id, still_in order by watch_id, lot_id, still_in`
}

/** What the book says of a watch when such a piece is fitted; the fitting of a part leaves no other word than its entry. */
const factOf: Readonly<Record<What, string | null>> = { cell: 'cell-fitted', gasket: 'seals-replaced', part: null }

/**
 * Fittings of the kind with no lot on record while one of these lots was open: from its first issue to its last, or to
 * today while any of it is on the shelf. Of cells only in watches that take the designation; which gaskets a watch takes
 * is nowhere on file, so any watch sealed anew without a lot in that time may have one.
 */
export async function possibleIn(
  db: Db,
  item: { id: string; what: What; name: string },
  lotIds: readonly string[],
  today: Day,
): Promise<{ watchId: string }[]> {
  const fact = factOf[item.what]
  if (fact === null) return []
  const names = await db.$queryRaw<{ written: string }[]>`
    select distinct c.cell_designation as written from calibre c where c.cell_designation is not null`
  const written = names.map((row) => row.written).filter((one) => canonicalDesignation(one) === item.name)
  return db.$queryRaw<{ watchId: string }[]>`
    with span as (
      select to_char(min(e.happened_on), 'YYYY-MM-DD') as first,
        to_char(case when l.shelf > 0 then ${today}::date else max(e.happened_on) end, 'YYYY-MM-DD') as last
      from stock_lot l join stock_entry e on e.lot_id = l.id and e.kind = 'issued' and e.strikes is null
      where l.id = any(${[...lotIds]}::uuid[]) and not exists (select from stock_entry s where s.strikes = e.id)
      group by l.id)
    select distinct v.watch_id as "watchId"
    from span join watch_event v on v.event = ${fact} and v.source = 'own-record'
      and v.happened >= left(span.first, length(v.happened)) and v.happened <= left(span.last, length(v.happened))
    where not exists (select from strike s where s.fact_id = v.id)
      and (${item.what} <> 'cell' or exists (
        select from movement m join calibre c on c.id = m.calibre_id
        where m.watch_id = v.watch_id and c.cell_designation = any(${written}::text[])
          and not exists (select from strike s where s.fact_id = m.id)))
      and (exists (
        select from ticket t join ticket_record r on r.ticket_id = t.id
        where t.watch_id = v.watch_id and r.kind = 'fitting' and r.lot_id is null and r.strikes is null
          and r.data ->> 'opening' = ${fact} and to_char(r.on_day, 'YYYY-MM-DD') = v.happened
          and not exists (select from ticket_record s where s.strikes = r.id))
        or not exists (
        select from stock_entry e join stock_lot l on l.id = e.lot_id join stock_item i on i.id = l.item_id and i.what = ${item.what}
        where e.watch_id = v.watch_id and e.kind = 'fitted' and e.strikes is null and to_char(e.happened_on, 'YYYY-MM-DD') = v.happened
          and not exists (select from stock_entry s where s.strikes = e.id)))
    order by 1`
}
