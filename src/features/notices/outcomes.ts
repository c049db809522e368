import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import type { Money } from '../../domain/money.ts'
import { Prisma } from '../../generated/prisma/client.ts'

/** A visit within so many days of a letter came of it, if no later letter about the watch had gone by then. */
const CAME_OF_IT_WITHIN = 90

type Counted = {
  kind: string | null
  stage: string | null
  letters: number
  sent: number
  delivered: number
  returned: number
  inDoubt: number
  failed: number
  withdrawn: number
  answered: number
  cameIn: number
}
type Taken = { kind: string | null; stage: string | null; currency: string; amount: number }

const lettersAndVisits = (from: Day, to: Day) => Prisma.sql`
    item as (
      select i.kind, i.stage, i.watch_id, n.* from notice n join notice_item i on i.notice_id = n.id and i.booked = 'letter'
      where n.run_on between ${from}::date and ${to}::date),
    visit as (
      select distinct on (letter.id, letter.watch_id) letter.id as notice_id, letter.watch_id, t.id as ticket_id
      from (select distinct id, watch_id, run_on from item where state = 'sent') letter
      join ticket t on t.watch_id = letter.watch_id and t.booked_on between letter.run_on and letter.run_on + ${CAME_OF_IT_WITHIN}::int
      where not exists (
        select from notice_item j join notice later on later.id = j.notice_id
        where j.watch_id = letter.watch_id and j.booked = 'letter' and later.state = 'sent'
          and later.run_on > letter.run_on and later.run_on <= t.booked_on)
      order by letter.id, letter.watch_id, t.id)`

/**
 * Letters of the runs of a span of days and what became of them: by kind and stage, and in all. A visit belongs to the
 * last letter about its watch before it; where that letter wrote about several things it counts under each of them, and
 * once in all. Takings are the payments of such visits up to now, deposits in, money returned out, by currency.
 */
export async function outcomesOf(db: Db, from: Day, to: Day) {
  const counted = await db.$queryRaw<Counted[]>`
    with ${lettersAndVisits(from, to)}
    select kind, stage, count(distinct item.id)::int as letters,
      count(distinct item.id) filter (where state = 'sent')::int as sent,
      count(distinct item.id) filter (where delivered_at is not null)::int as delivered,
      count(distinct item.id) filter (where returned_at is not null)::int as returned,
      count(distinct item.id) filter (where state = 'in-doubt')::int as "inDoubt",
      count(distinct item.id) filter (where state = 'failed')::int as failed,
      count(distinct item.id) filter (where state = 'withdrawn')::int as withdrawn,
      count(distinct item.id) filter (where exists (select from owner_answer a where a.notice_id = item.id))::int as answered,
      count(distinct visit.ticket_id)::int as "cameIn"
    from item left join visit on visit.notice_id = item.id and visit.watch_id = item.watch_id
    group by grouping sets ((kind, stage), ()) order by kind nulls last, stage`
  const taken = await db.$queryRaw<Taken[]>`
    with ${lettersAndVisits(from, to)},
    paid as (
      select ticket_id, data -> 'amount' ->> 'currency' as currency,
        sum((data -> 'amount' ->> 'amount')::bigint * case when data ->> 'how' = 'returned' then -1 else 1 end) as amount
      from ticket_record r
      where ticket_id in (select ticket_id from visit) and kind = 'payment' and data ->> 'how' <> 'credit'
        and not exists (select from ticket_record s where s.strikes = r.id)
      group by 1, 2),
    under as (
      select distinct item.kind, item.stage, visit.ticket_id
      from item join visit on visit.notice_id = item.id and visit.watch_id = item.watch_id)
    select kind, stage, currency, sum(amount)::float8 as amount from under join paid using (ticket_id) group by kind, stage, currency
    union all select null, null, currency, sum(amount)::float8 from paid group by currency
    order by kind nulls last, stage, currency`
  const [stopped] = await db.$queryRaw<{ owners: number }[]>`
    select count(distinct owner_id)::int as owners from owner_answer where answer = 'stop' and answered_on between ${from}::date and ${to}::date`
  const [refused] = await db.$queryRaw<{ owners: number }[]>`
    select count(*)::int as owners from (select distinct on (owner_id, kind) owner_id, choice from notice_choice order by owner_id, kind, id desc) c
    where choice = 'no'`
  const takingsOf = (row: Counted): Money[] =>
    taken
      .filter((one) => one.kind === row.kind && one.stage === row.stage)
      .map(({ amount, currency }) => ({ amount, currency }))
  const whole = counted.filter((row) => row.kind === null).map(({ kind, stage, ...counts }) => counts)[0] as Omit<
    Counted,
    'kind' | 'stage'
  >
  return {
    from,
    to,
    items: counted
      .filter((row) => row.kind !== null && row.stage !== null)
      .map((row) => ({ ...row, kind: row.kind as string, stage: row.stage as string, takings: takingsOf(row) })),
    inAll: {
      ...whole,
      takings: taken.filter((one) => one.kind === null).map(({ amount, currency }) => ({ amount, currency })),
    },
    optOuts: { inSpan: stopped?.owners ?? 0, choicesAgainstNow: refused?.owners ?? 0 },
  }
}
