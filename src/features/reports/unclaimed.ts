import type pg from 'pg'
import { type Day, numberOfDay } from '../../domain/day.ts'
import type { Money } from '../../domain/money.ts'
import { ticketRuleTable } from '../../domain/tickets/rules.ts'
import { frozen } from '../../domain/tickets/steps.ts'
import { unclaimedStanding } from '../../domain/tickets/unclaimed.ts'
import { readRowsFast } from '../tickets/reading.ts'
import { planOf } from '../tickets/side-states.ts'
import { load } from '../tickets/snapshot.ts'

export type UnclaimedRow = {
  id: string
  number: string
  watch: string
  ownerName: string
  place: string | null
  side: string | null
  readyOn: Day
  deliveredOn: Day | null
  /** since the delivered notice, or where there is none since it was ready */
  days: number
  stage: string
  mayDo: string
  on: Day | null
  owed: Money | null
  stop: string | null
}

type Found = { id: string; number: string; watch: string; ownerName: string; place: string | null; readyOn: Day }

const RULE = 'unclaimedSecondMeansDays'

/**
 * Watches that wait for their owner longer than the house waits before a second means, and those that stand aside as
 * unclaimed; the clock of each is worked out from its own record.
 */
export async function unclaimedWatches(
  pool: pg.Pool,
  at: { now: Date; today: Day; zone: string; currency: string },
  after: string | null,
  limit: number,
): Promise<UnclaimedRow[]> {
  const { rows } = await pool.query<Found>(
    `with rule as (select coalesce((select value::text::int from rules_in_force($1::date) where key = '${RULE}'), $2::int) as days)
     select t.id, t.number, concat_ws(' ', w.maker, w.model) as watch, o.name as "ownerName", t.place, r.on_day::text as "readyOn"
     from ticket t join ticket_record r on r.ticket_id = t.id and r.seq = t.stepped_seq join watch w on w.id = t.watch_id join owner o on o.id = t.owner_id, rule
     where t.step = 'ready' and t.ended is null and (r.on_day <= $1::date - rule.days or t.side = 'unclaimed') and ($3::uuid is null or t.id > $3::uuid)
     order by t.id limit $4`,
    [at.today, ticketRuleTable[RULE].default, after, limit + 1],
  )
  const shown: UnclaimedRow[] = []
  for (const found of rows) {
    const record = await readRowsFast(pool, found.id, at.today)
    if (record) shown.push(shownRow(found, load(record, at.now.getTime(), at.today, at.currency), at))
  }
  return shown
}

function shownRow(found: Found, ticket: ReturnType<typeof load>, at: { today: Day; zone: string }): UnclaimedRow {
  const { snapshot, settings } = ticket
  const { side } = snapshot.ticket
  const plan = planOf(at, ticket)
  const standing = unclaimedStanding(plan, at.today)
  const owed = snapshot.bill === null ? 0 : snapshot.bill.amount - (snapshot.paidTotal?.amount ?? 0)
  const held =
    side !== null && frozen.has(side)
      ? `no step while the ticket stands aside as ${side}`
      : snapshot.owner.deceased
        ? 'the owner has died: hold the watch for the papers of the heirs; the manager pauses the clock'
        : null
  return {
    ...found,
    side,
    deliveredOn: plan?.deliveredOn ?? null,
    days: numberOfDay(at.today) - numberOfDay(plan?.deliveredOn ?? found.readyOn),
    stage: standing.stage,
    mayDo: held ?? standing.mayDo,
    on: held === null ? standing.on : null,
    owed: snapshot.bill !== null && owed > 0 ? { amount: owed, currency: snapshot.bill.currency } : null,
    stop:
      settings.unclaimedLaw === null
        ? 'the local setting unclaimedLaw is not set: nothing may follow the registered letter before the manager sets it'
        : null,
  }
}
