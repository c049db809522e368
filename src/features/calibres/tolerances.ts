import type { Db } from '../../db/open.ts'
import { Refusal } from '../../domain/refusals.ts'

/** What the maker was said to allow for a calibre, the oldest word first; the newest counts. */
export async function listTolerances(db: Db, calibreId: string, after: string | null, limit: number) {
  if (!(await db.calibre.findUnique({ where: { id: calibreId }, select: { id: true } })))
    throw new Refusal('not-found', { what: 'calibre', id: calibreId })
  const newest = await db.calibreTolerance.findFirst({
    where: { calibreId },
    orderBy: { id: 'desc' },
    select: { id: true },
  })
  const rows = await db.calibreTolerance.findMany({
    where: { calibreId, ...(after !== null && { id: { gt: after } }) },
    orderBy: { id: 'asc' },
    take: limit + 1,
  })
  return rows.map((row) => ({
    id: row.id,
    limits: row.limits as Record<string, number | null>,
    sourcePaper: row.sourcePaper,
    counts: row.id === newest?.id,
    recordedAt: row.recordedAt.toISOString(),
    by: row.recordedBy,
  }))
}
