import { v7 as uuidv7 } from 'uuid'
import { type Db, dateOf } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { type Money, refuseCurrency, refuseSharedPlace } from '../cell-lots/cell-lots.ts'
import { refuseDay, writeEntry } from '../stock-entries/entries.ts'
import { takeOrRefuse } from '../stock-entries/issue.ts'
import { type Lot, lockLot, lotColumns, readLot, shownLot } from '../stock-entries/lots.ts'
import { lifeRulesOf, stockRulesOn } from '../stock-entries/rules.ts'
import { watchFor } from '../stock-entries/tickets.ts'

/** Other traceable parts by the same ledger: crowns, crystals, movements with a serial, oils with a last day of use. */
export const partKinds = [
  'crown',
  'tube',
  'crystal',
  'pusher',
  'movement',
  'oil',
  'grease',
  'epilame',
  'glue',
  'other',
] as const
export type PartKind = (typeof partKinds)[number]

export async function addPart({ tx, who }: Act, input: { name: string; partKind: PartKind }): Promise<Created> {
  if (await tx.stockItem.findFirst({ where: { what: 'part', name: input.name } }))
    throw new Refusal('item-known', { name: input.name })
  const row = await tx.stockItem.create({ data: { what: 'part', written: input.name, ...input, createdBy: who.name } })
  return { location: `/v1/parts/${row.id}`, body: { id: row.id, ...input } }
}

export async function listParts(db: Db, after: string | null, limit: number) {
  const where = { what: 'part', ...(after && { name: { gt: after } }) }
  const rows = await db.stockItem.findMany({ where, orderBy: { name: 'asc' }, take: limit + 1 })
  return rows.map((row) => ({ id: row.id, name: row.name, partKind: row.partKind as PartKind }))
}

async function findPart(db: Db, id: string) {
  const row = await db.stockItem.findUnique({ where: { id } })
  if (row?.what !== 'part') throw new Refusal('not-found', { what: 'part', id })
  return row
}

export type NewPartLot = {
  partId: string
  lotNumber?: string | undefined
  serial?: string | undefined
  supplier: string
  receivedOn?: Day | undefined
  pieces: number
  unitCost: Money
  useBy?: Day | undefined
  storagePlace: string
}

export async function receiveParts(act: Act, input: NewPartLot, currency: string): Promise<Created> {
  const { tx, today, who } = act
  const part = await findPart(tx, input.partId)
  refuseCurrency(input.unitCost, currency, '/unitCost')
  const receivedOn = input.receivedOn ?? today
  refuseDay({ receivedOn, name: part.name }, receivedOn, today, '/receivedOn')
  if (input.useBy !== undefined && input.useBy <= receivedOn)
    throw faulty(['/useBy', `must lie after the receipt, ${receivedOn}`])
  if (input.serial !== undefined && input.pieces !== 1)
    throw faulty(['/pieces', 'must be 1: a part with a serial is a lot of its own'])
  await refuseSharedPlace(tx, input.storagePlace)
  const id = uuidv7()
  await tx.stockLot.create({
    data: {
      id,
      itemId: part.id,
      goodThrough: input.useBy ? dateOf(input.useBy) : null,
      goodThroughFrom: input.useBy ? 'day' : 'none',
      receivedOn: dateOf(receivedOn),
      unitCost: input.unitCost.amount,
      currency,
      lotNumber: input.lotNumber ?? null,
      serial: input.serial ?? null,
      supplier: input.supplier,
      storagePlace: input.storagePlace,
      createdBy: who.name,
    },
  })
  await tx.$queryRaw`select 1 from stock_item where id = ${part.id}::uuid for no key update`
  await writeEntry(act, { lotId: id, kind: 'received', pieces: input.pieces, on: receivedOn })
  return { location: `/v1/part-lots/${id}`, body: await showPartLot(tx, id) }
}

const shownPartLot = (lot: Lot) => ({ ...shownLot(lot), serial: lot.serial })
export const showPartLot = async (db: Db, id: string) => shownPartLot(await readLot(db, id, 'part'))

export async function listPartLots(db: Db, partId: string | undefined, after: string | null, limit: number) {
  const lots = await db.$queryRaw<Lot[]>`
    select ${lotColumns} from stock_lot l join stock_item i on i.id = l.item_id
    where i.what = 'part' and (${after}::uuid is null or l.id > ${after}::uuid)
      and (${partId ?? null}::uuid is null or l.item_id = ${partId ?? null}::uuid)
    order by l.id limit ${limit + 1}`
  return lots.map(shownPartLot)
}

export type PartIssue = { partId: string; pieces: number; watchId?: string | undefined; ticketId?: string | undefined }

export async function issueParts(act: Act, input: PartIssue): Promise<Created> {
  const part = await findPart(act.tx, input.partId)
  const taken = await takeOrRefuse(act, {
    kind: 'issued',
    what: 'part',
    wants: [{ itemId: part.id, pieces: input.pieces }],
    intervalMonths: 0,
    rules: lifeRulesOf(await stockRulesOn(act.tx, act.today)),
    shortLifeBy: null,
    ticketId: input.ticketId,
    watchId: await watchFor(act.tx, input),
  })
  return {
    body: {
      parts: taken.map(({ entryId, lotId, pieces, goodThrough }) => ({ entryId, lotId, pieces, useBy: goodThrough })),
    },
  }
}

export type PartFitting = {
  lotId: string
  pieces: number
  watchId: string
  ticketId?: string | undefined
  on?: Day | undefined
  note?: string | undefined
}

/** Parts out at the bench go into a watch; which work that was is the ticket's record. */
export async function fitPart(act: Act, input: PartFitting): Promise<Created> {
  await watchFor(act.tx, input)
  const lot = await lockLot(act.tx, input.lotId, 'part')
  const on = input.on ?? act.today
  refuseDay(lot, on, act.today)
  if (lot.blocked) throw new Refusal('lot-blocked', { lotId: lot.id, because: lot.blocked })
  if (input.pieces > lot.bench) throw new Refusal('stock-below-zero', { place: 'out at the bench', there: lot.bench })
  const { lotId, pieces, watchId, ticketId, note } = input
  const entryId = await writeEntry(act, { lotId, kind: 'fitted', pieces, on, watchId, ticketId, reason: note })
  return { location: `/v1/stock-entries/${entryId}`, body: { entryId } }
}
