import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { cycleOf } from '../../domain/notices/cycles.ts'
import type { OwnerState } from '../../domain/notices/types.ts'
import { codesFor } from '../../domain/reckoning/doubts.ts'
import { reckonAndKeep } from '../../domain/reckoning/reckon.ts'
import type { RulesInForce } from '../house-rules/house-rules.ts'
import { factsOf } from '../obligations/facts.ts'
import {
  assemble,
  declinedLines,
  emptyMemory,
  type ObligationRow,
  type OwnerRow,
  type PartRows,
  partsOf,
  type WatchRow,
} from './decide-read.ts'

/**
 * Owners as they stood at an instant of the past: what was recorded later, on whatever day, is left out, and the dates
 * are reckoned again from the facts of then. What a letter's key was called is read from the night itself.
 */
export async function readOwnersThen(
  db: Db,
  ownerIds: readonly string[],
  on: Day,
  at: Date,
  inForce: RulesInForce,
): Promise<OwnerState[]> {
  const owners = await personsThen(db, ownerIds, on, at)
  const members = owners.flatMap((owner) => owner.members)
  const watches = await watchesThen(db, members, on, at)
  const watchIds = watches.map((watch) => watch.watchId)
  const obligations = await obligationsThen(db, watchIds, on, at, inForce)
  const parts = await partsThen(db, watchIds, members, on, at)
  return assemble({ owners, watches, obligations, parts: partsOf(parts) }, inForce.rules, emptyMemory())
}

async function obligationsThen(db: Db, watchIds: readonly string[], on: Day, at: Date, inForce: RulesInForce) {
  const named = await db.$queryRaw<{ watchId: string; kind: string; cycle: string }[]>`
    select distinct watch_id as "watchId", kind, cycle from (
      select watch_id, kind, cycle from notice_item where watch_id = any(${[...watchIds]}::uuid[]) and run_on = ${on}::date and booked <> 'rider'
      union all select watch_id, kind, cycle from withheld_item where watch_id = any(${[...watchIds]}::uuid[]) and run_on = ${on}::date) n`
  const names = new Map(named.map((row) => [`${row.watchId} ${row.kind}`, row.cycle]))
  const files = await factsOf(db, watchIds, on, { until: at })
  return new Map(
    files.map((file) => {
      const { answer, keeping } = reckonAndKeep(file.facts, inForce.rules, on, { rulesFrom: inForce.rulesFrom })
      const rows = answer.obligations.map((obligation): ObligationRow => {
        const kept = keeping.find((row) => row.kind === obligation.kind)
        const now = { ...obligation, noticesBy: kept?.noticesBy ?? null, eventOn: kept?.eventOn ?? null }
        return {
          ...obligation,
          watchId: file.watchId,
          cycle: names.get(`${file.watchId} ${obligation.kind}`) ?? cycleOf(now, null, false),
          warnings: codesFor(obligation.kind, answer.warnings, file.facts.history),
          nextNoticeOn: null,
        }
      })
      return [file.watchId, rows] as const
    }),
  )
}

