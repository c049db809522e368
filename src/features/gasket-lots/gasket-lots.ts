import { type Db, dateOf, dayFrom } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import {
  type GasketMaterial,
  gasketMaterials,
  gasketMayBeFitted,
  type Inspection,
  lastDayOfQuarter,
  storageLife,
} from '../../domain/stock/gaskets.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { recordFacts } from '../facts/facts.ts'
import { obligationsSummary } from '../obligations/obligations.ts'
import { lockWatches } from '../obligations/rewrite.ts'
import { refuseDay, refuseFitting, writeEntry } from '../stock-entries/entries.ts'
import { type IssueOfOne, issueOfOne } from '../stock-entries/issue.ts'
import { type Delivered, receiveLot, setBlock } from '../stock-entries/keeping.ts'
import { type Lot, lockLot, lockLots, lotColumns, readLot, shownLot } from '../stock-entries/lots.ts'
import { watchFor } from '../stock-entries/tickets.ts'

export type NewGasketKind = {
  name: string
  innerMm?: number | undefined
  cordMm?: number | undefined
  profile?: string | undefined
  material: GasketMaterial
}

type ItemRow = Awaited<ReturnType<Db['stockItem']['findMany']>>[number]
export const shownKind = (row: ItemRow) => ({
  id: row.id,
  name: row.name,
  innerMm: row.innerMm === null ? null : Number(row.innerMm),
  cordMm: row.cordMm === null ? null : Number(row.cordMm),
  profile: row.profile,
  material: row.material as GasketMaterial,
  group: gasketMaterials[row.material as GasketMaterial],
})

/** One size in one material: gaskets of another material are another kind, never a substitute. */
export async function addGasketKind({ tx, who }: Act, input: NewGasketKind): Promise<Created> {
  if (input.profile === undefined && (input.innerMm === undefined || input.cordMm === undefined)) {
    throw faulty(['/innerMm', 'is needed with cordMm, or a profile'])
  }
  if (gasketMaterials[input.material] === 'old')
    throw new Refusal('gasket-not-fitted-new', { material: input.material })
  if (await tx.stockItem.findFirst({ where: { what: 'gasket', name: input.name } })) {
    throw new Refusal('item-known', { name: input.name })
  }
  const row = await tx.stockItem.create({
    data: {
      what: 'gasket',
      name: input.name,
      written: input.name,
      innerMm: input.innerMm ?? null,
      cordMm: input.cordMm ?? null,
      profile: input.profile ?? null,
      material: input.material,
      createdBy: who.name,
    },
  })
  return { location: `/v1/gasket-kinds/${row.id}`, body: shownKind(row) }
}

export async function findGasketKind(db: Db, id: string): Promise<ItemRow> {
  const row = await db.stockItem.findUnique({ where: { id } })
  if (row?.what !== 'gasket') throw new Refusal('not-found', { what: 'gasket kind', id })
  return row
}

export async function listGasketKinds(db: Db, after: string | null, limit: number) {
  const where = { what: 'gasket', ...(after && { name: { gt: after } }) }
  return (await db.stockItem.findMany({ where, orderBy: { name: 'asc' }, take: limit + 1 })).map(shownKind)
}

export type NewGasketLot = Delivered & { kindId: string; cureQuarter?: string | undefined }

