import type { Sql } from '../../db/sql.ts'
import type { Day } from '../../domain/day.ts'
import { cycleOf } from '../../domain/notices/cycles.ts'
import { moved, nextNoticeOn, type Reckoned } from '../../domain/notices/next.ts'
import type { Obligation, Rule } from '../../domain/reckoning/answer.ts'
import type { ObligationKind } from '../../domain/reckoning/facts.ts'
import type { Keeping } from '../../domain/reckoning/reconsider.ts'
import { letterDaysOf } from '../../domain/reckoning/windows.ts'
import type { RulesInForce } from '../house-rules/house-rules.ts'

/** An obligation as it stood before a fact was recorded: its cycle goes on from here. */
export type Before = {
  kind: ObligationKind
  rule: Rule
  cycle: string
  baseOn: Day | null
  baseUntil: Day | null
  noticesDueOn: Day
  stopOn: Day | null
  nextNoticeOn: Day | null
  reckonedOn: Day
}

export async function standingBefore(tx: Sql, watchIds: readonly string[]): Promise<Map<string, Before[]>> {
  const rows = await tx.$queryRaw<(Before & { watchId: string })[]>`
    select watch_id as "watchId", kind, rule, cycle, base_on::text as "baseOn", base_until::text as "baseUntil",
           notices_due_on::text as "noticesDueOn", stop_on::text as "stopOn", next_notice_on::text as "nextNoticeOn",
           reckoned_on::text as "reckonedOn"
    from obligation where watch_id = any(${[...watchIds]}::uuid[]) and rule is not null`
  const byWatch = new Map<string, Before[]>()
  for (const { watchId, ...row } of rows) {
    const known = byWatch.get(watchId)
    if (known) known.push(row)
    else byWatch.set(watchId, [row])
  }
  return byWatch
}

/**
 * For each obligation of one watch the name of its cycle, and the day the nightly run must look at it. Where anything
 * of the watch moved, or the days of letters changed, its letters are looked at anew: folding hangs together.
 */
export function lettersOf(
  obligations: readonly Obligation[],
  keeping: readonly Keeping[],
  before: readonly Before[],
  by: { inForce: RulesInForce; today: Day; corrected: boolean; anew: boolean },
): Map<ObligationKind, { cycle: string; nextNoticeOn: Day | null }> {
  const { inForce, today, corrected, anew } = by
  const pairs = obligations.map((obligation) => {
    const was = before.find((row) => row.kind === obligation.kind) ?? null
    const kept = keeping.find((row) => row.kind === obligation.kind)
    const cycle = cycleOf(
      { ...obligation, noticesBy: kept?.noticesBy ?? null, eventOn: kept?.eventOn ?? null },
      was,
      corrected,
    )
    const now: Reckoned = {
      kind: obligation.kind,
      rule: obligation.rule,
      cycle,
      noticesDueOn: obligation.noticesDueOn,
      stopOn: obligation.stopOn,
      firstLetterOn: letterDaysOf(obligation, inForce.rules)[0] ?? null,
    }
    return { now, was }
  })
  const watchMoved =
    anew || before.length !== obligations.length || pairs.some(({ now, was }) => was === null || moved(now, was))
  return new Map(
    pairs.map(({ now, was }) => [
      now.kind,
      { cycle: now.cycle, nextNoticeOn: nextNoticeOn(now, was, watchMoved, inForce.notices, today) },
    ]),
  )
}

const cellSigns = ['leaking', 'spent', 'end-of-life']

type CellRow = {
  watch_id: string
  kind: string
  rule: string | null
  notices_due_on: string | null
  overdue_from: string | null
  stop_on: string | null
}
export type Calls = { fresh: CellRow[]; ended: string[] }

/** Notes whether the counter must now call the owner of this watch about its cell, or need not any more. */
export function noteCall(calls: Calls, rows: readonly CellRow[], before: readonly Before[], today: Day): void {
  const row = rows.find((one) => one.kind === 'cell-change')
  if (!row) return
  const was = before.find((one) => one.kind === 'cell-change')
  const signed = row.rule !== null && cellSigns.includes(row.rule) && row.stop_on !== null && row.stop_on > today
  if (!signed) {
    if (was && cellSigns.includes(was.rule)) calls.ended.push(row.watch_id)
  } else if (!was || was.rule !== row.rule || was.noticesDueOn !== row.notices_due_on) {
    const { watch_id, kind, rule, notices_due_on, overdue_from, stop_on } = row
    calls.fresh.push({ watch_id, kind, rule, notices_due_on, overdue_from, stop_on })
  }
}

/**
 * A leaking or dead cell, or its end-of-life sign: the counter calls the owner first, so the task is made in the
 * transaction that records the sign. Where the sign no longer stands, an open task closes by itself.
 */
export async function settleCalls(tx: Sql, { fresh, ended }: Calls): Promise<void> {
  if (ended.length > 0)
    await tx.$executeRaw`
      update task set done_at = now(), done_by = 'service', done_how = 'the sign no longer stands'
      where watch_id = any(${ended}::uuid[]) and kind = 'call-about-cell' and done_at is null`
  if (fresh.length > 0)
    await tx.$executeRaw`
      insert into task (kind, role, dedupe, owner_id, watch_id, words, due_on)
      select 'call-about-cell', 'counter', 'call-about-cell:' || r.watch_id || ':' || r.notices_due_on, watch.owner_id, watch.id,
        case r.rule when 'leaking' then 'Call today: the cell of this watch leaks; it should come out '
          when 'spent' then 'Call: the cell of this watch is spent; it should come out '
          else 'Call: the cell of this watch shows that it will soon be spent; it should be changed ' end
        -- the last day before it is overdue by the house's own number
        || case r.overdue_from - r.notices_due_on - 1 when 1 then 'within a day.'
          else case when r.overdue_from - r.notices_due_on > 1
            then 'within ' || (r.overdue_from - r.notices_due_on - 1) || ' days.' else 'at once.' end end,
        r.notices_due_on
      from jsonb_to_recordset(${JSON.stringify(fresh)}::jsonb) as r (watch_id uuid, rule text, notices_due_on date, overdue_from date)
      join watch on watch.id = r.watch_id and watch.owner_id is not null and not watch.in_house
      on conflict do nothing`
}