/** A record edited since says in its edits what it said before. */
function personsThen(db: Db, ownerIds: readonly string[], on: Day, at: Date): Promise<OwnerRow[]> {
  return db.$queryRaw<OwnerRow[]>`
    with kept as (select unnest(${[...ownerIds]}::uuid[]) as id),
    was as (
      select o.id, o.created_at, o.search_name, e.before is not null as edited,
        case when e.before is null then o.language else e.before ->> 'language' end as language,
        case when e.before is null then o.standing else e.before ->> 'standing' end as standing,
        case when e.before is null then o.deceased_on is not null else e.before ->> 'deceasedOn' is not null end as deceased,
        case when e.before is null then o.erased_on is not null else e.before ->> 'erasedOn' is not null end as erased,
        case when e.before is null then o.merged_into else (e.before ->> 'mergedInto')::uuid end as merged_into
      from owner o left join lateral (
        select before from edit where record_id = o.id and recorded_at > ${at} order by version limit 1) e on true
      where o.id in (select id from kept) or o.merged_into in (select id from kept)
        or exists (select from edit where record_id = o.id and (before ->> 'mergedInto')::uuid in (select id from kept))),
    member as (
      select kept.id as kept, kept.id as id from kept
      union all select was.merged_into, was.id from was where was.merged_into in (select id from kept)),
    members as (select kept, array_agg(id) as ids from member group by kept),
    visit as (
      select m.kept, max(t.ended_on)::text as last from member m join ticket t on t.owner_id = m.id and t.ended_on < ${on}::date group by m.kept),
    choice as (
      select kept, jsonb_object_agg(kind, choice) as choices from (
        select distinct on (m.kept, c.kind) m.kept, c.kind, c.choice
        from member m join notice_choice c on c.owner_id = m.id and c.recorded_at <= ${at} order by m.kept, c.kind, c.id desc) latest
      group by kept),
    contacts as (
      select m.kept, bool_or(c.means = 'phone' and (c.failed_on is null or c.failed_on >= ${on}::date)) as phone,
        bool_or(c.means = 'e-mail' and (c.failed_on is null or c.failed_on >= ${on}::date) and c.owner_id = m.kept) as address,
        bool_or(c.means = 'e-mail' and c.failed_on < ${on}::date) as failed
      from member m join contact c on c.owner_id = m.id and c.created_at <= ${at} and (c.ended_on is null or c.ended_on >= ${on}::date)
      group by m.kept),
    reminder as (
      select kept, array_agg(day::text) as days from (
        select m.kept, n.id, case when n.released_on < ${on}::date then n.released_on else n.run_on end as day
        from member m join notice_item i on i.owner_id = m.id and i.key_taken and i.made_at < ${at} and i.run_on > ${on}::date - 400
        join notice n on n.id = i.notice_id and n.reminder and n.run_on < ${on}::date
        union select m.kept, n.id, case when n.released_on < ${on}::date then n.released_on else n.run_on end
        from member m join notice n on n.owner_id = m.id and n.reminder and n.made_at < ${at} and n.run_on < ${on}::date and n.run_on > ${on}::date - 400
        where exists (select from notice_item i where i.notice_id = n.id and i.key_taken)) sent
      group by kept),
    pair as (
      select m.kept, array_agg(distinct m.id) as ids
      from member m join was mine on mine.id = m.id and mine.merged_into is null
      join contact a on a.owner_id = m.id and a.ended_on is null and a.means <> 'post' and a.created_at <= ${at}
      join contact b on b.means = a.means and b.search_value = a.search_value and b.owner_id <> a.owner_id and b.ended_on is null and b.created_at <= ${at}
      join owner other on other.id = b.owner_id and other.id <> m.kept and other.erased_on is null
        and (other.created_at, other.id) < (mine.created_at, mine.id) and similarity(other.search_name, mine.search_name) > 0.4
      left join lateral (select before from edit where record_id = other.id and recorded_at > ${at} order by version limit 1) e on true
      where case when e.before is null then other.merged_into is null else e.before ->> 'mergedInto' is null end
        and not exists (select from owners_differ d where d.recorded_at <= ${at}
          and d.owner_a = least(mine.id, other.id) and d.owner_b = greatest(mine.id, other.id))
      group by m.kept)
    select was.id, members.ids as members, was.language, was.deceased, was.erased,
      was.standing = 'in-dispute' as "inDispute", was.standing = 'do-not-serve' as blocked,
      coalesce(b.basis is null and b.id is not null or b.keep_until < ${on}::date, false) as "lawfulBasisMissing",
      choice.choices, coalesce(contacts.address, false) as "hasAddress", coalesce(contacts.phone, false) as "hasPhone",
      coalesce(contacts.failed and not contacts.address, false) as "mailReturned",
      visit.last as "lastTicketClosedOn",
      reminder.days as "reminderDays", pair.ids as pairs
    from kept join was on was.id = kept.id join members on members.kept = was.id
    left join visit on visit.kept = was.id
    left join choice on choice.kept = was.id
    left join contacts on contacts.kept = was.id
    left join reminder on reminder.kept = was.id
    left join pair on pair.kept = was.id
    left join lateral (
      select id, basis, keep_until from lawful_basis l where l.owner_id = was.id and l.recorded_at <= ${at} order by l.id desc limit 1) b on true
    order by was.id`
}

