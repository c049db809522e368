import type { Db } from '../../db/open.ts'
import { Refusal } from '../../domain/refusals.ts'
import { positionKey } from '../../domain/tickets/gates-water.ts'

type Row = {
  on: string
  by: string
  data: {
    position?: string
    seals?: { position: string; condition: string }[]
    material?: string
    innerMm?: number
    cordMm?: number
    profile?: string
    greasedWith?: string
    lotUnknownBecause?: string
  }
  lot: { id: string; number: string | null; item: string } | null
  of: { material: string; innerMm: number | null; cordMm: number | null; profile: string | null } | null
}

export type Seal = {
  position: string
  fitted: {
    on: string
    by: string
    material: string | null
    innerMm: number | null
    cordMm: number | null
    profile: string | null
    greasedWith: string | null
    lot: Row['lot']
    lotUnknownBecause: string | null
  } | null
  /** what was seen of the one that is in the watch now */
  seen: { condition: string; on: string; by: string } | null
}

/** The seals of a watch by position, each as it was fitted last and seen last, whoever fitted it: a ticket or the stock. */
export async function sealsOf(db: Db, watchId: string): Promise<Seal[]> {
  if (!(await db.watch.findUnique({ where: { id: watchId }, select: { id: true } })))
    throw new Refusal('not-found', { what: 'watch', id: watchId })
  const rows = await db.$queryRaw<Row[]>`
    with told as (
      select r.on_day, r.at, r.seq, r.recorded_by, r.data, r.lot_id from ticket_record r join ticket t on t.id = r.ticket_id
      where t.watch_id = ${watchId}::uuid and (r.kind = 'seals-seen' or (r.kind = 'fitting' and r.data ->> 'opening' = 'seals-replaced'))
        and not exists (select from ticket_record s where s.strikes = r.id)
      union all
      select e.happened_on, e.recorded_at, 0, e.recorded_by, jsonb_build_object('position', e.reason), e.lot_id
      from stock_entry e join stock_lot l on l.id = e.lot_id join stock_item i on i.id = l.item_id and i.what = 'gasket'
      where e.watch_id = ${watchId}::uuid and e.kind = 'fitted' and e.strikes is null and not exists (select from stock_entry s where s.strikes = e.id)
        and not exists (select from ticket_record r where r.ticket_id = e.ticket_id and r.data -> 'entries' ? e.id::text))
    select told.on_day::text as on, told.recorded_by as by, told.data,
      case when l.id is not null then jsonb_build_object('id', l.id, 'number', l.lot_number, 'item', i.written) end as lot,
      case when l.id is not null then jsonb_build_object('material', i.material, 'innerMm', i.inner_mm, 'cordMm', i.cord_mm, 'profile', i.profile) end as of
    from told left join stock_lot l on l.id = told.lot_id left join stock_item i on i.id = l.item_id
    order by told.on_day, told.at, told.seq`
  const seals = new Map<string, Seal>()
  for (const { on, by, data, lot, of } of rows) {
    for (const { position, condition } of data.seals ?? []) {
      const key = positionKey(position)
      seals.set(key, { position, fitted: seals.get(key)?.fitted ?? null, seen: { condition, on, by } })
    }
    if (data.position === undefined) continue
    seals.set(positionKey(data.position), {
      position: data.position,
      fitted: {
        on,
        by,
        material: of?.material ?? data.material ?? null,
        innerMm: of?.innerMm ?? data.innerMm ?? null,
        cordMm: of?.cordMm ?? data.cordMm ?? null,
        profile: of?.profile ?? data.profile ?? null,
        greasedWith: data.greasedWith ?? null,
        lot,
        lotUnknownBecause: data.lotUnknownBecause ?? null,
      },
      seen: null,
    })
  }
  return [...seals.values()]
}
