import type { Sql } from '../../db/sql.ts'
import type { Day } from '../../domain/day.ts'
import type { HouseRules } from '../../domain/house-rules.ts'
import type {
  BookedStage,
  ChoiceKind,
  GuaranteeState,
  ObligationState,
  OwnerState,
  WatchState,
} from '../../domain/notices/types.ts'
import type { ObligationDates } from '../../domain/reckoning/answer.ts'
import { letterDaysOf } from '../../domain/reckoning/windows.ts'
import { guaranteeEnd } from '../../domain/tickets/guarantee.ts'
import { Prisma } from '../../generated/prisma/client.ts'

/** An obligation as it stands on file, or as a rehearsal has reckoned it. */
export type ObligationRow = ObligationDates & {
  watchId: string
  cycle: string
  warnings: readonly string[]
  nextNoticeOn: Day | null
}

export type BookedRow = BookedStage & { watchId: string; kind: string; cycle: string }

/** What nights rehearsed before this one would have written; kept in memory, never in the database. */
export type Memory = {
  obligations: Map<string, ObligationRow[]>
  booked: BookedRow[]
  reminders: Map<string, Day[]>
  holds: Map<string, Day>
}

export const emptyMemory = (): Memory => ({
  obligations: new Map(),
  booked: [],
  reminders: new Map(),
  holds: new Map(),
})
export const holdKey = (watchId: string, kind: string, cycle: string) => `${watchId} ${kind} ${cycle}`

export type OwnerRow = {
  id: string
  members: string[]
  language: string
  deceased: boolean
  erased: boolean
  inDispute: boolean
  blocked: boolean
  lawfulBasisMissing: boolean
  /** the last day of the basis on file, for those who look ahead */
  basisUntil?: Day | null
  choices: Partial<Record<ChoiceKind, 'yes' | 'no' | 'not-asked'>> | null
  hasAddress: boolean
  mailReturned: boolean
  hasPhone: boolean
  lastTicketClosedOn: Day | null
  reminderDays: Day[] | null
  pairs: string[] | null
}

export type WatchRow = {
  watchId: string
  recordId: string | null
  state: string
  inHouse: boolean
  acknowledged: boolean
  appointmentOn: Day | null
}

const noChoices = { 'complete-service': 'not-asked', 'water-check': 'not-asked', 'cell-change': 'not-asked' } as const

/**
 * Everything the decision needs of many owners (the kept records), set-based: one statement a table, whatever the number.
 * Watches without a known owner come as owners of their own, one a watch, with `ownerId` null.
 */
export async function readOwners(
  db: Sql,
  ownerIds: readonly string[],
  ownerless: readonly string[],
  on: Day,
  rules: HouseRules,
  memory: Memory = emptyMemory(),
): Promise<OwnerState[]> {
  const { owners, watches, parts } = await readOwnerRows(db, ownerIds, ownerless, on)
  const obligations = await readObligations(
    db,
    watches.map((watch) => watch.watchId),
    memory,
  )
  return assemble({ owners, watches, obligations, parts }, rules, memory)
}

/** All of it but the obligations. */
export async function readOwnerRows(db: Sql, ownerIds: readonly string[], ownerless: readonly string[], on: Day) {
  const owners = ownerIds.length === 0 ? [] : await readPersons(db, ownerIds, on)
  const members = owners.flatMap((owner) => owner.members)
  const watches = await readWatches(db, members, ownerless)
  const watchIds = watches.map((watch) => watch.watchId)
  return { owners, watches, parts: await readParts(db, watchIds, members, on) }
}

export type Rows = {
  owners: OwnerRow[]
  watches: WatchRow[]
  obligations: ReadonlyMap<string, readonly ObligationRow[]>
  parts: Parts
}

