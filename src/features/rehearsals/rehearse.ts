import type { Database, Db } from '../../db/open.ts'
import { addDays, type Day } from '../../domain/day.ts'
import type { LocalSettingKey, LocalSettings } from '../../domain/local-settings.ts'
import { cycleOf } from '../../domain/notices/cycles.ts'
import { numberOfStage } from '../../domain/notices/rounds.ts'
import type { Answer } from '../../domain/reckoning/answer.ts'
import { type GuidanceFact, type ObligationKind, obligationKinds } from '../../domain/reckoning/facts.ts'
import { reckonAndKeep } from '../../domain/reckoning/reckon.ts'
import { letterDaysOf } from '../../domain/reckoning/windows.ts'
import {
  letterDaysAhead,
  mondayOf,
  newTally,
  type Rehearsed,
  shiftEdges,
  type Tally,
  tally,
} from '../../domain/rehearsal.ts'
import { type RulesInForce, rulesInForce } from '../house-rules/house-rules.ts'
import type { Before } from '../notices/decide-rewrite.ts'
import { factsOf, type WatchOnFile } from '../obligations/facts.ts'
import { storedObligations } from '../obligations/stored.ts'
import { type DatesScope, nextWatches } from '../re-reckonings/scope.ts'

/** A change that is only thought of: which watches, from which day, and what would be different. */
export type Thought = {
  scope: DatesScope
  on: Day
  weeks: number
  rules: (rules: RulesInForce) => RulesInForce
  guidance?: GuidanceFact | undefined
}

const BATCH = 1000

/**
 * Reckons the watches a change would touch twice, as the rules will stand on its day and with the change, and answers
 * with sums. One read-only transaction sees one state of the book throughout; nothing is written.
 */
export async function rehearse(database: Database, thought: Thought) {
  return database.prisma.$transaction(
    async (tx) => {
      await tx.$executeRaw`set transaction read only`
      const now = await rulesInForce(tx, thought.on)
      const sums = newTally(thought.weeks)
      let after: string | null = null
      for (;;) {
        const ids = await nextWatches(tx, thought.scope, after, BATCH)
        await rehearseBatch(tx, ids, thought, now, sums)
        if (ids.length < BATCH) break
        after = ids.at(-1) ?? null
      }
      return told(sums, thought, now.local)
    },
    { isolationLevel: 'RepeatableRead', timeout: 900_000 },
  )
}

const firstDayAfter = ({ on, weeks }: Thought): Day => addDays(mondayOf(on), 7 * weeks)

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
  const stored = await storedObligations(tx, ids)
  const booked = await bookedStages(tx, ids)
  const cells = await cellsOf(tx, ids)
  for (const file of files) {
    const side = (inForce: RulesInForce, facts: WatchOnFile['facts']) => {
      const { answer, keeping } = reckonAndKeep(facts, inForce.rules, on, { rulesFrom: inForce.rulesFrom })
      const before = stored.get(file.watchId)?.before ?? []
      const days = answer.obligations.flatMap((obligation) => {
        const letterDays = letterDaysOf(obligation, inForce.rules)
        if (letterDays.length === 0) return []
        const kept = keeping.find((row) => row.kind === obligation.kind)
        const was: Before | null = before.find((row) => row.kind === obligation.kind) ?? null
        const cycle = cycleOf(
          { ...obligation, noticesBy: kept?.noticesBy ?? null, eventOn: kept?.eventOn ?? null },
          was,
          false,
        )
        const reach = addDays(letterDays[0] as Day, -now.notices.rules.roundReachDays)
        return letterDaysAhead(
          obligation,
          letterDays,
          highestIn(booked.get(file.watchId), obligation.kind, cycle, reach),
          on,
        )
      })
      return { answer, days }
    }
    const was = side(now, file.facts)
    const will = side(
      then,
      thought.guidance ? { ...file.facts, guidance: [...(file.facts.guidance ?? []), thought.guidance] } : file.facts,
    )
    const watch: Rehearsed = {
      before: was.answer,
      after: will.answer,
      letters: { before: was.days, after: will.days },
      cell: hasCell(was.answer) || hasCell(will.answer) ? (cells.get(file.watchId) ?? unknownCell) : null,
    }
    tally(sums, watch, on, until)
  }
}

const hasCell = (answer: Answer) => answer.obligations.some((o) => o.kind === 'cell-change')
const unknownCell = { designation: 'unknown', pieces: 1 }

type BookedRow = {
  watchId: string
  kind: ObligationKind
  cycle: string
  round: Day
  stage: string
  runOn: Day
  booked: string
}

async function bookedStages(tx: Db, ids: readonly string[]): Promise<Map<string, BookedRow[]>> {
  const rows = await tx.$queryRaw<BookedRow[]>`
    select watch_id as "watchId", kind, cycle, round::text as round, stage, run_on::text as "runOn", booked from notice_item
    where watch_id = any(${[...ids]}::uuid[]) and key_taken and booked <> 'rider' order by id`
  const byWatch = new Map<string, BookedRow[]>()
  for (const row of rows) {
    const known = byWatch.get(row.watchId)
    if (known) known.push(row)
    else byWatch.set(row.watchId, [row])
  }
  return byWatch
}

/** The highest stage of the running round: that of the last letter of the cycle that went not long before, or later. */
function highestIn(rows: readonly BookedRow[] | undefined, kind: ObligationKind, cycle: string, reach: Day): number {
  const own = rows?.filter((row) => row.kind === kind && row.cycle === cycle) ?? []
  const round = own.findLast((row) => row.booked === 'letter' && row.runOn >= reach)?.round
  return own.reduce((most, row) => (row.round === round ? Math.max(most, numberOfStage(row.stage)) : most), 0)
}

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

/** The local settings that say how long a job takes on the bench; without one the hours of its kind cannot be told. */
const minutesOf = {
  'complete-service': 'completeServiceMinutes',
  'water-check': 'waterCheckMinutes',
  'cell-change': 'cellChangeMinutes',
  seals: 'sealsMinutes',
} as const satisfies Record<ObligationKind, LocalSettingKey>

const hours = (jobs: number, minutes: number | null) =>
  minutes === null ? null : Math.round((jobs * minutes) / 6) / 10

function told(sums: Tally, thought: Thought, local: LocalSettings) {
  const monday = mondayOf(thought.on)
  const bench = obligationKinds.map((kind) => {
    const minutes = local[minutesOf[kind]]
    const { work } = sums.kinds[kind]
    return {
      kind,
      jobsBefore: work.before,
      jobsAfter: work.after,
      minutes,
      hoursBefore: hours(work.before, minutes),
      hoursAfter: hours(work.after, minutes),
    }
  })
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
    letterDays: sums.letterDays.map((week, index) => ({ week: addDays(monday, 7 * index), ...week })),
    cells: [...sums.cells]
      .sort(([a], [b]) => (a < b ? -1 : 1))
      .map(([designation, pieces]) => ({ designation, ...pieces })),
    bench,
    missing: bench.filter((row) => row.minutes === null).map((row) => minutesOf[row.kind]),
  }
}
