import { setImmediate as breathe } from 'node:timers/promises'
import type { Sql } from '../../db/sql.ts'
import { addDays, type Day, daysBetween } from '../../domain/day.ts'
import type { GuidanceFact } from '../../domain/reckoning/facts.ts'
import { mondayOf, type Sums } from '../../domain/rehearsal.ts'
import { Prisma } from '../../generated/prisma/client.ts'
import { type RulesInForce, rulesInForce } from '../house-rules/house-rules.ts'
import type { KeptRow } from '../notices/decide-night.ts'
import { type Parts, readOwnerRows } from '../notices/decide-read.ts'
import { factsOf, type WatchOnFile } from '../obligations/facts.ts'
import { type DatesScope, watchesSql } from '../re-reckonings/scope.ts'
import { type Course, letterDaysOf, type OwnerAhead } from './letters-ahead.ts'

/** A change that is only thought of, as far as letters ask. */
export type LettersThought = {
  /** the watches it touches; null for a rule of the letters, which touches whoever is written to */
  scope: DatesScope | null
  /** the rule, where a later value of it is on file already */
  key: string | null
  today: Day
  on: Day
  until: Day
  rules: (rules: RulesInForce) => RulesInForce
  guidance?: GuidanceFact | undefined
}

export type LettersByWeek = {
  /** owners of the watches touched; for a rule of the letters, of all watches with something due */
  owners: number
  /** so many of them were walked night by night, with the change and without */
  lookedAt: number
  /** all of them were; else `weeks` is counted up from those looked at, chosen by their ids as if drawn by lot */
  exact: boolean
  weeks: ({ week: Day } & Sums)[]
}

// so many owners are walked whatever the centre: some seconds, and a share of one in a hundred still shows
const OWNERS = 10_000
const BATCH = 100
// after so many owners whoever else waits for this process has a turn
const TURN = 20

/**
 * The letters that would go, by week, from the next night on: each owner's nights are walked twice from what is on file.
 * A batch of owners is read and held at a time.
 */
export async function lettersByWeek(db: Sql, thought: LettersThought, limit = OWNERS): Promise<LettersByWeek> {
  const { today, on, until } = thought
  const found = await people(db, thought.scope, limit)
  const from = await nextNight(db, today)
  const plain = await plainCourse(db, from, until)
  const monday = mondayOf(on)
  const sums = Array.from({ length: Math.ceil(daysBetween(monday, until) / 7) }, (): Sums => ({ before: 0, after: 0 }))
  for (let i = 0; i < found.ids.length; i += BATCH) {
    const ids = found.ids.slice(i, i + BATCH)
    const batch = await readAhead(db, ids, today, addDays(until, -1))
    const touched = thought.guidance ? await touchedOf(db, thought.scope as DatesScope, batch) : null
    const changed = thoughtCourse(plain, thought, from, touched)
    for (const [n, owner] of batch.entries()) {
      if (n % TURN === TURN - 1) await breathe()
      for (const [side, course] of [
        ['before', plain],
        ['after', changed],
      ] as const)
        for (const day of letterDaysOf(owner, course, from, until)) {
          const week = sums[Math.floor(daysBetween(monday, day) / 7)]
          if (week) week[side]++
        }
    }
  }
  const lookedAt = found.ids.length
  const up = (n: number) => (lookedAt === 0 ? 0 : Math.round((n * found.owners) / lookedAt))
  return {
    owners: found.owners,
    lookedAt,
    exact: lookedAt === found.owners,
    weeks: sums.map(({ before, after }, n) => ({ week: addDays(monday, 7 * n), before: up(before), after: up(after) })),
  }
}

async function people(db: Sql, scope: DatesScope | null, limit: number): Promise<{ owners: number; ids: string[] }> {
  const touched = scope
    ? watchesSql(scope, null)
    : Prisma.sql`select distinct watch_id as id from obligation where rule is not null and kind <> 'seals'`
  const rows = await db.$queryRaw<{ owners: number; id: string }[]>`
    with touched as (${touched}), people as materialized (
      select distinct coalesce(k.merged_into, k.id) as id from touched join watch w on w.id = touched.id join owner k on k.id = w.owner_id)
    select (select count(*)::int from people) as owners, id from people order by md5(id::text), id limit ${limit}`
  return { owners: rows[0]?.owners ?? 0, ids: rows.map((row) => row.id).sort() }
}

/** Tonight, or tomorrow where tonight's is on file. */
async function nextNight(db: Sql, today: Day): Promise<Day> {
  const done = await db.$queryRaw<unknown[]>`
    select 1 from nightly_run where job = 'nightly' and local_date = ${today}::date and state <> 'running'`
  return done.length > 0 ? addDays(today, 1) : today
}

/** As it will go if nothing is changed: rules dated ahead come on their days, and re-reckonings that wait are carried out. */
type PlainCourse = Course & { starts: readonly Day[]; laterValues: ReadonlyMap<string, readonly Day[]> }