/** The rows of many owners, put together one owner at a time. */
export function assemble(
  { owners, watches, obligations, parts }: Rows,
  rules: HouseRules,
  memory: Memory,
): OwnerState[] {
  const keptOf = new Map(owners.flatMap((owner) => owner.members.map((member) => [member, owner.id])))
  const bookedBy = groupBy([...parts.booked, ...memory.booked], (row) => row.watchId)
  const pairs = new Set(owners.flatMap((owner) => owner.pairs ?? []))
  const states = new Map<string, WatchState[]>()
  for (const watch of watches) {
    const rows = obligations.get(watch.watchId) ?? []
    const booked = bookedBy.get(watch.watchId) ?? []
    const state: WatchState = {
      watchId: watch.watchId,
      recordId: watch.recordId,
      state: watch.state,
      inHouse: watch.inHouse,
      doubtfulPair: watch.recordId !== null && pairs.has(watch.recordId),
      keepDry:
        !watch.acknowledged && rows.some((row) => row.warnings.includes('keep-dry') || row.rule === 'not-resistant'),
      obligations: rows.map((row) => obligationState(row, watch, booked, parts, rules, memory)),
      guarantees: guaranteesOf(parts.guarantees.get(watch.watchId) ?? [], booked),
    }
    const key = watch.recordId === null ? watch.watchId : (keptOf.get(watch.recordId) ?? watch.watchId)
    const known = states.get(key)
    if (known) known.push(state)
    else states.set(key, [state])
  }
  return [
    ...owners.map((owner) => ownerState(owner, states.get(owner.id) ?? [], memory)),
    ...watches.filter((watch) => watch.recordId === null).map((watch) => nobody(states.get(watch.watchId) ?? [])),
  ]
}

function readWatches(db: Sql, members: readonly string[], ownerless: readonly string[]): Promise<WatchRow[]> {
  return db.$queryRaw<WatchRow[]>`
    select w.id as "watchId", w.owner_id as "recordId", w.state, w.in_house as "inHouse",
           exists (select from keep_dry_acknowledged k where k.watch_id = w.id and k.owner_id is not distinct from w.owner_id) as acknowledged,
           (select a.on_day::text from appointment a where a.watch_id = w.id order by a.id desc limit 1) as "appointmentOn"
    from watch w where w.owner_id = any(${[...members]}::uuid[]) or w.id = any(${[...ownerless]}::uuid[])
    order by w.id`
}

const nobody = (watches: readonly WatchState[]): OwnerState => ({
  ownerId: null,
  language: 'en',
  deceased: false,
  erased: false,
  lawfulBasisMissing: false,
  inDispute: false,
  blocked: false,
  choices: noChoices,
  hasAddress: false,
  mailReturned: false,
  hasPhone: false,
  reminderDays: [],
  lastTicketClosedOn: null,
  watches,
})

const ownerState = (owner: OwnerRow, watches: readonly WatchState[], memory: Memory): OwnerState => ({
  ownerId: owner.id,
  language: owner.language,
  deceased: owner.deceased,
  erased: owner.erased,
  lawfulBasisMissing: owner.lawfulBasisMissing,
  inDispute: owner.inDispute,
  blocked: owner.blocked,
  choices: { ...noChoices, ...owner.choices },
  hasAddress: owner.hasAddress,
  mailReturned: owner.mailReturned,
  hasPhone: owner.hasPhone,
  reminderDays: [...(owner.reminderDays ?? []), ...(memory.reminders.get(owner.id) ?? [])],
  lastTicketClosedOn: owner.lastTicketClosedOn,
  watches,
})

function obligationState(
  row: ObligationRow,
  watch: WatchRow,
  booked: readonly BookedRow[],
  parts: Parts,
  rules: HouseRules,
  memory: Memory,
): ObligationState {
  const key = holdKey(row.watchId, row.kind, row.cycle)
  return {
    kind: row.kind,
    rule: row.rule,
    baseOn: row.baseOn,
    baseFrom: row.baseFrom,
    months: row.months,
    dueOn: row.dueOn,
    noticesDueOn: row.noticesDueOn,
    comingUpFrom: row.comingUpFrom,
    overdueFrom: row.overdueFrom,
    stopOn: row.stopOn,
    cycle: row.cycle,
    letterDays: letterDaysOf(row, rules),
    doubtful: row.warnings.includes('future-dated') || row.warnings.includes('contradiction'),
    heldSince: parts.holds.get(key) ?? memory.holds.get(key) ?? null,
    call: parts.calls.get(`${row.watchId} ${row.noticesDueOn}`) ?? null,
    declinedOn: parts.refused.get(`${row.watchId} ${row.kind}`) ?? null,
    appointmentOn: watch.appointmentOn,
    booked: booked.filter((b) => b.kind === row.kind && b.cycle === row.cycle),
  }
}

