import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { readLocalSettings } from '../../domain/local-settings.ts'
import type { Money } from '../../domain/money.ts'
import { readTicketRules } from '../../domain/tickets/rules.ts'
import { type SideState, type Step, steps } from '../../domain/tickets/steps.ts'
import { adviceFor, type Stuck } from '../../domain/tickets/stuck.ts'
import { Prisma } from '../../generated/prisma/client.ts'
import { storedOn } from '../house-rules/house-rules.ts'

export type StuckRow = {
  id: string
  number: string
  step: Step
  side: SideState | null
  watch: string
  ownerName: string
  nextActor: string
  nextBy: string
  daysPast: number
  place: string | null
  promisedOn: Day | null
  advice: string | null
}

/**
 * Tickets whose date has passed, the longest first, each climbs here by itself; and those that wait for a part so long
 * that the watch is offered back undone, or past the day promised, though the supplier keeps naming a later day.
 */
export async function stuckTickets(
  db: Db,
  today: Day,
  after: readonly [string, string] | null,
  limit: number,
): Promise<StuckRow[]> {
  const stored = await storedOn(db, today)
  const rules = readTicketRules(stored)
  const { contactAttempts } = readLocalSettings(stored)
  const rows = await db.$queryRaw<(Omit<StuckRow, 'advice'> & Stuck)[]>`
    select t.id, t.number, t.step, t.side, concat_ws(' ', w.maker, w.model) as watch, o.name as "ownerName", t.next_actor as "nextActor", t.next_by::text as "nextBy",
      greatest(0, ${today}::date - t.next_by)::int as "daysPast", t.next_by < ${today}::date as past, t.place, t.promised_on::text as "promisedOn",
      coalesce(${today}::date - coalesce(waiting.since, (select r.on_day from ticket_record r where r.ticket_id = t.id and r.seq = t.stepped_seq)), 0)::int as "waitedDays",
      waiting.expected::text as "expectedOn",
      (select count(*)::int from ticket_record r where r.ticket_id = t.id and r.seq > t.stepped_seq and r.kind = 'contact' and r.data ->> 'result' = 'failed'
        and not exists (select from ticket_record s where s.strikes = r.id)) as "failedAttempts"
    from ticket t join watch w on w.id = t.watch_id join owner o on o.id = t.owner_id
    left join lateral (
      select
        (select min(r.on_day) from ticket_record r where r.ticket_id = t.id and r.kind = 'move' and r.data ->> 'to' = 'awaiting-parts' and r.seq > coalesce((
          select max(b.seq) from ticket_record b where b.ticket_id = t.id and b.kind = 'move' and b.data ->> 'to' in ('ready-for-bench', 'on-the-bench')), 0)) as since,
        (select max((l ->> 'expectedOn')::date) from (
          select r.data from ticket_record r where r.ticket_id = t.id and r.kind = 'parts' and not exists (select from ticket_record s where s.strikes = r.id)
          order by r.seq desc limit 1) p cross join lateral jsonb_array_elements(p.data -> 'lines') l where not (l ->> 'onHand')::boolean) as expected
    ) waiting on t.step = 'awaiting-parts'
    where t.ended is null
      and (t.next_by < ${today}::date or (t.step = 'awaiting-parts' and (t.side is null or t.side not in ('missing', 'evidence', 'dispute'))
        and (waiting.since <= ${today}::date - ${rules.offerUndoneDays}::int or waiting.expected >= t.promised_on)))
      and (t.next_by, t.id) > (${after?.[0] ?? '0001-01-01'}::date, ${after?.[1] ?? '00000000-0000-0000-0000-000000000000'}::uuid)
    order by t.next_by, t.id limit ${limit + 1}`
  return rows.map(({ waitedDays, failedAttempts, past, expectedOn, ...row }) => ({
    ...row,
    advice: adviceFor(
      { step: row.step, side: row.side, past, waitedDays, failedAttempts, expectedOn, promisedOn: row.promisedOn },
      today,
      rules,
      contactAttempts,
    ),
  }))
}

export type Queue = {
  step: Step
  watches: number
  aside: number
  past: number
  nextBy: Day | null
  longestDays: number | null
}