async function plainCourse(db: Sql, from: Day, until: Day): Promise<PlainCourse> {
  const dated = await db.$queryRaw<{ key: string; day: Day }[]>`
    select distinct key, from_day::text as day from house_rule where from_day > ${from}::date and from_day < ${until}::date order by day, key`
  const waiting = await db.$queryRaw<{ day: Day }[]>`
    select distinct greatest(from_day, ${from}::date)::text as day from re_reckoning
    where state <> 'finished' and from_day < ${until}::date order by day`
  const starts = [from, ...new Set(dated.map((row) => row.day))]
  const rules = new Map<Day, RulesInForce>()
  for (const day of starts) rules.set(day, await rulesInForce(db, day))
  const laterValues = new Map<string, Day[]>()
  for (const { key, day } of dated) laterValues.set(key, [...(laterValues.get(key) ?? []), day])
  return {
    starts,
    laterValues,
    inForce: (day) => rules.get(starts.findLast((start) => start <= day) ?? from) as RulesInForce,
    changes: waiting.map((row) => row.day),
    guidance: () => undefined,
  }
}

/** The same with the change: in force from its day until a later value of the same rule that is on file already. */
function thoughtCourse(
  plain: PlainCourse,
  { key, on, rules, guidance }: LettersThought,
  from: Day,
  touched: ReadonlySet<string> | null,
): Course {
  const begins = on > from ? on : from
  const ends = (key === null ? [] : (plain.laterValues.get(key) ?? [])).find((day) => day > on) ?? null
  const changed = new Map<RulesInForce, RulesInForce>()
  return {
    inForce: (day) => {
      const now = plain.inForce(day)
      if (day < begins || (ends !== null && day >= ends)) return now
      const then = changed.get(now) ?? rules(now)
      changed.set(now, then)
      return then
    },
    // what the maker says is known at once, and counts from its day
    changes: [...new Set([...plain.changes, begins, ...(guidance ? [from] : [])])].sort(),
    guidance: (watchId) => (touched?.has(watchId) ? guidance : undefined),
  }
}

async function touchedOf(db: Sql, scope: DatesScope, batch: readonly OwnerAhead[]): Promise<Set<string>> {
  const ids = batch.flatMap((owner) => owner.watches.map((watch) => watch.watchId))
  const rows = await db.$queryRaw<{ id: string }[]>`
    select id from (${watchesSql(scope, null)}) touched where id = any(${ids}::uuid[])`
  return new Set(rows.map((row) => row.id))
}

async function readAhead(db: Sql, ownerIds: readonly string[], today: Day, lastDay: Day): Promise<OwnerAhead[]> {
  const { owners, watches, parts } = await readOwnerRows(db, ownerIds, [], today)
  const watchIds = watches.map((watch) => watch.watchId)
  const obligations = await standing(db, watchIds)
  // facts that count only from a later day are read, too; the reckoning leaves them out until then
  const files = new Map((await factsOf(db, watchIds, lastDay)).map((file) => [file.watchId, file]))
  const booked = new Map<string, Parts['booked']>()
  for (const row of parts.booked) booked.set(row.watchId, [...(booked.get(row.watchId) ?? []), row])
  return owners.map((owner): OwnerAhead => {
    const own = watches.filter((watch) => watch.recordId !== null && owner.members.includes(watch.recordId))
    return {
      owner,
      watches: own,
      obligations,
      files: own.map((watch) => files.get(watch.watchId)).filter((file): file is WatchOnFile => file !== undefined),
      parts: { ...parts, booked: own.flatMap((watch) => booked.get(watch.watchId) ?? []) },
    }
  })
}

type StandingRow = KeptRow & { anewOn: Day | null }

async function standing(db: Sql, watchIds: readonly string[]): Promise<OwnerAhead['obligations']> {
  const rows = await db.$queryRaw<StandingRow[]>`
    select watch_id as "watchId", kind, rule, base_on::text as "baseOn", base_until::text as "baseUntil", coalesce(base_from, 'none') as "baseFrom",
      months, due_on::text as "dueOn", notices_due_on::text as "noticesDueOn", coming_up_from::text as "comingUpFrom",
      overdue_from::text as "overdueFrom", stop_on::text as "stopOn", cycle, warnings, next_notice_on::text as "nextNoticeOn",
      reckon_anew_on::text as "anewOn"
    from obligation where watch_id = any(${[...watchIds]}::uuid[])
    order by watch_id, array_position(array['complete-service', 'water-check', 'cell-change', 'seals'], kind)`
  const byWatch = new Map<string, { rows: KeptRow[]; anewOn: Day | null }>()
  for (const row of rows) {
    const known = byWatch.get(row.watchId) ?? { rows: [], anewOn: null }
    byWatch.set(row.watchId, known)
    if (row.rule !== null) known.rows.push(row)
    if (row.anewOn !== null && (known.anewOn === null || row.anewOn < known.anewOn)) known.anewOn = row.anewOn
  }
  return byWatch
}
