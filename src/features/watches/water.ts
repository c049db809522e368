import type { Db } from '../../db/open.ts'
import type { PartialDay } from '../../domain/day.ts'
import type { ClaimMark } from '../../domain/reckoning/facts.ts'
import { openingEvents, signsOfTrouble } from '../../domain/reckoning/water-check.ts'
import { type WaterStanding, waterStanding } from '../../domain/water-standing.ts'

/** How a watch stands with water now, by what is on record and not struck. */
export async function waterNow(
  db: Db,
  watch: { id: string; claimMarked: string },
  struck: ReadonlySet<string>,
): Promise<WaterStanding> {
  const rows = await db.watchEvent.findMany({
    where: {
      watchId: watch.id,
      OR: [
        { event: { in: ['water-test', 'water-claim-withdrawn', ...openingEvents] } },
        { event: 'sign', sign: { in: [...signsOfTrouble] } },
      ],
    },
    orderBy: { id: 'asc' },
  })
  return waterStanding(
    watch.claimMarked as ClaimMark,
    rows
      .filter((row) => !struck.has(row.id))
      .map((row) => ({ ...row, happened: row.happened as PartialDay, bar: row.bar?.toNumber() ?? null })),
  )
}
