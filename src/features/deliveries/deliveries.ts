import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import type { Money } from '../../domain/money.ts'
import { faulty } from '../../domain/refusals.ts'
import { type Delivery, lastGoodDay, readElementString } from '../../domain/stock/gs1.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { receiveCells } from '../cell-lots/cell-lots.ts'

/** What a scan says and which designation its item number stands for; nothing is written. */
export async function readScan(db: Db, scanned: string, today: Day) {
  const delivery = readOrRefuse(scanned, today)
  const known = delivery.itemNumber ? await numberOf(db, delivery.itemNumber) : null
  return {
    itemNumber: delivery.itemNumber ?? null,
    lotNumber: delivery.lotNumber ?? null,
    manufactured: delivery.madeOn ?? null,
    bestBefore: lastGoodDay(delivery) ?? null,
    count: delivery.count ?? null,
    serial: delivery.serial ?? null,
    furtherId: delivery.furtherId ?? null,
    designation: known?.name ?? null,
    piecesInPack: known?.pieces ?? null,
  }
}

function readOrRefuse(scanned: string, today: Day): Delivery {
  const answer = readElementString(scanned, Number(today.slice(0, 4)))
  if (!answer.ok) throw faulty(...answer.faults.map((fault) => ['/scanned', fault.detail] as const))
  return answer.delivery
}

async function numberOf(db: Db, number: string): Promise<{ name: string; pieces: number } | null> {
  const [row] = await db.$queryRaw<{ name: string; pieces: number }[]>`
    select i.name, n.pieces from item_number n join stock_item i on i.id = n.item_id where n.number = ${number} and i.what = 'cell'`
  return row ?? null
}

export type ScannedDelivery = {
  scanned: string
  supplier: string
  receivedOn?: Day | undefined
  /** packs of the item number, where the scan does not count the pieces */
  packs?: number | undefined
  unitCost: Money
  storagePlace: string
  maxCelsius?: number | undefined
}

/** Receives a scanned pack as a cell lot: the same rules as a lot that is typed. */
export async function receiveScanned(act: Act, input: ScannedDelivery, currency: string): Promise<Created> {
  const delivery = readOrRefuse(input.scanned, act.today)
  const known = await numberOf(act.tx, delivery.itemNumber ?? '')
  if (!known)
    throw faulty([
      '/scanned',
      `the item number ${delivery.itemNumber} stands for no designation yet; add it to one first`,
    ])
  if (delivery.count !== undefined && input.packs !== undefined) {
    throw faulty(['/packs', 'the scan counts the pieces itself, (30); leave packs out'])
  }
  const bestBefore = lastGoodDay(delivery)
  return receiveCells(
    act,
    {
      designation: known.name,
      lotNumber: delivery.lotNumber,
      supplier: input.supplier,
      receivedOn: input.receivedOn,
      pieces: delivery.count ?? known.pieces * (input.packs ?? 1),
      unitCost: input.unitCost,
      bestBefore: bestBefore as never,
      manufactured: delivery.madeOn as never,
      storagePlace: input.storagePlace,
      maxCelsius: input.maxCelsius,
      pack: 'sealed',
    },
    currency,
  )
}