function readPersons(db: Sql, ownerIds: readonly string[], on: Day): Promise<OwnerRow[]> {
  return db.$queryRaw<OwnerRow[]>`
    select o.id, m.ids as members, o.language,
      o.deceased_on is not null as deceased, o.erased_on is not null as erased,
      o.standing = 'in-dispute' as "inDispute", o.standing = 'do-not-serve' as blocked,
      coalesce(b.basis is null and b.id is not null or b.keep_until < ${on}::date, false) as "lawfulBasisMissing", b.keep_until::text as "basisUntil",
      (select jsonb_object_agg(kind, choice) from (
        select distinct on (c.kind) c.kind, c.choice from notice_choice c where c.owner_id = any(m.ids) order by c.kind, c.id desc) latest) as choices,
      coalesce(c.address, false) as "hasAddress", coalesce(c.phone, false) as "hasPhone", coalesce(c.failed and not c.address, false) as "mailReturned",
      (select max(t.ended_on)::text from ticket t where t.owner_id = any(m.ids)) as "lastTicketClosedOn",
      (select array_agg(day::text) from (
        select n.id, coalesce(n.released_on, n.run_on) as day from notice_item i join notice n on n.id = i.notice_id and n.reminder
        where i.owner_id = any(m.ids) and i.key_taken and i.run_on > ${on}::date - 400
        union select n.id, coalesce(n.released_on, n.run_on) from notice n
        where n.owner_id = any(m.ids) and n.reminder and n.run_on > ${on}::date - 400
          and exists (select from notice_item i where i.notice_id = n.id and i.key_taken)) sent) as "reminderDays",
      (select array_agg(distinct mine.id) from owner mine
        join contact a on a.owner_id = mine.id and a.ended_on is null and a.means <> 'post'
        join contact b on b.means = a.means and b.search_value = a.search_value and b.owner_id <> a.owner_id and b.ended_on is null
        join owner other on other.id = b.owner_id and other.merged_into is null and other.erased_on is null and other.id <> o.id
          and (other.created_at, other.id) < (mine.created_at, mine.id) and similarity(other.search_name, mine.search_name) > 0.4
        where mine.id = any(m.ids) and mine.merged_into is null and not exists (select from owners_differ d
          where d.owner_a = least(mine.id, other.id) and d.owner_b = greatest(mine.id, other.id))) as pairs
    from owner o
    cross join lateral (select array_agg(id) as ids from (select o.id union all select d.id from owner d where d.merged_into = o.id) kept) m
    cross join lateral (
      select bool_or(means = 'phone' and failed_on is null) as phone,
        bool_or(means = 'e-mail' and failed_on is null and owner_id = o.id) as address,
        bool_or(means = 'e-mail' and failed_on is not null) as failed
      from contact where owner_id = any(m.ids) and ended_on is null) c
    left join lateral (select id, basis, keep_until from lawful_basis l where l.owner_id = o.id order by l.id desc limit 1) b on true
    where o.id = any(${[...ownerIds]}::uuid[])
    order by o.id`
}

async function readObligations(
  db: Sql,
  watchIds: readonly string[],
  memory: Memory,
): Promise<Map<string, readonly ObligationRow[]>> {
  const rows = await db.$queryRaw<ObligationRow[]>`
    select watch_id as "watchId", kind, rule, base_on::text as "baseOn", coalesce(base_from, 'none') as "baseFrom", months,
      due_on::text as "dueOn", notices_due_on::text as "noticesDueOn", coming_up_from::text as "comingUpFrom",
      overdue_from::text as "overdueFrom", stop_on::text as "stopOn", cycle, warnings, next_notice_on::text as "nextNoticeOn"
    from obligation where watch_id = any(${[...watchIds]}::uuid[]) and rule is not null
    order by watch_id, array_position(array['complete-service', 'water-check', 'cell-change', 'seals'], kind)`
  const onFile: Map<string, readonly ObligationRow[]> = groupBy(rows, (row) => row.watchId)
  for (const watchId of watchIds) {
    const rehearsed = memory.obligations.get(watchId)
    if (rehearsed) onFile.set(watchId, rehearsed)
  }
  return onFile
}

export type PartRows = {
  booked: BookedRow[]
  held: { watchId: string; kind: string; cycle: string; since: Day }[]
  refused: { watchId: string; kind: string; day: Day }[]
  calls: { watchId: string; day: Day; open: boolean }[]
  guarantees: GuaranteeRow[]
}
type GuaranteeRow = { watchId: string; startsOn: Day; months: number; days: number }
export type Parts = ReturnType<typeof partsOf>

export const partsOf = ({ booked, held, refused, calls, guarantees }: PartRows) => ({
  booked,
  guarantees: groupBy(guarantees, (row) => row.watchId),
  holds: new Map(held.map((row) => [holdKey(row.watchId, row.kind, row.cycle), row.since])),
  refused: new Map(refused.map((row) => [`${row.watchId} ${row.kind}`, row.day])),
  calls: new Map(calls.map((row) => [`${row.watchId} ${row.day}`, row.open ? ('open' as const) : ('done' as const)])),
})

