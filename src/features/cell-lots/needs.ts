import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import type { WatchKind } from '../../domain/reckoning/facts.ts'
import { Refusal } from '../../domain/refusals.ts'
import { canonicalDesignation } from '../../domain/stock/sizes.ts'
import { rulesInForce } from '../house-rules/house-rules.ts'
import { factsOf } from '../obligations/facts.ts'

/** What cell a watch takes: of an unknown calibre nothing is known, and the person who asks must say it. */
export type CellNeed = {
  kind: WatchKind
  designation: string | null
  cells: number
  /** months to the next change: the maker's lower end in force, else the house rule */
  intervalMonths: number
}

/** Refuses a primary cell for a rechargeable, and any for a watch that has none: one never takes the other. */
export function refuseWrongCell(kind: WatchKind, energy: string | undefined): void {
  if (kind === 'rechargeable-quartz' || energy === 'rechargeable') throw new Refusal('never-a-primary-cell')
  if (kind === 'hand-wound' || kind === 'self-winding' || kind === 'spring-quartz') throw new Refusal('takes-no-cell')
}

export async function cellNeedOf(db: Db, watchId: string, on: Day): Promise<CellNeed> {
  const [file] = await factsOf(db, [watchId], on)
  if (!file) throw new Refusal('not-found', { what: 'watch', id: watchId })
  const [calibre] = await db.$queryRaw<{ designation: string | null; cells: number; energy: string }[]>`
    select c.cell_designation as designation, c.cell_count as cells, c.energy
    from movement m join calibre c on c.id = m.calibre_id
    where m.watch_id = ${watchId}::uuid and m.from_day <= ${on}::date
      and not exists (select from strike s where s.fact_id = m.id)
    order by m.from_day desc, m.id desc limit 1`
  const { kind } = file.facts.watch
  refuseWrongCell(kind, calibre?.energy)
  let interval: { months: number; inForceFrom: Day } | null = null
  for (const row of file.facts.guidance ?? []) {
    if (row.obligation !== 'cell-change' || row.inForceFrom > on || (row.learned ?? row.inForceFrom) > on) continue
    if (interval === null || row.inForceFrom >= interval.inForceFrom) interval = row
  }
  const { rules } = await rulesInForce(db, on)
  return {
    kind,
    designation: calibre?.designation ? canonicalDesignation(calibre.designation) : null,
    cells: calibre?.cells ?? 0,
    intervalMonths: interval?.months ?? rules.cellMonths,
  }
}

/** The designations of a watch's calibre and of what is wanted must be the same, under any of their codes. */
export function refuseMisfit(need: CellNeed, wanted: readonly { name: string; itemId: string }[]): void {
  if (need.designation === null) return
  const stranger = wanted.find((item) => item.name !== need.designation)
  if (stranger) {
    throw new Refusal('designation-does-not-fit', { wanted: stranger.name, fits: need.designation })
  }
}
