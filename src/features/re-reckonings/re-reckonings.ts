import { type Db, dateOf, dayFrom } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { Refusal } from '../../domain/refusals.ts'
import type { Act } from '../../http/service.ts'
import { lockWatches, rewriteObligations } from '../obligations/rewrite.ts'
import { forgetForecasts } from '../reports/demand.ts'
import { type DatesScope, movesLetterDays, nextWatches } from './scope.ts'

// so many watches are reckoned within the request that changed a rule of theirs; a larger number is left to the job
const AT_ONCE = 200

export type Started = { id: string; fromDay: Day; watchesAtOnce: number | null }

/**
 * Notes that a change touches watches, to be reckoned anew when its day has come. A few are reckoned at once as well, so
 * that whoever made the change sees what came of it; the job goes over them again, for the sake of what was being recorded
 * at the same moment.
 */
export async function startReReckoning(
  { tx, today, who }: Act,
  because: { houseRuleId: string } | { guidanceId: string } | { calibreId: string },
  /** null: a rule of the letters, which moves no date; who may be written to sooner is found on its day */
  scope: DatesScope | null,
  fromDay: Day,
): Promise<Started> {
  const row = await tx.reReckoning.create({
    data: { ...because, fromDay: dateOf(fromDay > today ? fromDay : today), madeBy: who.name },
  })
  // what the maker will say from a day on is known today: the day itself is then one to reckon anew
  const now = fromDay <= today || 'guidanceId' in because
  const ids = now && scope ? await nextWatches(tx, scope, null, AT_ONCE + 1) : null
  const atOnce = ids !== null && ids.length <= AT_ONCE
  if (atOnce && ids.length > 0) {
    await lockWatches(tx, ids)
    const { moved } = await rewriteObligations(tx, ids, today, {
      lettersAnew: scope !== null && movesLetterDays(scope),
    })
    if (moved > 0) await forgetForecasts(tx)
  }
  return { id: row.id, fromDay: dayFrom(row.fromDay), watchesAtOnce: atOnce ? ids.length : null }
}

type Row = Awaited<ReturnType<Db['reReckoning']['findUniqueOrThrow']>>

const shown = (row: Row) => ({
  id: row.id,
  houseRuleId: row.houseRuleId,
  guidanceId: row.guidanceId,
  calibreId: row.calibreId,
  fromDay: dayFrom(row.fromDay),
  state: row.state,
  done: row.done,
  total: row.total,
  moved: row.moved,
  madeAt: row.madeAt.toISOString(),
  madeBy: row.madeBy,
  startedAt: row.startedAt?.toISOString() ?? null,
  finishedAt: row.finishedAt?.toISOString() ?? null,
})

/** Re-reckonings with their progress, the newest first. */
export async function listReReckonings(db: Db, after: readonly string[] | null, limit: number) {
  const rows = await db.reReckoning.findMany({
    where: { ...(after && { id: { lt: String(after[0]) } }) },
    orderBy: { id: 'desc' },
    take: limit + 1,
  })
  return rows.map(shown)
}

export async function getReReckoning(db: Db, id: string) {
  const row = await db.reReckoning.findUnique({ where: { id } })
  if (!row) throw new Refusal('not-found', { what: 're-reckoning', id })
  return shown(row)
}
