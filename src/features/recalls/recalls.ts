import { v7 as uuidv7 } from 'uuid'
import { type Db, dateOf } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { canonicalDesignation } from '../../domain/stock/sizes.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { setBlock } from '../stock-entries/keeping.ts'
import { lockLots, type What } from '../stock-entries/lots.ts'
import { fittedBy, possibleIn } from './fitted.ts'
import { showRecall } from './showing.ts'
import { closeRecallTasks } from './tasks.ts'

/** What is called back: a designation of cells, a kind of gasket, or a part. */
export type Recalled = { designation?: string | undefined; kindId?: string | undefined; partId?: string | undefined }
export type NewRecall = Recalled & {
  supplier: string
  lotNumber?: string | undefined
  from?: Day | undefined
  to?: Day | undefined
  reason: string
}

async function itemOf(
  db: Db,
  { designation, kindId, partId }: Recalled,
): Promise<{ id: string; what: What; name: string }> {
  if ([designation, kindId, partId].filter((one) => one !== undefined).length !== 1)
    throw faulty(['/designation', 'is needed, or a kindId of gaskets, or a partId: exactly one of them'])
  if (designation !== undefined) {
    const name = canonicalDesignation(designation)
    const item = await db.stockItem.findFirst({ where: { what: 'cell', name } })
    if (!item) throw faulty(['/designation', `is not on file as a designation (${name})`])
    return { id: item.id, what: 'cell', name }
  }
  const what = kindId !== undefined ? 'gasket' : 'part'
  const item = await db.stockItem.findFirst({ where: { what, id: (kindId ?? partId) as string } })
  if (!item) throw faulty([kindId !== undefined ? '/kindId' : '/partId', `is no ${what} on file`])
  return { id: item.id, what, name: item.name }
}

/**
 * Opens a recall: every lot row of that supplier, item and lot number (or received in the span) is blocked at once, and
 * the watches that hold its pieces, or may hold them, are put on the list. One way for cells, gaskets and parts.
 */
export async function openRecall(act: Act, input: NewRecall): Promise<Created> {
  const { tx, today, who } = act
  const item = await itemOf(tx, input)
  if ((input.from === undefined) !== (input.to === undefined))
    throw faulty(['/to', 'a span has a first and a last day'])
  if (input.from !== undefined && input.to !== undefined && input.to < input.from)
    throw faulty(['/to', 'lies before the first day'])
  if (input.lotNumber === undefined && input.from === undefined) {
    throw faulty(['/lotNumber', 'is needed, or the span of receipt (from, to)'])
  }
  // whoever receives pieces of it now waits, and finds the recall
  await tx.$queryRaw`select 1 from stock_item where id = ${item.id}::uuid for no key update`
  const found = await tx.$queryRaw<{ id: string }[]>`
    select id from stock_lot where item_id = ${item.id}::uuid and lower(supplier) = lower(${input.supplier})
      and (${input.lotNumber ?? null}::text is null or lot_number = ${input.lotNumber ?? null})
      and (${input.from ?? null}::date is null or received_on between ${input.from ?? null}::date and ${input.to ?? null}::date)`
  if (found.length === 0)
    throw new Refusal('not-found', { what: `${item.what} lot of this supplier and number`, id: input.lotNumber })
  const lots = await lockLots(
    tx,
    found.map((lot) => lot.id),
    item.what,
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
  // a watch may hold pieces of two of the lots: it is one line of the list
  const fitted = new Map<string, number>()
  for (const { watchId, pieces, stillIn } of await fittedBy(tx, lotIds))
    if (stillIn) fitted.set(watchId, (fitted.get(watchId) ?? 0) + pieces)
  const possible = (await possibleIn(tx, item, lotIds, today)).filter(({ watchId }) => !fitted.has(watchId))
  const rows = [
    ...[...fitted].map(([watchId, pieces]) => ({ watchId, pieces, certainty: 'fitted' })),
    ...possible.map(({ watchId }) => ({ watchId, pieces: 0, certainty: 'possible' })),
  ]
  await tx.recallWatch.createMany({ data: rows.map((row) => ({ ...row, recallId: id, changedBy: who.name })) })
  return { location: `/v1/recalls/${id}`, body: await showRecall(tx, id, today) }
}

/** Locks a recall that is still open. */
export async function openOne({ tx }: Pick<Act, 'tx'>, id: string): Promise<void> {
  const [recall] = await tx.$queryRaw<{ closed: boolean }[]>`
    select closed_on is not null as closed from recall where id = ${id}::uuid for no key update`
  if (!recall) throw new Refusal('not-found', { what: 'recall', id })
  if (recall.closed) throw new Refusal('recall-closed')
}

export type WatchProgress = { state: 'to-tell' | 'tell-at-next-sight' | 'told' | 'settled'; note?: string | undefined }

/** Where a watch of the list stands: told, to be told at the next sight, or settled (the piece changed free of charge, or refused). */
export async function noteWatch(act: Act, id: string, watchId: string, input: WatchProgress) {
  await openOne(act, id)
  const done = await act.tx.recallWatch.updateMany({
    where: { recallId: id, watchId },
    data: { state: input.state, note: input.note ?? null, changedAt: act.now, changedBy: act.who.name },
  })
  if (done.count === 0) throw new Refusal('not-found', { what: 'watch of this recall', id: watchId })
  if (input.state === 'told' || input.state === 'settled') await closeRecallTasks(act, id, watchId, input.state)
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
      what: What
      name: string
      supplier: string
      lotNumber: string | null
      openedOn: Day
      closedOn: Day | null
    }[]
  >`
    select r.id, i.what, i.name, r.supplier, r.lot_number as "lotNumber", r.opened_on::text as "openedOn", r.closed_on::text as "closedOn"
    from recall r join stock_item i on i.id = r.item_id where ${after}::uuid is null or r.id > ${after}::uuid order by r.id limit ${limit + 1}`
}
