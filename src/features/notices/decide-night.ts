import type pg from 'pg'
import type { Sql } from '../../db/sql.ts'
import { addDays, type Day } from '../../domain/day.ts'
import { decideLetters } from '../../domain/notices/decide.ts'
import { isQuietDay } from '../../domain/notices/notice-rules.ts'
import { heldForDoubtAlone } from '../../domain/notices/sift.ts'
import type { Decision, LetterPlan, WithheldItem } from '../../domain/notices/types.ts'
import { Prisma } from '../../generated/prisma/client.ts'
import { type RulesInForce, rulesInForce } from '../house-rules/house-rules.ts'
import {
  lockWatches,
  type ObligationRow as ReckonedRow,
  reckonedRows,
  rewriteObligations,
} from '../obligations/rewrite.ts'
import { changesToComeOn } from '../re-reckonings/scope.ts'
import { type Booked, book, countsOf, itemsOf, toBook } from './decide-book.ts'
import { emptyMemory, holdKey, type Memory, type ObligationRow, readOwners } from './decide-read.ts'
import { type Before, standingBefore } from './decide-rewrite.ts'

/**
 * Obligations that only crossed the edge of a window: their dates stay, so no fact is read; the next edge is written down.
 */
export const passEdges = (tx: Sql, day: Day): Promise<number> => tx.$executeRaw`
  update obligation set reconsider_on = (
    select min(d) from unnest(array[coming_up_from, notices_due_on, overdue_from, stop_on, reckon_anew_on]) d where d > ${day}::date)
  where reconsider_on <= ${day}::date and (reckon_anew_on is null or reckon_anew_on > ${day}::date)`

/** Where the end of a guarantee causes a letter of its own: the watches whose end comes near and was not told, with its cycle. */
const untoldGuarantees = (day: Day, lead: number) => Prisma.sql`
  select near.watch_id, 'until:' || near.ends as cycle
  from (
    select g.watch_id, (g.starts_on + make_interval(months => g.months))::date
      + coalesce((select sum(days) from guarantee_days d where d.guarantee_id = g.id), 0)::int as ends
    from guarantee g where g.months > 0) near
  join obligation o on o.watch_id = near.watch_id and o.kind = 'complete-service' and o.rule is not null
  where near.ends between ${day}::date and ${day}::date + ${lead}::int
    and not exists (select from notice_item i where i.watch_id = near.watch_id and i.kind = 'guarantee' and i.cycle = 'until:' || near.ends and i.key_taken)`

/** Those watches are looked at this night. */
export const wakeGuarantees = (tx: Sql, day: Day, lead: number): Promise<number> => tx.$executeRaw`
  update obligation set next_notice_on = ${day}::date from (${untoldGuarantees(day, lead)}) untold
  where obligation.watch_id = untold.watch_id and kind = 'complete-service'
    and (next_notice_on is null or next_notice_on > ${day}::date)`

/** Watches of which a fact or a house rule has something new to say on this day. */
async function staleWatches(db: Sql, day: Day, limit: number): Promise<string[]> {
  const rows = await db.$queryRaw<{ id: string }[]>`
    select distinct watch_id as id from (
      select watch_id from obligation where reckon_anew_on <= ${day}::date order by reckon_anew_on, watch_id limit ${limit}) o
    order by id`
  return rows.map((row) => row.id)
}

/** Reckons one batch of them anew; the number reckoned, 0 when none is left. */
export async function reckonStale(tx: Sql, day: Day, inForce: RulesInForce, limit: number): Promise<number> {
  const ids = await staleWatches(tx, day, limit)
  if (ids.length === 0) return 0
  await lockWatches(tx, ids)
  await rewriteObligations(tx, ids, day, { inForce })
  return ids.length
}

