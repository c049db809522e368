import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import type { Money } from '../../domain/money.ts'

export type Stuck = {
  id: string
  number: string
  step: string
  side: string | null
  watch: string
  ownerName: string
  nextActor: string
  nextBy: string
  daysPast: number
  place: string | null
  promisedOn: string | null
}

/** Tickets whose date has passed, the longest first; each climbs here by itself. */
export function stuckTickets(db: Db, today: Day, after: [string, string] | null, limit: number): Promise<Stuck[]> {
  return db.$queryRaw<Stuck[]>`
    select t.id, t.number, t.step, t.side, concat_ws(' ', w.maker, w.model) as watch, o.name as "ownerName", t.next_actor as "nextActor", t.next_by::text as "nextBy",
      (${today}::date - t.next_by)::int as "daysPast", t.place, t.promised_on::text as "promisedOn"
    from ticket t join watch w on w.id = t.watch_id join owner o on o.id = t.owner_id
    where t.ended is null and t.next_by < ${today}::date and (t.next_by, t.id) > (${after?.[0] ?? '0001-01-01'}::date, ${after?.[1] ?? '00000000-0000-0000-0000-000000000000'}::uuid)
    order by t.next_by, t.id limit ${limit + 1}`
}

export type PlaceValue = {
  place: string
  currency: string | null
  watches: number
  amount: number
  withoutValue: number
}

/** Declared values of the watches in the house, by place and currency, and how many have none. */
export function valueByPlace(db: Db): Promise<PlaceValue[]> {
  return db.$queryRaw<PlaceValue[]>`
    select coalesce(place, 'nowhere') as place, declared_currency as currency, count(*)::int as watches, coalesce(sum(declared_value), 0)::float8 as amount,
      count(*) filter (where declared_value is null)::int as "withoutValue"
    from ticket where ended is null group by 1, 2 order by 4 desc, 1`
}

/** The sum against the cover of the policy; null where the cover is not set or currencies differ. */
export function againstCover(rows: readonly PlaceValue[], cover: Money | null) {
  if (cover === null)
    return { cover: null, total: null, over: null, because: 'the cover of the policy is not set: stop and ask' }
  const foreign = rows.some((row) => row.currency !== null && row.currency !== cover.currency)
  const total = rows.filter((row) => row.currency === cover.currency).reduce((sum, row) => sum + row.amount, 0)
  return {
    cover,
    total: { amount: total, currency: cover.currency },
    over: total > cover.amount,
    because: foreign ? 'some values are in another currency and are not in the sum' : null,
  }
}

export type Comeback = { cause: string; tickets: number; covered: number }

/** Watches that came back in a span, by the cause the bench coded; the cost is the first job's. */
export function comebacks(db: Db, from: Day, to: Day): Promise<Comeback[]> {
  return db.$queryRaw<Comeback[]>`
    select coalesce(r.data ->> 'cause', 'not yet decided') as cause, count(distinct t.id)::int as tickets,
      count(distinct t.id) filter (where exists (select from jsonb_array_elements(r.data -> 'lines') l where (l ->> 'covered')::boolean))::int as covered
    from ticket t left join lateral (
      select data from ticket_record x where x.ticket_id = t.id and x.kind = 'comeback' and not exists (select from ticket_record s where s.strikes = x.id)
      order by seq desc limit 1) r on true
    where t.comeback_of is not null and t.booked_on between ${from}::date and ${to}::date group by 1 order by 2 desc, 1`
}
