import { v7 as uuidv7 } from 'uuid'
import { type Db, dateOf } from '../../db/open.ts'
import { addMonths, type Day } from '../../domain/day.ts'
import type { Money } from '../../domain/money.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import type { Prisma } from '../../generated/prisma/client.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { refuseDay, writeEntry } from './entries.ts'
import { type Lot, lockLot, readLot, refuseSharedPlace, shownLot, type What } from './lots.ts'
import { stockRulesOn } from './rules.ts'

/** What is done with a lot of whichever kind: received, placed, blocked and set free. */

export function refuseCurrency(money: Money, currency: string, pointer: string): void {
  if (money.currency !== currency)
    throw faulty([`${pointer}/currency`, `must be ${currency}, the currency of the centre`])
}

/** What every delivery says, whatever was delivered. */
export type Delivered = {
  lotNumber?: string | undefined
  supplier: string
  receivedOn?: Day | undefined
  pieces: number
  unitCost: Money
  storagePlace: string
  maxCelsius?: number | undefined
}

const hottestOf = (what: What, rules: Awaited<ReturnType<typeof stockRulesOn>>): number =>
  what === 'gasket' ? rules.hottestGasketCelsius : rules.hottestCellCelsius

/**
 * A lot with its first entry, in a compartment of its own; one that was seen too hot or called back is blocked at once. `own` is what
 * only its kind knows: how long it keeps, how it is marked.
 */
export async function receiveLot(
  act: Act,
  item: { id: string; what: string },
  input: Delivered,
  currency: string,
  own: Pick<Prisma.StockLotUncheckedCreateInput, 'goodThroughFrom'> & Partial<Prisma.StockLotUncheckedCreateInput>,
): Promise<string> {
  const { tx, today, who } = act
  const what = item.what as What
  refuseCurrency(input.unitCost, currency, '/unitCost')
  const receivedOn = input.receivedOn ?? today
  refuseDay({ receivedOn }, receivedOn, today, '/receivedOn')
  await tx.$queryRaw`select 1 from stock_item where id = ${item.id}::uuid for no key update`
  await refuseSharedPlace(tx, input.storagePlace)
  const id = uuidv7()
  await tx.stockLot.create({
    data: {
      ...own,
      id,
      itemId: item.id,
      receivedOn: dateOf(receivedOn),
      unitCost: input.unitCost.amount,
      currency,
      lotNumber: input.lotNumber ?? null,
      supplier: input.supplier,
      storagePlace: input.storagePlace,
      maxCelsius: input.maxCelsius ?? null,
      createdBy: who.name,
    },
  })
  await writeEntry(act, { lotId: id, kind: 'received', pieces: input.pieces, on: receivedOn })
  if (input.maxCelsius !== undefined && input.maxCelsius > hottestOf(what, await stockRulesOn(tx, today)))
    await setBlock(act, id, 'stored-hot', `seen at ${input.maxCelsius} °C`, 'blocked')
  await callBack(act, id)
  return id
}

/** Pieces that come after their lot was called back: blocked with the rest, and in the sum of a recall that is still open. */
async function callBack(act: Act, lotId: string): Promise<void> {
  const [recall] = await act.tx.$queryRaw<{ id: string; reason: string; open: boolean }[]>`
    select r.id, r.reason, r.closed_on is null as open from recall r join stock_lot l on l.id = ${lotId}::uuid and l.item_id = r.item_id
    where lower(r.supplier) = lower(l.supplier) and (r.lot_number is null or r.lot_number = l.lot_number)
      and (r.from_day is null or l.received_on between r.from_day and r.to_day)
    order by r.closed_on desc nulls first, r.id desc limit 1`
  if (!recall) return
  if (recall.open) await act.tx.recallLot.create({ data: { recallId: recall.id, lotId } })
  await setBlock(act, lotId, 'recall', recall.reason, 'blocked', recall.id)
}

export type BlockReason = 'recall' | 'opened-unmarked' | 'stored-hot' | 'in-sunlight' | 'inspection-failed' | 'other'