/** Watches with something to be looked at, page by page along the index, so many items a page. */
export async function* duePages(pool: pg.Pool, day: Day, limit: number): AsyncGenerator<string[], void> {
  type Item = { watchId: string; day: Day }
  for (let last: Item | undefined, full = true; full; ) {
    const { rows }: { rows: Item[] } = await pool.query<Item>(
      `select watch_id as "watchId", next_notice_on as day from obligation
       where next_notice_on <= $1
         and (next_notice_on, watch_id) > (coalesce($2, '-infinity'::date), coalesce($3, '00000000-0000-0000-0000-000000000000'::uuid))
       order by next_notice_on, watch_id limit $4`,
      [day, last?.day, last?.watchId, limit],
    )
    last = rows.at(-1)
    full = rows.length === limit
    if (rows.length > 0) yield [...new Set(rows.map((row) => row.watchId))]
  }
}

type Due = { owners: string[]; ownerless: string[] }

/** Who is to be decided about because of these watches: the kept records of their owners, and watches of nobody known. */
async function dueOwners(tx: Sql, day: Day, watchIds: readonly string[]): Promise<Due> {
  const rows = await tx.$queryRaw<{ watchId: string; owner: string | null }[]>`
    select w.id as "watchId", coalesce(k.merged_into, k.id) as owner from watch w left join owner k on k.id = w.owner_id
    where w.id = any(${[...watchIds]}::uuid[])
      and exists (select from obligation o where o.watch_id = w.id and o.next_notice_on <= ${day}::date)`
  return dueOf(rows)
}

const dueOf = (rows: readonly { watchId: string; owner: string | null }[]): Due => ({
  owners: [...new Set(rows.map((row) => row.owner).filter((owner) => owner !== null))].sort(),
  ownerless: rows
    .filter((row) => row.owner === null)
    .map((row) => row.watchId)
    .sort(),
})

/**
 * Decides about the owners of one page of watches and books it. Pages may be worked on side by side: an owner who stands
 * on two of them is decided about by whoever locks the watches first; the other finds nothing due any more.
 */
export async function decideBatch(
  tx: Sql,
  day: Day,
  inForce: RulesInForce,
  watchIds: readonly string[],
): Promise<{ booked: Booked; looked: number }> {
  const found = await dueOwners(tx, day, watchIds)
  // owners before watches, each in the order of ids: the counter's own acts lock in this order, too
  if (found.owners.length > 0)
    await tx.$queryRaw`select 1 from owner where id = any(${found.owners}::uuid[]) order by id for key share`
  await tx.$queryRaw`
    select 1 from watch where id = any(array(
      select unnest(${found.ownerless}::uuid[])
      union all select w.id from watch w where w.owner_id = any(${found.owners}::uuid[])
      union all select w.id from owner o join watch w on w.owner_id = o.id where o.merged_into = any(${found.owners}::uuid[])))
    order by id for no key update`
  const due = await dueOwners(tx, day, watchIds)
  const owners = due.owners.filter((id) => found.owners.includes(id))
  const ownerless = due.ownerless.filter((id) => found.ownerless.includes(id))
  const batch = await readOwners(tx, owners, ownerless, day, inForce.rules).then((states) =>
    toBook(states, (state) => decideLetters(state, inForce.notices, day), inForce),
  )
  await book(tx, batch, day)
  return { booked: batch.counts, looked: batch.looked }
}

// ---------------------------------------------------------------- rehearsal

export type RehearsedNight = {
  day: Day
  quiet: boolean
  reckoned: number
  looked: number
  counts: Booked
  letters: LetterPlan[]
  withheld: WithheldItem[]
}

type Rehearsal = {
  memory: Memory
  /** the day to look at an item next, where the rehearsal has moved it */
  next: Map<string, Day | null>
  /** watches reckoned in memory, and when they must be reckoned again */
  anew: Map<string, Day | null>
}

/**
 * What the nights to come would do, if nothing more were told: nothing is written, each night goes on from what the nights
 * before it would have written. Call it in a read-only transaction.
 */
