import type { Sql } from '../../db/sql.ts'
import type { Day } from '../../domain/day.ts'
import { codesFor } from '../../domain/reckoning/doubts.ts'
import { obligationKinds } from '../../domain/reckoning/facts.ts'
import { reckonAndKeep } from '../../domain/reckoning/reckon.ts'
import { Prisma } from '../../generated/prisma/client.ts'
import { type RulesInForce, rulesInForce } from '../house-rules/house-rules.ts'
import { type Before, type Calls, lettersOf, noteCall, settleCalls } from '../notices/decide-rewrite.ts'
import { type FactsRead, filesOf, readFacts, type WatchOnFile } from './facts.ts'
import { type Stored, storedObligations, textOf } from './stored.ts'

/**
 * Locks watches in the order of their ids before a fact of theirs is written, so that of two facts recorded at once the
 * second reckons with the first. Watches that do not exist are simply not among the ids returned.
 */
export async function lockWatches(tx: Sql, watchIds: readonly string[]): Promise<Set<string>> {
  const rows = await tx.$queryRaw<{ id: string }[]>`
    select id from watch where id = any(${[...new Set(watchIds)]}::uuid[]) order by id for no key update`
  return new Set(rows.map((row) => row.id))
}

export type RewriteOptions = {
  inForce?: RulesInForce
  /** the fact replaces a mistaken one: the cycle may then keep its name */
  correcting?: boolean
  /** the days of letters themselves have changed: what may be written about is looked at anew, moved or not */
  lettersAnew?: boolean
}

type Reckoning = RewriteOptions & { inForce: RulesInForce }

/** What the rows of these watches come to, reckoned from their facts and not written: the nightly rehearsal goes no further. */
export async function reckonedRows(
  db: Sql,
  watchIds: readonly string[],
  today: Day,
  before: ReadonlyMap<string, readonly Before[]>,
  options: Reckoning,
): Promise<ObligationRow[]> {
  const files = filesOf(await readFacts(db, watchIds, today))
  return [...files].flatMap((file) => rowsOf(file, before.get(file.watchId) ?? [], today, options))
}

/** One row a kind, whether it arises or not. */
export function rowsOf(
  file: WatchOnFile,
  before: readonly Before[],
  today: Day,
  { inForce, correcting, lettersAnew }: Reckoning,
) {
  const { answer, keeping } = reckonAndKeep(file.facts, inForce.rules, today, { rulesFrom: inForce.rulesFrom })
  const letters = lettersOf(answer.obligations, keeping, before, {
    inForce,
    today,
    corrected: correcting ?? false,
    anew: lettersAnew ?? false,
  })
  return obligationKinds.map((kind, index) => {
    const due = answer.obligations.find((obligation) => obligation.kind === kind)
    const kept = keeping[index]
    return {
      watch_id: file.watchId,
      kind,
      because: answer.without.find((without) => without.kind === kind)?.because ?? null,
      rule: due?.rule ?? null,
      base_on: due?.baseOn ?? null,
      base_from: due?.baseFrom ?? null,
      base_until: kept?.baseLastOn ?? null,
      event_on: kept?.eventOn ?? null,
      last_word_on: kept?.lastWordOn ?? null,
      notices_by: kept?.noticesBy ?? null,
      months: due?.months ?? null,
      due_on: due?.dueOn ?? null,
      notices_due_on: due?.noticesDueOn ?? null,
      coming_up_from: due?.comingUpFrom ?? null,
      overdue_from: due?.overdueFrom ?? null,
      stop_on: due?.stopOn ?? null,
      cycle: letters.get(kind)?.cycle ?? null,
      warnings: codesFor(kind, answer.warnings, file.facts.history),
      next_notice_on: letters.get(kind)?.nextNoticeOn ?? null,
      reconsider_on: kept?.reconsiderOn ?? null,
      reckon_anew_on: kept?.reckonAnewOn ?? null,
    }
  })
}

export type ObligationRow = ReturnType<typeof rowsOf>[number]

/** What is kept of an obligation beside its watch and kind, with the types of the columns. */
const columns = {
  because: 'text',
  rule: 'text',
  base_on: 'date',
  base_from: 'text',
  base_until: 'date',
  event_on: 'date',
  last_word_on: 'date',
  notices_by: 'text',
  months: 'int',
  due_on: 'date',
  notices_due_on: 'date',
  coming_up_from: 'date',
  overdue_from: 'date',
  stop_on: 'date',
  cycle: 'text',
  warnings: 'text[]',
  next_notice_on: 'date',
  reconsider_on: 'date',
  reckon_anew_on: 'date',
} as const satisfies Record<Exclude<keyof ObligationRow, 'watch_id' | 'kind'>, string>

const names = Prisma.raw(Object.keys(columns).join(', '))
const values = Prisma.raw(
  Object.keys(columns)
    .map((name) => `r.${name}`)
    .join(', '),
)
const shape = Prisma.raw(
  ['watch_id uuid', 'kind text', ...Object.entries(columns).map(([name, type]) => `${name} ${type}`)].join(', '),
)

// of so many watches at a time what was read is held; a watch that is reckoned is let go before the next is opened
const AT_A_TIME = 250

/**
 * Reckons watches from their facts and rewrites those obligations that came out otherwise, in the caller's transaction:
 * the one that recorded the fact, the nightly run's, or a re-reckoning's. The watches must be locked. Returns how many
 * watches have an obligation that moved.
 */
export async function rewriteObligations(
  tx: Sql,
  watchIds: readonly string[],
  today: Day,
  options: RewriteOptions = {},
): Promise<{ moved: number }> {
  const inForce = options.inForce ?? (await rulesInForce(tx, today))
  let moved = 0
  for (let from = 0; from < watchIds.length; from += AT_A_TIME) {
    const ids = watchIds.slice(from, from + AT_A_TIME)
    const stored = await storedObligations(tx, ids)
    const due = toWrite(stored, await readFacts(tx, ids, today), today, { ...options, inForce })
    await settleCalls(tx, due.calls)
    if (due.known !== null)
      await tx.$executeRaw`
        update obligation o set (${names}, reckoned_on, reckoned_at) = (${values}, ${today}::date, now())
        from json_to_recordset(${due.known}::json) as r (${shape}) where o.watch_id = r.watch_id and o.kind = r.kind`
    if (due.fresh !== null)
      await tx.$executeRaw`
        insert into obligation (watch_id, kind, ${names}, reckoned_on)
        select r.watch_id, r.kind, ${values}, ${today}::date from json_to_recordset(${due.fresh}::json) as r (${shape})`
    moved += due.moved
  }
  return { moved }
}

function toWrite(stored: ReadonlyMap<string, Stored>, facts: readonly FactsRead[], today: Day, options: Reckoning) {
  const known: string[] = []
  const fresh: string[] = []
  const calls: Calls = { fresh: [], ended: [] }
  let moved = 0
  for (const file of filesOf(facts)) {
    const was = stored.get(file.watchId)
    const rows = rowsOf(file, was?.before ?? [], today, options)
    const other = rows.filter((row) => was?.texts.get(row.kind) !== textOf(row))
    for (const row of other) (was?.texts.has(row.kind) ? known : fresh).push(JSON.stringify(row))
    if (other.length > 0) moved++
    noteCall(calls, rows, was?.before ?? [], today)
  }
  const json = (rows: readonly string[]) => (rows.length === 0 ? null : `[${rows.join()}]`)
  return { calls, known: json(known), fresh: json(fresh), moved }
}