/** The end of storage life is reckoned from the quarter of cure; it is never typed. */
export async function receiveGaskets(act: Act, input: NewGasketLot, currency: string): Promise<Created> {
  const { tx, today } = act
  const kind = await findGasketKind(tx, input.kindId)
  const material = kind.material as GasketMaterial
  const receivedOn = input.receivedOn ?? today
  const limited = gasketMaterials[material] !== 'none'
  const cured = input.cureQuarter === undefined ? null : lastDayOfQuarter(input.cureQuarter)
  if (input.cureQuarter !== undefined && cured === null) throw faulty(['/cureQuarter', 'must be a quarter as 3Q2019'])
  if (limited && cured === null) throw faulty(['/cureQuarter', `is needed: ${material} has a limited storage life`])
  if (input.cureQuarter && firstDayOf(input.cureQuarter) > receivedOn)
    throw faulty(['/cureQuarter', `lies after the receipt, ${receivedOn}`])
  const { end } = storageLife(cured, material, [])
  const id = await receiveLot(act, kind, input, currency, {
    goodThrough: end === null ? null : dateOf(end),
    goodThroughFrom: end === null ? 'none' : 'cure',
    cureQuarter: input.cureQuarter ?? null,
    curedOn: cured === null ? null : dateOf(cured),
  })
  return { location: `/v1/gasket-lots/${id}`, body: await showGasketLot(tx, id, today) }
}

const firstDayOf = (quarter: string) => `${quarter.slice(2)}-${String(Number(quarter[0]) * 3 - 2).padStart(2, '0')}-01`

async function inspectionsOf(
  db: Db,
  lotId: string,
): Promise<(Inspection & { id: string; finding: string; recordedBy: string })[]> {
  const rows = await db.gasketInspection.findMany({ where: { lotId }, orderBy: { id: 'asc' } })
  return rows.map((row) => ({
    id: row.id,
    on: dayFrom(row.inspectedOn),
    purpose: row.purpose as Inspection['purpose'],
    passed: row.passed,
    finding: row.finding,
    recordedBy: row.recordedBy,
  }))
}

const aged = (lot: Lot, today: Day) => ({
  ...shownLot(lot),
  material: lot.material as GasketMaterial,
  group: gasketMaterials[lot.material as GasketMaterial],
  cureQuarter: lot.cureQuarter,
  storageEnd: lot.goodThrough,
  mayBeFitted: gasketMayBeFitted({ end: lot.goodThrough, blocked: lot.blocked !== null }, today),
})

export async function showGasketLot(db: Db, id: string, today: Day) {
  const lot = await readLot(db, id, 'gasket')
  const inspections = await inspectionsOf(db, id)
  const life = storageLife(lot.curedOn, lot.material as GasketMaterial, inspections)
  return {
    ...aged(lot, today),
    initialEnd: life.initialEnd,
    extendedEnd: life.extendedEnd,
    extended: life.extended,
    inspections,
  }
}

export async function listGasketLots(
  db: Db,
  filter: { kindId?: string | undefined; onShelf?: boolean | undefined; past?: boolean | undefined },
  after: string | null,
  limit: number,
  today: Day,
) {
  const lots = await db.$queryRaw<Lot[]>`
    select ${lotColumns} from stock_lot l join stock_item i on i.id = l.item_id
    where i.what = 'gasket' and (${after}::uuid is null or l.id > ${after}::uuid)
      and (${filter.kindId ?? null}::uuid is null or l.item_id = ${filter.kindId ?? null}::uuid)
      and (${filter.onShelf ?? null}::boolean is null or (l.shelf > 0) = ${filter.onShelf ?? null}::boolean)
      and (${filter.past ?? null}::boolean is null or (l.good_through is not null and l.good_through < ${today}::date) = ${filter.past ?? null}::boolean)
    order by l.id limit ${limit + 1}`
  return lots.map((lot) => aged(lot, today))
}

export type NewInspection = { on?: Day | undefined; purpose: 'extension' | 'release'; passed: boolean; finding: string }