export async function rehearse(db: Sql, from: Day, nights: number): Promise<RehearsedNight[]> {
  const rehearsal: Rehearsal = { memory: emptyMemory(), next: new Map(), anew: new Map() }
  const done: RehearsedNight[] = []
  for (let n = 0; n < nights; n++) done.push(await rehearseNight(db, rehearsal, addDays(from, n), n === 0))
  return done
}

const itemKey = (watchId: string, of: string) => `${watchId} ${of}`
const BATCH = 2000

async function rehearseNight(db: Sql, r: Rehearsal, day: Day, first: boolean): Promise<RehearsedNight> {
  const inForce = await rulesInForce(db, day)
  const changes = await changesToComeOn(db, day, inForce.rules, first)
  const reckoned = await reckonInMemory(db, r, day, inForce, changes.reckon)
  if (isQuietDay(day, inForce.notices.rules))
    return { day, quiet: true, reckoned, looked: 0, counts: countsOf([], 0, []), letters: [], withheld: [] }
  const { owners, ownerless } = await dueInMemory(db, r, day, [
    ...changes.look,
    ...(await wokenByGuarantees(db, r, day, inForce)),
  ])
  const decisions: Decision[] = []
  for (let i = 0; i === 0 || i < owners.length; i += BATCH) {
    const states = await readOwners(
      db,
      owners.slice(i, i + BATCH),
      i === 0 ? ownerless : [],
      day,
      inForce.rules,
      r.memory,
    )
    for (const state of states) {
      const decision = decideLetters(state, inForce.notices, day)
      decisions.push(decision)
      for (const watch of state.watches)
        for (const item of watch.obligations) r.next.set(itemKey(watch.watchId, item.kind), null)
      rememberNext(r, decision)
      remember(r.memory, decision, day)
    }
  }
  const letters = decisions.map((d) => d.letter).filter((letter) => letter !== null)
  const withheld = decisions.flatMap((d) => d.withheld)
  return {
    day,
    quiet: false,
    reckoned,
    looked: decisions.length,
    counts: countsOf(letters.flatMap(itemsOf), letters.length, withheld),
    letters,
    withheld,
  }
}

function rememberNext(r: Rehearsal, decision: Decision): void {
  for (const { watchId, kind, nextNoticeOn } of decision.next) r.next.set(itemKey(watchId, kind), nextNoticeOn)
}

/** What a night would have written, for the nights after it. */
export function remember(memory: Memory, decision: Decision, day: Day): void {
  for (const item of decision.withheld) {
    const key = holdKey(item.watchId, item.kind, item.cycle)
    if (heldForDoubtAlone(item.reasons) && !memory.holds.has(key)) memory.holds.set(key, day)
  }
  const { letter } = decision
  if (letter === null) return
  for (const item of itemsOf(letter))
    memory.booked.push({
      watchId: item.watch_id,
      kind: item.kind,
      cycle: item.cycle,
      stage: item.stage,
      round: item.round,
      runOn: day,
      dueOn: item.due_on,
      booked: item.booked,
      bundled: item.bundled,
      returned: false,
    })
  if (letter.reminder) memory.reminders.set(letter.ownerId, [...(memory.reminders.get(letter.ownerId) ?? []), day])
}

async function wokenByGuarantees(db: Sql, r: Rehearsal, day: Day, { notices }: RulesInForce): Promise<string[]> {
  const { guaranteeOwnLetter, guaranteeLeadDays } = notices.rules
  if (guaranteeOwnLetter !== 1) return []
  const untold = await db.$queryRaw<{ watch_id: string; cycle: string }[]>(untoldGuarantees(day, guaranteeLeadDays))
  const told = new Set(r.memory.booked.flatMap((b) => (b.kind === 'guarantee' ? itemKey(b.watchId, b.cycle) : [])))
  return untold.filter((one) => !told.has(itemKey(one.watch_id, one.cycle))).map((one) => one.watch_id)
}