/** How many watches wait at each step of the house, in the order of the steps, those with none too. */
export async function queuesOn(db: Db, today: Day): Promise<Queue[]> {
  const rows = await db.$queryRaw<Queue[]>`
    select t.step, count(*)::int as watches, count(*) filter (where t.side is not null)::int as aside, count(*) filter (where t.next_by < ${today}::date)::int as past,
      min(t.next_by)::text as "nextBy",
      max(${today}::date - coalesce((select r.on_day from ticket_record r where r.ticket_id = t.id and r.seq = t.stepped_seq), t.booked_on))::int as "longestDays"
    from ticket t where t.ended is null group by t.step`
  return steps
    .filter((step) => step !== 'handed-over')
    .map(
      (step) =>
        rows.find((row) => row.step === step) ?? {
          step,
          watches: 0,
          aside: 0,
          past: 0,
          nextBy: null,
          longestDays: null,
        },
    )
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

/**
 * The sum against the cover of the policy. What is not in the sum, another currency or a watch without a value, makes it
 * too small: then nobody can say that it is not over. Null where the cover is not set.
 */
export function againstCover(rows: readonly PlaceValue[], cover: Money | null) {
  if (cover === null)
    return { cover: null, total: null, over: null, because: 'the cover of the policy is not set: stop and ask' }
  const foreign = rows.some((row) => row.currency !== null && row.currency !== cover.currency)
  const without = rows.reduce((sum, row) => sum + row.withoutValue, 0)
  const total = rows.filter((row) => row.currency === cover.currency).reduce((sum, row) => sum + row.amount, 0)
  const because = [
    ...(foreign ? ['some values are in another currency and are not in the sum'] : []),
    ...(without > 0
      ? [
          `${without === 1 ? '1 watch has no declared value and is' : `${without} watches have no declared value and are`} not in the sum`,
        ]
      : []),
  ]
  return {
    cover,
    total: { amount: total, currency: cover.currency },
    over: total > cover.amount ? true : because.length > 0 ? null : false,
    because: because.length > 0 ? because.join('; ') : null,
  }
}

export type Comeback = {
  cause: string
  tickets: number
  covered: number
  notCovered: number
  costs: { currency: string; work: number; parts: number; total: number }[]
}

/**
 * Watches that came back in a span, by the cause the bench coded for each line; and what the covered work and parts that
 * were done cost the house, in minor units without tax. The cost is the first job's.
 */
export async function comebacks(db: Db, from: Day, to: Day): Promise<Comeback[]> {
  const lines = Prisma.sql`
    came as (select id from ticket where comeback_of is not null and booked_on between ${from}::date and ${to}::date),
    decided as (
      select came.id, (l ->> 'line')::uuid as line, coalesce(l ->> 'cause', r.data ->> 'cause', 'not yet decided') as cause, (l ->> 'covered')::boolean as covered
      from came left join lateral (
        select data from ticket_record x where x.ticket_id = came.id and x.kind = 'comeback' and not exists (select from ticket_record s where s.strikes = x.id)
        order by seq desc limit 1) r on true
      left join lateral jsonb_array_elements(r.data -> 'lines') l on true)`
  const counts = await db.$queryRaw<Omit<Comeback, 'costs'>[]>`
    with ${lines}
    select cause, count(distinct id)::int as tickets, count(*) filter (where covered)::int as covered, count(*) filter (where not covered)::int as "notCovered"
    from decided group by 1 order by 2 desc, 1`
  const costs = await db.$queryRaw<{ cause: string; currency: string; work: number; parts: number }[]>`
    with ${lines}
    select d.cause, e.currency, coalesce(sum(l.house_cost * l.quantity) filter (where not l.part), 0)::float8 as work,
      coalesce(sum(l.house_cost * l.quantity) filter (where l.part), 0)::float8 as parts
    from decided d join estimate e on e.ticket_id = d.id join estimate_line l on l.estimate_id = e.id and l.under_guarantee_of = d.line
    where exists (select from ticket_record r where r.ticket_id = d.id and r.kind = 'operation' and r.line_id = l.id and r.data ->> 'state' = 'done'
      and not exists (select from ticket_record s where s.strikes = r.id))
    group by 1, 2 order by 2`
  return counts.map((row) => ({
    ...row,
    costs: costs
      .filter((cost) => cost.cause === row.cause)
      .map(({ currency, work, parts }) => ({ currency, work, parts, total: work + parts })),
  }))
}
