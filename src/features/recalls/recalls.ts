import { v7 as uuidv7 } from 'uuid'
import { type Db, dateOf } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { canonicalDesignation } from '../../domain/stock/sizes.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { setBlock } from '../cell-lots/cell-lots.ts'
import { lockLots } from '../stock-entries/lots.ts'
import { fittedBy, possibleIn } from './fitted.ts'
import { showRecall } from './showing.ts'

export type NewRecall = {
  designation: string
  supplier: string
  lotNumber?: string | undefined
  from?: Day | undefined
  to?: Day | undefined
  reason: string
}

/**
 * Opens a recall: every lot row of that supplier, designation and lot number (or received in the span) is blocked at
 * once, and the watches that hold its cells, or may hold them, are put on the list.
 */
export async function openRecall(act: Act, input: NewRecall): Promise<Created> {
  const { tx, today, who } = act
  const name = canonicalDesignation(input.designation)
  const item = await tx.stockItem.findFirst({ where: { what: 'cell', name } })
  if (!item) throw faulty(['/designation', `is not on file as a designation (${name})`])
  if ((input.from === undefined) !== (input.to === undefined))
    throw faulty(['/to', 'a span has a first and a last day'])
  if (input.from !== undefined && input.to !== undefined && input.to < input.from)
    throw faulty(['/to', 'lies before the first day'])
  if (input.lotNumber === undefined && input.from === undefined) {
    throw faulty(['/lotNumber', 'is needed, or the span of receipt (from, to)'])
  }
  const found = await tx.$queryRaw<{ id: string }[]>`
    select id from stock_lot where item_id = ${item.id}::uuid and lower(supplier) = lower(${input.supplier})
      and (${input.lotNumber ?? null}::text is null or lot_number = ${input.lotNumber ?? null})
      and (${input.from ?? null}::date is null or received_on between ${input.from ?? null}::date and ${input.to ?? null}::date)`
  if (found.length === 0)
    throw new Refusal('not-found', { what: 'lot of this supplier, designation and number', id: input.lotNumber })
  const lots = await lockLots(
    tx,
    found.map((lot) => lot.id),
    'cell',
  )
  const id = uuidv7()
  await tx.recall.create({
    data: {
      id,
      itemId: item.id,
      supplier: input.supplier,
      lotNumber: input.lotNumber ?? null,
      fromDay: input.from ? dateOf(input.from) : null,
      toDay: input.to ? dateOf(input.to) : null,
      reason: input.reason,
      openedOn: dateOf(today),
      openedBy: who.name,
    },
  })
  const lotIds = lots.map((lot) => lot.id)
  await tx.recallLot.createMany({ data: lotIds.map((lotId) => ({ recallId: id, lotId })) })
  for (const lotId of lotIds) await setBlock(act, lotId, 'recall', input.reason, 'blocked', id)
  const fitted = (await fittedBy(tx, lotIds)).filter((row) => row.stillIn)
  const possible = (await possibleIn(tx, item.id, lotIds, today)).filter(
    (row) => !fitted.some((f) => f.watchId === row.watchId),
  )
  const rows = [
    ...fitted.map((row) => ({ watchId: row.watchId, pieces: row.pieces, certainty: 'fitted' })),
    ...possible.map((row) => ({ watchId: row.watchId, pieces: 0, certainty: 'possible' })),
  ]
  await tx.recallWatch.createMany({ data: rows.map((row) => ({ ...row, recallId: id, changedBy: who.name })) })
  return { location: `/v1/recalls/${id}`, body: await showRecall(tx, id, today) }
}

async function openOne({ tx }: Pick<Act, 'tx'>, id: string): Promise<void> {
  const [recall] = await tx.$queryRaw<{ closed: boolean }[]>`
    select closed_on is not null as closed from recall where id = ${id}::uuid for no key update`
  if (!recall) throw new Refusal('not-found', { what: 'recall', id })
  if (recall.closed) throw new Refusal('recall-closed')
}

export type WatchProgress = { state: 'to-tell' | 'tell-at-next-sight' | 'told' | 'settled'; note?: string | undefined }

/** Where a watch of the list stands: told, to be told at the next sight, or settled (the cell changed free of charge, or refused). */
export async function noteWatch(act: Act, id: string, watchId: string, input: WatchProgress) {
  await openOne(act, id)
  const done = await act.tx.recallWatch.updateMany({
    where: { recallId: id, watchId },
    data: { state: input.state, note: input.note ?? null, changedAt: act.now, changedBy: act.who.name },
  })
  if (done.count === 0) throw new Refusal('not-found', { what: 'watch of this recall', id: watchId })
  return showRecall(act.tx, id, act.today)
}

/** Closed with a note to the supplier, once nothing is left to do: every watch settled, no piece left on the shelf or at a bench. */
export async function closeRecall(act: Act, id: string, note: string): Promise<Created> {
  await openOne(act, id)
  const shown = await showRecall(act.tx, id, act.today)
  const left = shown.mass.sum.shelf + shown.mass.sum.outAtBench
  if (shown.progress.open > 0 || left > 0)
    throw new Refusal('recall-not-settled', { open: shown.progress.open, shelf: left })
  await act.tx.recall.update({
    where: { id },
    data: { closedOn: dateOf(act.today), closedBy: act.who.name, closingNote: note, version: { increment: 1 } },
  })
  return { body: await showRecall(act.tx, id, act.today) }
}

export async function listRecalls(db: Db, after: string | null, limit: number) {
  return db.$queryRaw<
    {
      id: string
      designation: string
      supplier: string
      lotNumber: string | null
      openedOn: Day
      closedOn: Day | null
    }[]
  >`
    select r.id, i.name as designation, r.supplier, r.lot_number as "lotNumber", r.opened_on::text as "openedOn", r.closed_on::text as "closedOn"
    from recall r join stock_item i on i.id = r.item_id where ${after}::uuid is null or r.id > ${after}::uuid order by r.id limit ${limit + 1}`
}
