import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { Refusal } from '../../domain/refusals.ts'
import { readTicketNumber } from '../../domain/tickets/number.ts'

type Row = {
  id: string
  on: string
  places: { place: string; numbers: string[] }[]
  missing: { number: string; ticketId: string | null; place: string | null; holder: string | null }[] | null
  elsewhere: { number: string; ticketId: string | null; place: string | null; holder: string | null }[] | null
  unknown: string[]
  notCounted: { place: string; watches: number }[] | null
  gone: { number: string; ended: string; on: string }[] | null
  recordedAt: Date
  by: string
}

export type CountFilter = { id?: string | undefined; from?: Day | undefined; to?: Day | undefined }

/** Evening counts as they were written, the oldest first; for what was not where it should be, where the book had it then. */
async function readCounts(db: Db, filter: CountFilter, after: string | null, limit: number): Promise<Row[]> {
  return db.$queryRaw<Row[]>`
    select c.id, c.on_day::text as on, c.places, c.unknown, c.not_counted as "notCounted",
      (select jsonb_agg(jsonb_build_object('number', t.number, 'ended', t.ended, 'on', t.ended_on) order by t.number) from ticket t where t.number = any(c.unknown) and t.ended_on <= c.on_day) as gone, c.recorded_at as "recordedAt", c.recorded_by as by,
      (select jsonb_agg(jsonb_build_object('number', x.number, 'ticketId', t.id, 'place', m.to_place, 'holder', m.holder) order by x.n)
        from unnest(c.missing) with ordinality as x (number, n) left join ticket t on t.number = x.number
        left join lateral (select to_place, holder from custody_move m where m.ticket_id = t.id and m.recorded_at <= c.recorded_at order by m.n desc limit 1) m on true) as missing,
      (select jsonb_agg(jsonb_build_object('number', x.number, 'ticketId', t.id, 'place', m.to_place, 'holder', m.holder) order by x.n)
        from unnest(c.elsewhere) with ordinality as x (number, n) left join ticket t on t.number = x.number
        left join lateral (select to_place, holder from custody_move m where m.ticket_id = t.id and m.recorded_at <= c.recorded_at order by m.n desc limit 1) m on true) as elsewhere
    from evening_count c
    where (${filter.id ?? null}::uuid is null or c.id = ${filter.id ?? null}::uuid)
      and c.on_day >= coalesce(${filter.from ?? null}::date, '0001-01-01') and c.on_day <= coalesce(${filter.to ?? null}::date, '9999-12-31')
      and (${after}::uuid is null or c.id > ${after}::uuid)
    order by c.id limit ${limit + 1}`
}

function shownCount(row: Row) {
  // numbers stand as they were typed
  const found = new Map(
    row.places.flatMap(({ place, numbers }) => numbers.map((typed) => [readTicketNumber(typed), place] as const)),
  )
  return {
    id: row.id,
    on: row.on,
    recordedAt: row.recordedAt.toISOString(),
    by: row.by,
    places: row.places,
    counted: found.size,
    missing: row.missing ?? [],
    elsewhere: (row.elsewhere ?? []).map(({ holder: _, ...one }) => ({ ...one, foundAt: found.get(one.number) ?? '' })),
    unknown: row.unknown,
    gone: row.gone ?? [],
    notCounted: row.notCounted,
  }
}

export const listCounts = async (db: Db, filter: CountFilter, after: string | null, limit: number) =>
  (await readCounts(db, filter, after, limit)).map(shownCount)

export async function oneCount(db: Db, id: string) {
  const [count] = await listCounts(db, { id }, null, 1)
  if (!count) throw new Refusal('not-found', { what: 'evening count', id })
  return count
}
