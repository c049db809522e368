import { addDays, type Day } from '../../domain/day.ts'
import { decideLetters } from '../../domain/notices/decide.ts'
import { isQuietDay } from '../../domain/notices/notice-rules.ts'
import type { GuidanceFact } from '../../domain/reckoning/facts.ts'
import { guaranteeEnd } from '../../domain/tickets/guarantee.ts'
import type { RulesInForce } from '../house-rules/house-rules.ts'
import { beforeOf, type KeptRow, keptRow, remember } from '../notices/decide-night.ts'
import { assemble, emptyMemory, type OwnerRow, type Parts, type WatchRow } from '../notices/decide-read.ts'
import type { WatchOnFile } from '../obligations/facts.ts'
import { rowsOf } from '../obligations/rewrite.ts'

/** One owner with all that his letters hang on, as it is on file: nothing more is read while his nights are walked. */
export type OwnerAhead = {
  owner: OwnerRow
  watches: readonly WatchRow[]
  /** by watch: what stands, and the day it must be reckoned anew */
  obligations: ReadonlyMap<string, { rows: readonly KeptRow[]; anewOn: Day | null }>
  files: readonly WatchOnFile[]
  parts: Parts
}

/** The rules of each day, and the days on which they change something: then all is reckoned and looked at anew. */
export type Course = {
  inForce: (day: Day) => RulesInForce
  changes: readonly Day[]
  /** what the maker would say of this watch beside what he says */
  guidance: (watchId: string) => GuidanceFact | undefined
}

type Item = { watchId: string; row: KeptRow; next: Day | null }

/**
 * The days of the letters one owner would get from the night of `from` to that before `until`, if nothing more were told:
 * the same reckoning, rewriting and decision as the nights, each going on from the last; only days on which something is
 * to be looked at are walked. Nothing is read and nothing is written.
 */
export function letterDaysOf(o: OwnerAhead, course: Course, from: Day, until: Day): Day[] {
  const days: Day[] = []
  const memory = emptyMemory()
  const items = new Map<string, Item[]>()
  const anew = new Map<string, Day | null>()
  for (const { watchId } of o.watches) {
    const stored = o.obligations.get(watchId)
    items.set(
      watchId,
      (stored?.rows ?? []).map((row) => ({ watchId, row, next: row.nextNoticeOn })),
    )
    anew.set(watchId, stored?.anewOn ?? null)
  }
  const all = () => [...items.values()].flat()
  const ends = o.watches.flatMap(({ watchId }) =>
    (o.parts.guarantees.get(watchId) ?? []).flatMap((g) => {
      const lastDay = guaranteeEnd(g.startsOn, g.months, g.days)
      return lastDay === null ? [] : [{ watchId, lastDay }]
    }),
  )

  const reckon = (file: WatchOnFile, day: Day, inForce: RulesInForce, lettersAnew: boolean) => {
    const more = course.guidance(file.watchId)
    const facts = more ? { ...file.facts, guidance: [...(file.facts.guidance ?? []), more] } : file.facts
    const before = (items.get(file.watchId) ?? []).map(({ row, next }) => beforeOf(row, next, day))
    const rows = rowsOf({ ...file, facts }, before, day, { inForce, lettersAnew })
    const again = rows.flatMap((row) => row.reckon_anew_on ?? []).sort()
    anew.set(file.watchId, again[0] ?? null)
    items.set(
      file.watchId,
      rows.flatMap((row) =>
        row.rule === null ? [] : [{ watchId: file.watchId, row: keptRow(row), next: row.next_notice_on }],
      ),
    )
  }
  const untold = (day: Day, inForce: RulesInForce) => {
    const { guaranteeOwnLetter, guaranteeLeadDays } = inForce.notices.rules
    if (guaranteeOwnLetter !== 1) return []
    return ends
      .filter(
        (end) =>
          end.lastDay >= day &&
          (items.get(end.watchId) ?? []).some(({ row }) => row.kind === 'complete-service') &&
          ![...o.parts.booked, ...memory.booked].some(
            (b) => b.watchId === end.watchId && b.kind === 'guarantee' && b.cycle === `until:${end.lastDay}`,
          ),
      )
      .map((end) => addDays(end.lastDay, -guaranteeLeadDays))
  }

  for (let day: Day | undefined = from; day !== undefined && day < until; ) {
    const today: Day = day
    const inForce = course.inForce(today)
    const changed = course.changes.includes(today)
    for (const file of o.files) {
      const due = anew.get(file.watchId) ?? null
      if (changed || (due !== null && due <= today)) reckon(file, today, inForce, changed)
    }
    const reached = all().some(({ next }) => next !== null && next <= today)
    const look = changed || reached || untold(today, inForce).some((first) => first <= today)
    if (look && !isQuietDay(today, inForce.notices.rules)) {
      const obligations = new Map([...items].map(([id, list]) => [id, list.map(({ row }) => row)]))
      const { basisUntil } = o.owner
      const lawfulBasisMissing = o.owner.lawfulBasisMissing || (basisUntil != null && basisUntil < today)
      const rows = {
        owners: [{ ...o.owner, lawfulBasisMissing }],
        watches: [...o.watches],
        obligations,
        parts: o.parts,
      }
      const [state] = assemble(rows, inForce.rules, memory)
      if (state) {
        const decision = decideLetters(state, inForce.notices, today)
        for (const item of all()) item.next = null
        for (const { watchId, kind, nextNoticeOn } of decision.next) {
          const item = items.get(watchId)?.find(({ row }) => row.kind === kind)
          if (item) item.next = nextNoticeOn
        }
        remember(memory, decision, today)
        if (decision.letter !== null) days.push(today)
      }
    }
    const coming: Day[] = [
      ...all().flatMap(({ next }) => next ?? []),
      ...[...anew.values()].flatMap((on) => on ?? []),
      ...untold(today, inForce),
      ...course.changes.filter((change) => change > today),
    ]
    const tomorrow = addDays(today, 1)
    day = coming.map((on) => (on > today ? on : tomorrow)).sort()[0]
  }
  return days
}
