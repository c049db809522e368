import type { Db } from '../../db/open.ts'
import { type Reading, sumUp } from '../../domain/readings/judge.ts'
import { Refusal } from '../../domain/refusals.ts'

type Row = {
  number: string
  on: string
  came: boolean
  data: Pick<Reading, 'wind' | 'position' | 'values'>
}

/**
 * What a watch was measured at over the years, for each visit as it came and as it left: dry oil is seen in the amplitude and
 * the run-down effect long before the owner sees it in the rate. As it came is before anything was done to it.
 */
export async function seriesOf(db: Db, watchId: string) {
  if (!(await db.watch.findUnique({ where: { id: watchId }, select: { id: true } })))
    throw new Refusal('not-found', { what: 'watch', id: watchId })
  const rows = await db.$queryRaw<Row[]>`
    select t.number, r.on_day::text as on, r.data, not exists (select from ticket_record w where w.ticket_id = t.id
        and (w.kind = 'fitting' or (w.kind = 'operation' and w.data ->> 'state' = 'done')) and (w.at, w.seq) < (r.at, r.seq)
        and not exists (select from ticket_record s where s.strikes = w.id)) as came
    from ticket_record r join ticket t on t.id = r.ticket_id
    where t.watch_id = ${watchId}::uuid and r.kind = 'reading' and not exists (select from ticket_record s where s.strikes = r.id)
    order by r.at, r.seq`
  const visits = new Map<string, Row[]>()
  for (const row of rows) {
    const key = `${row.number} ${row.came}`
    visits.set(key, [...(visits.get(key) ?? []), row])
  }
  return [...visits.values()].map((readings) => ({
    ticket: readings[0]!.number,
    state: readings[0]!.came ? ('as-it-came' as const) : ('as-it-left' as const),
    from: readings[0]!.on,
    to: readings.at(-1)!.on,
    readings: readings.length,
    ...sumUp(readings.map(({ data }) => data)),
  }))
}
