import { type Db, dateOf } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { refuseFitting, writeEntry } from '../stock-entries/entries.ts'
import { type IssueOfOne, issueOfOne } from '../stock-entries/issue.ts'
import { type Delivered, receiveLot } from '../stock-entries/keeping.ts'
import { type Lot, lockLot, lotColumns, readLot, shownLot } from '../stock-entries/lots.ts'
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
  return rows.map(shownPart)
}

const shownPart = (row: { id: string; name: string; partKind: string | null }) => ({
  id: row.id,
  name: row.name,
  partKind: row.partKind as PartKind,
})
export const showPart = async (db: Db, id: string) => shownPart(await findPart(db, id))

async function findPart(db: Db, id: string) {
  const row = await db.stockItem.findUnique({ where: { id } })
  if (row?.what !== 'part') throw new Refusal('not-found', { what: 'part', id })
  return row
}

export type NewPartLot = Omit<Delivered, 'maxCelsius'> & {
  partId: string
  serial?: string | undefined
  useBy?: Day | undefined
}

export async function receiveParts(act: Act, input: NewPartLot, currency: string): Promise<Created> {
  const part = await findPart(act.tx, input.partId)
  const receivedOn = input.receivedOn ?? act.today
  if (input.useBy !== undefined && input.useBy <= receivedOn)
    throw faulty(['/useBy', `must lie after the receipt, ${receivedOn}`])
  if (input.serial !== undefined && input.pieces !== 1)
    throw faulty(['/pieces', 'must be 1: a part with a serial is a lot of its own'])
  const id = await receiveLot(act, part, input, currency, {
    goodThrough: input.useBy ? dateOf(input.useBy) : null,
    goodThroughFrom: input.useBy ? 'day' : 'none',
    serial: input.serial ?? null,
  })
  return { location: `/v1/part-lots/${id}`, body: await showPartLot(act.tx, id) }
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

export async function issueParts(act: Act, input: { partId: string } & IssueOfOne): Promise<Created> {
  const part = await findPart(act.tx, input.partId)
  const taken = await issueOfOne(act, 'part', part.id, input)
  return { body: { parts: taken.map(({ goodThrough, ...one }) => ({ ...one, useBy: goodThrough })) } }
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
  refuseFitting(lot, input.pieces, on, act.today, '/pieces')
  if (lot.goodThrough !== null && lot.goodThrough < on)
    throw new Refusal('part-past-its-use', { lotId: lot.id, useBy: lot.goodThrough })
  const { lotId, pieces, watchId, ticketId, note } = input
  const entryId = await writeEntry(act, { lotId, kind: 'fitted', pieces, on, watchId, ticketId, reason: note })
  return { location: `/v1/stock-entries/${entryId}`, body: { entryId } }
}