/** One extension only, counted from the end of the initial life; a lot that fails is blocked, one stored hot is set free without a new date. */
export async function inspectGaskets(act: Act, lotId: string, input: NewInspection): Promise<Created> {
  const { tx, today, who } = act
  const lot = await lockLot(tx, lotId, 'gasket')
  const on = input.on ?? today
  refuseDay(lot, on, today)
  const before = storageLife(lot.curedOn, lot.material as GasketMaterial, await inspectionsOf(tx, lotId))
  if (input.purpose === 'extension') {
    if (before.initialEnd === null)
      throw new Refusal('gasket-not-extended', { why: 'its material has no limit of storage life' })
    if (before.extended)
      throw new Refusal('gasket-not-extended', { why: 'it was extended before, and one extension is all there is' })
    if (on > (before.extendedEnd as Day))
      throw new Refusal('gasket-not-extended', { why: `even the extended life ended on ${before.extendedEnd}` })
  } else if (lot.blocked !== 'stored-hot' && lot.blocked !== 'in-sunlight') throw new Refusal('lot-not-blocked')
  await tx.gasketInspection.create({
    data: {
      lotId,
      inspectedOn: dateOf(on),
      purpose: input.purpose,
      passed: input.passed,
      finding: input.finding,
      recordedBy: who.name,
    },
  })
  const { end } = storageLife(lot.curedOn, lot.material as GasketMaterial, await inspectionsOf(tx, lotId))
  if (end !== lot.goodThrough && end !== null) {
    await tx.$executeRaw`update stock_lot set good_through = ${end}::date, version = version + 1 where id = ${lotId}::uuid`
  }
  if (!input.passed) await setBlock(act, lotId, 'inspection-failed', input.finding, 'blocked')
  else if (input.purpose === 'release') await setBlock(act, lotId, lot.blocked as string, input.finding, 'released')
  return { location: `/v1/gasket-lots/${lotId}`, body: await showGasketLot(tx, lotId, today) }
}

export async function issueGaskets(act: Act, input: { kindId: string } & IssueOfOne): Promise<Created> {
  const kind = await findGasketKind(act.tx, input.kindId)
  const taken = await issueOfOne(act, 'gasket', kind.id, input)
  return { body: { gaskets: taken.map(({ goodThrough, ...one }) => ({ ...one, storageEnd: goodThrough })) } }
}

export type GasketFitting = {
  watchId: string
  ticketId?: string | undefined
  on?: Day | undefined
  gaskets: readonly { lotId: string; pieces: number; position: string }[]
}

/**
 * Gaskets out at the bench go into a watch: entries, the seals-replaced fact and the new dates are the caller's one
 * transaction. A lot past its storage life or blocked opens no gate, and nobody can override that.
 */
export async function fitGasket(act: Act, input: GasketFitting): Promise<Created> {
  const { tx, today } = act
  const on = input.on ?? today
  await watchFor(tx, input)
  if (!(await lockWatches(tx, [input.watchId])).has(input.watchId))
    throw new Refusal('not-found', { what: 'watch', id: input.watchId })
  const lots = await lockLots(
    tx,
    input.gaskets.map((gasket) => gasket.lotId),
    'gasket',
  )
  const wanted = new Map<string, number>()
  for (const [index, { lotId, pieces }] of input.gaskets.entries()) {
    const lot = lots.find((one) => one.id === lotId) as Lot
    wanted.set(lotId, (wanted.get(lotId) ?? 0) + pieces)
    refuseFitting(lot, wanted.get(lotId) as number, on, today, `/gaskets/${index}/pieces`)
    if (!gasketMayBeFitted({ end: lot.goodThrough, blocked: false }, on)) {
      throw new Refusal('gasket-past-storage-life', { lotId, storageEnd: lot.goodThrough })
    }
  }
  const note = input.gaskets.map(({ position }) => position).join(', ')
  const { eventIds } = await recordFacts(act, {
    events: [
      {
        event: 'seals-replaced',
        on: on as never,
        source: 'own-record',
        watchId: input.watchId,
        ticketId: input.ticketId,
        note,
      },
    ],
  })
  const eventId = eventIds[0] as string
  const entryIds: string[] = []
  for (const { lotId, pieces, position } of input.gaskets) {
    const { watchId, ticketId } = input
    entryIds.push(
      await writeEntry(act, { lotId, kind: 'fitted', pieces, on, watchId, ticketId, eventId, reason: position }),
    )
  }
  return {
    location: `/v1/watches/${input.watchId}/events`,
    body: { eventId, entryIds, ...(await obligationsSummary(tx, input.watchId, today)) },
  }
}
