import type { Day } from '../../domain/day.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { gasketMayBeFitted } from '../../domain/stock/gaskets.ts'
import { gradeOf } from '../../domain/stock/life.ts'
import { skillOf } from '../../domain/tickets/benches.ts'
import type { WorkClassName } from '../../domain/tickets/classes.ts'
import { itemItFits } from '../cell-lots/fit.ts'
import { cellNeedOf } from '../cell-lots/needs.ts'
import { type Lot, readLots } from '../stock-entries/lots.ts'
import { lifeRulesOf, stockRulesOn } from '../stock-entries/rules.ts'
import { listTools } from '../tools/tools.ts'
import type { Desk } from './desk.ts'
import type { Loaded } from './snapshot.ts'

export type KitSaid = {
  designationRight: boolean
  cell: 'none' | 'full' | 'short' | 'not-to-be-fitted'
  shortLifeNote: boolean
  gasketsInLife: boolean
  toolsInDate: boolean
  benchHasSkill: boolean
  bench: string
  tools: string[]
  /** what lies in the kit: the line it is for, and its lot or why that is not known */
  parts: { line?: string; what?: string; lot?: string; lotUnknownBecause?: string }[]
}

/** Work on strap and case alone is measured with no tool that has a certificate. */
const withoutTools: ReadonlySet<string> = new Set(['strap', 'case'])

/**
 * What was said of a kit against what is on file of its bench, tools and lots: said to be right it is so only where the
 * file does not say otherwise. What nobody may pass (a piece that does not fit, is blocked or too old) is refused at once.
 */
export async function checkedKit(desk: Desk, ticket: Loaded, said: KitSaid) {
  const { tx, today } = desk
  const workClass = (ticket.rows.ticket.work_class as WorkClassName | null) ?? null
  const known = new Set(ticket.rows.estimates?.at(-1)?.lines?.map((line) => line.id))
  const strange = said.parts.findIndex((part) => part.line !== undefined && !known.has(part.line))
  if (strange >= 0) throw faulty([`/parts/${strange}/line`, 'is no line of the newest version'])

  const bench = await tx.bench.findUnique({ where: { id: said.bench } })
  if (!bench)
    throw new Refusal('not-found', { what: 'bench', id: said.bench }, [{ pointer: '/bench', detail: 'is not on file' }])
  const skilled = workClass === null ? bench.skills.length > 0 : bench.skills.includes(skillOf[workClass])

  if (said.toolsInDate && said.tools.length === 0 && !withoutTools.has(workClass ?? ''))
    throw faulty(['/tools', 'is empty: name the tools that are said to be in calibration'])
  const onFile =
    said.tools.length === 0 ? [] : (await listTools(tx, today)).filter((tool) => said.tools.includes(tool.id))
  const filed = new Set(onFile.map((tool) => tool.id))
  const missing = said.tools.findIndex((id) => !filed.has(id))
  if (missing >= 0)
    throw new Refusal('not-found', { what: 'tool', id: said.tools[missing] }, [
      { pointer: `/tools/${missing}`, detail: 'is not on file' },
    ])

  const lots = await readLots(
    tx,
    said.parts.flatMap((part) => (part.lot === undefined ? [] : [part.lot])),
  )
  for (const [i, part] of said.parts.entries()) {
    const lot = lots.find((one) => one.id === part.lot)
    if (lot) refusePiece(lot, today, `/parts/${i}/lot`)
  }
  const cells = lots.filter((lot) => lot.what === 'cell')
  if (said.cell !== 'none' && cells.length === 0 && !said.parts.some((part) => part.lotUnknownBecause !== undefined))
    throw faulty(['/parts', 'name no lot of the cell, nor why it is not known'])
  return {
    ...said,
    cell: cells.length === 0 ? said.cell : await gradeOfCells(desk, String(ticket.rows.watch.id), cells),
    toolsInDate: said.toolsInDate && onFile.every((tool) => tool.inDate),
    benchHasSkill: said.benchHasSkill && skilled,
    benchName: bench.name,
    lines: said.parts.flatMap((part) => (part.line === undefined ? [] : [part.line])),
  }
}

/** A piece that may not be fitted today: blocked, or past its storage life. */
function refusePiece(lot: Lot, today: Day, pointer: string): void {
  const at = [{ pointer, detail: 'may not be fitted' }]
  if (lot.blocked !== null) throw new Refusal('lot-blocked', { lotId: lot.id, because: lot.blocked }, at)
  if (lot.what === 'gasket' && !gasketMayBeFitted({ end: lot.goodThrough, blocked: false }, today))
    throw new Refusal('gasket-past-storage-life', { lotId: lot.id, storageEnd: lot.goodThrough }, at)
  if (lot.what === 'part' && lot.goodThrough !== null && lot.goodThrough < today)
    throw new Refusal('part-past-its-use', { lotId: lot.id, useBy: lot.goodThrough }, at)
}

/** The grade of the worst cell, for this watch on this day. */
async function gradeOfCells({ tx, today }: Desk, watchId: string, cells: readonly Lot[]) {
  const need = await cellNeedOf(tx, watchId, today)
  const life = lifeRulesOf(await stockRulesOn(tx, today))
  const grades: string[] = []
  for (const lot of cells) {
    await itemItFits(tx, need, lot)
    const grade = lot.listedOn ? 'not-to-be-fitted' : gradeOf(today, need.intervalMonths, lot.goodThrough as Day, life)
    if (grade === 'not-to-be-fitted')
      throw new Refusal('lot-not-to-be-fitted', { lotId: lot.id, bestBefore: lot.goodThrough })
    grades.push(grade)
  }
  return grades.includes('short-life') ? ('short' as const) : ('full' as const)
}