/** Lines of an estimate that were declined and not agreed to since: a service, or the test that comes with the seals. */
export const declinedLines = (
  watchIds: readonly string[],
  recordIds: readonly string[],
  until: Date | null = null,
) => Prisma.sql`
  select t.watch_id, case when l.complete_service then 'complete-service' else 'water-check' end, a.on_day
  from ticket t join estimate_answer a on a.ticket_id = t.id and a.answer = 'no'
  join estimate_line l on l.id = a.line_id and (l.complete_service or l.pressure_test)
  where t.watch_id = any(${[...watchIds]}::uuid[]) and t.owner_id = any(${[...recordIds]}::uuid[])
    and a.recorded_at <= coalesce(${until}::timestamptz, 'infinity')
    and not exists (select from estimate_answer later where later.line_id = a.line_id and later.seq > a.seq and later.answer = 'yes'
      and later.recorded_at <= coalesce(${until}::timestamptz, 'infinity'))`

/** What belongs to single items: what was booked, held for doubt, refused, and whether the counter has called. */
async function readParts(db: Sql, watchIds: readonly string[], recordIds: readonly string[], on: Day): Promise<Parts> {
  const ids = [...watchIds]
  const booked = await db.$queryRaw<BookedRow[]>`
    select i.watch_id as "watchId", i.kind, i.cycle, i.stage, i.round::text as round, i.run_on::text as "runOn", i.due_on::text as "dueOn",
      i.booked, i.bundled, n.returned_at is not null and exists (
        select from contact c where c.owner_id = n.owner_id and c.means = 'e-mail' and c.ended_on is null and c.failed_on is null
          and c.created_at > n.returned_at) as returned
    from notice_item i left join notice n on n.id = i.notice_id
    where i.watch_id = any(${ids}::uuid[]) and i.owner_id = any(${[...recordIds]}::uuid[]) and i.key_taken
    order by i.watch_id, i.id`
  const held = await db.$queryRaw<{ watchId: string; kind: string; cycle: string; since: Day }[]>`
    select watch_id as "watchId", kind, cycle, min(run_on)::text as since from withheld_item
    where watch_id = any(${ids}::uuid[]) and reasons <@ array['base-in-doubt', 'doubtful-pair']
    group by 1, 2, 3`
  const refused = await db.$queryRaw<PartRows['refused']>`
    select "watchId", kind, max(day)::text as day from (
      select r.watch_id as "watchId", r.kind, r.refused_on as day from refused_offer r where r.watch_id = any(${ids}::uuid[])
        and r.owner_id = any(${[...recordIds]}::uuid[]) and r.refused_on <= ${on}::date
      union all ${declinedLines(ids, recordIds)}) said
    group by 1, 2`
  const calls = await db.$queryRaw<{ watchId: string; day: Day; open: boolean }[]>`
    select watch_id as "watchId", due_on::text as day, bool_or(done_at is null) as open from task
    where watch_id = any(${ids}::uuid[]) and kind = 'call-about-cell' group by 1, 2`
  const guarantees = await db.$queryRaw<GuaranteeRow[]>`
    select g.watch_id as "watchId", g.starts_on::text as "startsOn", g.months,
      coalesce((select sum(days) from guarantee_days d where d.guarantee_id = g.id), 0)::int as days
    from guarantee g where g.watch_id = any(${ids}::uuid[]) and g.months > 0 and g.starts_on > ${on}::date - 4000`
  return partsOf({ booked, held, refused, calls, guarantees })
}

/** One note for all that ends on one day. */
function guaranteesOf(
  rows: readonly { startsOn: Day; months: number; days: number }[],
  booked: readonly BookedRow[],
): GuaranteeState[] {
  const ends = rows.map((row) => guaranteeEnd(row.startsOn, row.months, row.days)).filter((day) => day !== null)
  return [...new Set(ends)].sort().map((lastDay) => {
    const cycle = `until:${lastDay}`
    return { cycle, lastDay, booked: booked.filter((b) => b.kind === 'guarantee' && b.cycle === cycle) }
  })
}

function groupBy<T>(rows: readonly T[], key: (row: T) => string): Map<string, T[]> {
  const groups = new Map<string, T[]>()
  for (const row of rows) {
    const name = key(row)
    const group = groups.get(name)
    if (group) group.push(row)
    else groups.set(name, [row])
  }
  return groups
}