async function dueInMemory(db: Sql, r: Rehearsal, day: Day, also: readonly string[]): Promise<Due> {
  const onFile = await db.$queryRaw<{ watchId: string; kind: string }[]>`
    select watch_id as "watchId", kind from obligation where next_notice_on <= ${day}::date`
  const watches = new Set(onFile.filter((row) => !r.next.has(itemKey(row.watchId, row.kind))).map((row) => row.watchId))
  for (const id of also) watches.add(id)
  for (const [key, next] of r.next) if (next !== null && next <= day) watches.add(key.slice(0, 36))
  const rows = await db.$queryRaw<{ watchId: string; owner: string | null }[]>`
    select w.id as "watchId", coalesce(k.merged_into, k.id) as owner from watch w left join owner k on k.id = w.owner_id
    where w.id = any(${[...watches]}::uuid[])`
  return dueOf(rows)
}

async function reckonInMemory(
  db: Sql,
  r: Rehearsal,
  day: Day,
  inForce: RulesInForce,
  also: readonly string[],
): Promise<number> {
  const onFile = await db.$queryRaw<{ id: string }[]>`
    select distinct watch_id as id from obligation where reckon_anew_on <= ${day}::date`
  const ids = [
    ...new Set([
      ...onFile.map((row) => row.id).filter((id) => !r.anew.has(id)),
      ...[...r.anew].filter(([, on]) => on !== null && on <= day).map(([id]) => id),
      ...also,
    ]),
  ].sort()
  for (let i = 0; i < ids.length; i += BATCH) {
    const batch = ids.slice(i, i + BATCH)
    const before = await standingBefore(db, batch)
    for (const id of batch) {
      const rehearsed = r.memory.obligations.get(id)
      if (rehearsed)
        before.set(
          id,
          rehearsed.map((row) => beforeOf(row, r.next.get(itemKey(row.watchId, row.kind)) ?? null, day)),
        )
    }
    const rows = await reckonedRows(db, batch, day, before, { inForce })
    for (const id of batch) {
      r.memory.obligations.set(id, [])
      r.anew.set(id, null)
    }
    for (const row of rows) {
      const again = r.anew.get(row.watch_id) ?? null
      if (row.reckon_anew_on !== null && (again === null || row.reckon_anew_on < again))
        r.anew.set(row.watch_id, row.reckon_anew_on)
      if (row.rule === null) continue
      r.memory.obligations.get(row.watch_id)?.push(keptRow(row))
      r.next.set(itemKey(row.watch_id, row.kind), row.next_notice_on)
    }
  }
  return ids.length
}

/** An obligation with what its cycle is compared by. */
export type KeptRow = ObligationRow & { baseUntil: Day | null }

export const keptRow = (row: ReckonedRow): KeptRow => ({
  watchId: row.watch_id,
  kind: row.kind,
  rule: row.rule as ObligationRow['rule'],
  baseOn: row.base_on,
  baseFrom: row.base_from ?? 'none',
  baseUntil: row.base_until,
  months: row.months,
  dueOn: row.due_on as Day,
  noticesDueOn: row.notices_due_on as Day,
  comingUpFrom: row.coming_up_from as Day,
  overdueFrom: row.overdue_from,
  stopOn: row.stop_on,
  cycle: row.cycle as string,
  warnings: row.warnings,
  nextNoticeOn: row.next_notice_on,
})

export const beforeOf = (row: ObligationRow, nextNoticeOn: Day | null, day: Day): Before => ({
  kind: row.kind,
  rule: row.rule,
  cycle: row.cycle,
  baseOn: row.baseOn,
  baseUntil: (row as Partial<KeptRow>).baseUntil ?? row.baseOn,
  noticesDueOn: row.noticesDueOn,
  stopOn: row.stopOn,
  nextNoticeOn,
  reckonedOn: addDays(day, -1),
})
