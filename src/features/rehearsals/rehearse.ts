import { setImmediate as breathe } from 'node:timers/promises'
import { type Database, type Db, violationOf } from '../../db/open.ts'
import { addDays, type Day } from '../../domain/day.ts'
import type { LocalSettings } from '../../domain/local-settings.ts'
import type { Answer } from '../../domain/reckoning/answer.ts'
import { type GuidanceFact, obligationKinds } from '../../domain/reckoning/facts.ts'
import { reckonAndKeep } from '../../domain/reckoning/reckon.ts'
import { Refusal } from '../../domain/refusals.ts'
import {
  type Drive,
  mondayOf,
  newTally,
  type Rehearsed,
  shiftEdges,
  type Tally,
  tally,
} from '../../domain/rehearsal.ts'
import { type RulesInForce, rulesInForce } from '../house-rules/house-rules.ts'
import { factsOf, type WatchOnFile } from '../obligations/facts.ts'
import { type DatesScope, nextWatches } from '../re-reckonings/scope.ts'
import { benchOf, missingOf, operationsOn } from './minutes.ts'
import { type LettersByWeek, lettersByWeek } from './rehearse-letters.ts'

/** A change that is only thought of: which watches, from which day, and what would be different. */
export type Thought = {
  /** null: a rule of the letters, which moves no date */
  scope: DatesScope | null
  key: string | null
  today: Day
  on: Day
  weeks: number
  rules: (rules: RulesInForce) => RulesInForce
  guidance?: GuidanceFact | undefined
}

const BATCH = 1000
// no statement of a rehearsal is worth more than this; a centre takes its letters and bookings meanwhile
const STATEMENT_SECONDS = 120
const MINUTES = 14

/**
 * Reckons the watches a change would touch twice, as the rules will stand on its day and with the change, walks the
 * nights of their owners twice, and answers with sums. One read-only transaction sees one state of the book throughout;
 * nothing is written. `owners` is the number up to which every owner is walked.
 */
export async function rehearse(database: Database, thought: Thought, owners?: number) {
  return readingOnly(database, async (tx) => {
    const now = await rulesInForce(tx, thought.on)
    const sums = newTally()
    const { scope } = thought
    for (let after: string | null = null; scope !== null; ) {
      const ids: string[] = await nextWatches(tx, scope, after, BATCH)
      await rehearseBatch(tx, ids, thought, now, sums)
      if (ids.length < BATCH) break
      after = ids.at(-1) ?? null
    }
    const until = firstDayAfter(thought)
    const letters = await lettersByWeek(tx, { ...thought, until }, owners)
    return told(sums, thought, letters, await operationsOn(tx, thought.on), now.local)
  })
}

/** One state of the book, read for a long while and never written; what takes too long is said so, not waited for. */
export async function readingOnly<T>(database: Database, work: (tx: Db) => Promise<T>): Promise<T> {
  try {
    return await database.prisma.$transaction(
      async (tx) => {
        await tx.$executeRaw`set transaction read only`
        await tx.$executeRawUnsafe(`set local statement_timeout = '${STATEMENT_SECONDS}s'`)
        return work(tx)
      },
      { isolationLevel: 'RepeatableRead', timeout: MINUTES * 60_000 },
    )
  } catch (error) {
    // query_canceled, or the transaction as a whole
    if (violationOf(error).state === '57014' || (error as { code?: string }).code === 'P2028')
      throw new Refusal('rehearsal-too-long', { minutes: MINUTES })
    throw error
  }
}

export const firstDayAfter = ({ on, weeks }: Pick<Thought, 'on' | 'weeks'>): Day => addDays(mondayOf(on), 7 * weeks)

async function rehearseBatch(
  tx: Db,
  ids: readonly string[],
  thought: Thought,
  now: RulesInForce,
  sums: Tally,
): Promise<void> {
  if (ids.length === 0) return
  const { on } = thought
  const then = thought.rules(now)
  const until = firstDayAfter(thought)
  const files = await factsOf(tx, ids, on)
  const cells = await cellsOf(tx, ids)
  await breathe()
  for (const file of files) {
    const reckoned = ({ rules, rulesFrom }: RulesInForce, facts: WatchOnFile['facts']) =>
      reckonAndKeep(facts, rules, on, { rulesFrom }).answer
    const before = reckoned(now, file.facts)
    const after = reckoned(
      then,
      thought.guidance ? { ...file.facts, guidance: [...(file.facts.guidance ?? []), thought.guidance] } : file.facts,
    )
    const watch: Rehearsed = {
      before,
      after,
      drive: driveOf(file),
      cell: hasCell(before) || hasCell(after) ? (cells.get(file.watchId) ?? unknownCell) : null,
    }
    tally(sums, watch, on, until)
  }
}

const driveOf = ({ facts }: WatchOnFile): Drive =>
  facts.watch.kind === 'hand-wound' || facts.watch.kind === 'self-winding' || facts.watch.kind === 'spring-quartz'
    ? 'mechanical'
    : 'quartz'
const hasCell = (answer: Answer) => answer.obligations.some((o) => o.kind === 'cell-change')
const unknownCell = { designation: 'unknown', pieces: 1 }

async function cellsOf(tx: Db, ids: readonly string[]) {
  const rows = await tx.$queryRaw<{ id: string; designation: string | null; pieces: number }[]>`
    select distinct on (m.watch_id) m.watch_id as id, c.cell_designation as designation, greatest(c.cell_count, 1) as pieces
    from movement m join calibre c on c.id = m.calibre_id
    where m.watch_id = any(${[...ids]}::uuid[]) and not exists (select from strike where fact_id = m.id)
    order by m.watch_id, m.from_day desc, m.id desc`
  return new Map(
    rows.map(({ id, designation, pieces }) => [id, { designation: designation ?? unknownCell.designation, pieces }]),
  )
}

/** What a rule answers that moves neither dates nor letters. */
export function nothingMoves(thought: Pick<Thought, 'on' | 'weeks'>) {
  const monday = mondayOf(thought.on)
  const weeks = Array.from({ length: thought.weeks }, (_, n) => ({ week: addDays(monday, 7 * n), before: 0, after: 0 }))
  return told(newTally(), thought, { owners: 0, lookedAt: 0, exact: true, weeks }, [], null)
}

function told(
  sums: Tally,
  thought: Pick<Thought, 'on' | 'weeks'>,
  letters: LettersByWeek,
  operations: Awaited<ReturnType<typeof operationsOn>>,
  local: LocalSettings | null,
) {
  const bench = local ? obligationKinds.flatMap((kind) => benchOf(kind, sums.kinds[kind].work, operations, local)) : []
  return {
    on: thought.on,
    until: firstDayAfter(thought),
    watches: { touched: sums.touched, moved: sums.moved },
    kinds: obligationKinds.map((kind) => {
      const { moved, arises, ends, shifts, earliest, latest, standings } = sums.kinds[kind]
      return {
        kind,
        moved,
        arises,
        ends,
        earliestByDays: earliest,
        latestByDays: latest,
        shifts: shiftEdges.map(([from, to], index) => ({
          fromDays: from,
          toDays: to,
          watches: shifts[index] as number,
        })),
        standings: [...standings].sort(([a], [b]) => (a < b ? -1 : 1)).map(([standing, n]) => ({ standing, ...n })),
      }
    }),
    letters,
    cells: [...sums.cells]
      .sort(([a], [b]) => (a < b ? -1 : 1))
      .map(([designation, pieces]) => ({ designation, ...pieces })),
    bench,
    missing: bench.filter((row) => row.minutes === null).map(missingOf),
  }
}