function watchesThen(db: Db, members: readonly string[], on: Day, at: Date): Promise<WatchRow[]> {
  return db.$queryRaw<WatchRow[]>`
    select w.id as "watchId", had.owner_id as "recordId", coalesce(e.before ->> 'state', w.state) as state,
      exists (select from ticket t where t.watch_id = w.id and t.created_at <= ${at} and (t.ended_on is null or t.ended_on >= ${on}::date)) as "inHouse",
      exists (select from keep_dry_acknowledged k where k.watch_id = w.id and k.owner_id is not distinct from had.owner_id and k.recorded_at <= ${at}) as acknowledged,
      (select a.on_day::text from appointment a where a.watch_id = w.id and a.recorded_at <= ${at} order by a.id desc limit 1) as "appointmentOn"
    from (select distinct watch_id from ownership where owner_id = any(${[...members]}::uuid[])) known
    join watch w on w.id = known.watch_id
    join lateral (
      select o.owner_id from ownership o where o.watch_id = w.id and o.recorded_at <= ${at} and o.learned <= ${on}::date
        and not exists (select from strike s where s.fact_id = o.id and s.recorded_at <= ${at})
      order by o.from_day desc, o.id desc limit 1) had on had.owner_id = any(${[...members]}::uuid[])
    left join lateral (select before from edit where record_id = w.id and recorded_at > ${at} order by version limit 1) e on true
    order by w.id`
}

async function partsThen(
  db: Db,
  watchIds: readonly string[],
  recordIds: readonly string[],
  on: Day,
  at: Date,
): Promise<PartRows> {
  const ids = [...watchIds]
  const booked = await db.$queryRaw<PartRows['booked']>`
    select i.watch_id as "watchId", i.kind, i.cycle, i.stage, i.round::text as round, i.run_on::text as "runOn", i.due_on::text as "dueOn",
      i.booked, i.bundled, n.returned_at < ${at} and exists (
        select from contact c where c.owner_id = n.owner_id and c.means = 'e-mail' and c.created_at > n.returned_at and c.created_at <= ${at}) as returned
    from notice_item i left join notice n on n.id = i.notice_id
    where i.watch_id = any(${ids}::uuid[]) and i.owner_id = any(${[...recordIds]}::uuid[]) and i.key_taken
      and i.made_at < ${at} and i.run_on < ${on}::date
    order by i.watch_id, i.id`
  const held = await db.$queryRaw<PartRows['held']>`
    select watch_id as "watchId", kind, cycle, min(run_on)::text as since from withheld_item
    where watch_id = any(${ids}::uuid[]) and reasons <@ array['base-in-doubt', 'doubtful-pair'] and run_on < ${on}::date
    group by 1, 2, 3`
  const refused = await db.$queryRaw<PartRows['refused']>`
    select "watchId", kind, max(day)::text as day from (
      select watch_id as "watchId", kind, refused_on as day from refused_offer
      where watch_id = any(${ids}::uuid[]) and owner_id = any(${[...recordIds]}::uuid[]) and recorded_at <= ${at}
      union all ${declinedLines(ids, recordIds, at)}) said
    group by 1, 2`
  const calls = await db.$queryRaw<PartRows['calls']>`
    select watch_id as "watchId", due_on::text as day, bool_or(done_at is null or done_at > ${at}) as open from task
    where watch_id = any(${ids}::uuid[]) and kind = 'call-about-cell' and made_at <= ${at} group by 1, 2`
  const guarantees = await db.$queryRaw<PartRows['guarantees']>`
    select g.watch_id as "watchId", g.starts_on::text as "startsOn", g.months,
      coalesce((select sum(days) from guarantee_days d where d.guarantee_id = g.id), 0)::int as days
    from guarantee g where g.watch_id = any(${ids}::uuid[]) and g.months > 0 and g.starts_on < ${on}::date`
  return { booked, held, refused, calls, guarantees }
}