export async function setBlock(
  act: Act,
  lotId: string,
  reason: string,
  note: string | null,
  doing: 'blocked' | 'released',
  recallId?: string,
): Promise<void> {
  const { tx, who, today } = act
  // a lot that was called back stays so, whatever else is seen on it: the other reasons are on record beside it
  await tx.$executeRaw`
    update stock_lot set blocked = case when blocked = 'recall' and ${doing} = 'blocked' then 'recall' else ${doing === 'blocked' ? reason : null} end,
      version = version + 1 where id = ${lotId}::uuid`
  await tx.lotBlock.create({
    data: {
      lotId,
      act: doing,
      reason,
      note,
      recallId: recallId ?? null,
      recordedOn: dateOf(today),
      recordedBy: who.name,
    },
  })
}

/** Blocks a lot at once, whatever it was before; nothing of it can be issued or fitted. */
export async function blockLot(
  act: Act,
  what: What,
  lotId: string,
  input: { reason: BlockReason; note?: string | undefined },
): Promise<Created> {
  await lockLot(act.tx, lotId, what)
  await setBlock(act, lotId, input.reason, input.note ?? null, 'blocked')
  return { body: shownLot(await readLot(act.tx, lotId, what)) }
}

/** A manager takes a block back, with a reason. A recall ends by closing the recall. */
export async function releaseLot(act: Act, what: What, lotId: string, note: string): Promise<Created> {
  const lot = await lockLot(act.tx, lotId, what)
  if (!lot.blocked) throw new Refusal('lot-not-blocked')
  if (lot.blocked === 'recall' && (await act.tx.recallLot.findFirst({ where: { lotId } })))
    throw new Refusal('blocked-by-recall')
  if (what === 'gasket' && lot.blocked !== 'recall') throw new Refusal('gasket-needs-inspection')
  await setBlock(act, lotId, lot.blocked, note, 'released')
  return { body: shownLot(await readLot(act.tx, lotId, what)) }
}

export type LotChange = {
  storagePlace?: string | undefined
  maxCelsius?: number | undefined
  opened?: 'marked' | 'unmarked' | undefined
}

/** Oils and greases are used up within months of their opening, and never later than the pack says. */
async function lastDayOnceOpened(tx: Db, lot: Lot, today: Day) {
  const { partKind } = await tx.stockItem.findUniqueOrThrow({ where: { id: lot.itemId }, select: { partKind: true } })
  if (partKind !== 'oil' && partKind !== 'grease') return {}
  const last = addMonths(today, (await stockRulesOn(tx, today)).openedOilMonths)
  return lot.goodThrough !== null && lot.goodThrough <= last
    ? {}
    : { goodThrough: dateOf(last), goodThroughFrom: 'day' }
}

/** Where it lies, how hot it was seen, and the opening of its pack: an opened pack without a mark is blocked. */
export async function changeLot(
  act: Act,
  what: What,
  lotId: string,
  input: LotChange,
  check: (version: number) => void,
) {
  const { tx, today } = act
  const lot = await lockLot(tx, lotId, what)
  check(lot.version)
  if (input.storagePlace) await refuseSharedPlace(tx, input.storagePlace, lotId)
  const hottest = hottestOf(what, await stockRulesOn(tx, today))
  await tx.stockLot.update({
    where: { id: lotId },
    data: {
      version: lot.version + 1,
      storagePlace: input.storagePlace ?? lot.storagePlace,
      // the highest that was ever seen counts
      maxCelsius: input.maxCelsius === undefined ? lot.maxCelsius : Math.max(input.maxCelsius, lot.maxCelsius ?? -273),
      ...(input.opened &&
        !lot.opened && { opened: true, openedOn: dateOf(today), ...(await lastDayOnceOpened(tx, lot, today)) }),
    },
  })
  if (input.opened === 'unmarked') await setBlock(act, lotId, 'opened-unmarked', null, 'blocked')
  else if (input.maxCelsius !== undefined && input.maxCelsius > hottest && lot.blocked === null) {
    await setBlock(act, lotId, 'stored-hot', `seen at ${input.maxCelsius} °C`, 'blocked')
  }
  return readLot(tx, lotId, what)
}
