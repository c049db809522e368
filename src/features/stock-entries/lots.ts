import { z } from 'zod'
import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { Refusal } from '../../domain/refusals.ts'
import { Prisma } from '../../generated/prisma/client.ts'
import { dayOut, idOut, moneyOut } from '../../http/shapes.ts'

export const whats = ['cell', 'gasket', 'part'] as const
export type What = (typeof whats)[number]

/** A lot as use cases read it; days are text, money whole minor units. */
export type Lot = {
  id: string
  version: number
  itemId: string
  what: What
  name: string
  chemistry: string | null
  goodThrough: Day | null
  goodThroughFrom: string
  receivedOn: Day
  opened: boolean
  blocked: string | null
  listedOn: Day | null
  shelf: number
  bench: number
  reserved: number
  unitCost: number
  currency: string
  lotNumber: string | null
  supplier: string
  storagePlace: string
  maxCelsius: number | null
  madeMonth: string | null
  dateCode: string | null
  dateCodeTable: string | null
  capacityMah: number | null
  cureQuarter: string | null
  curedOn: Day | null
  material: string | null
  serial: string | null
  ageingMonths: number | null
  weightMg: number | null
  wasteFee: number | null
}

/** The columns of a Lot, from stock_lot l joined with stock_item i. */
export const lotColumns = Prisma.sql`
  l.id, l.version, l.item_id as "itemId", i.what, i.name, i.chemistry, l.good_through::text as "goodThrough",
  l.good_through_from as "goodThroughFrom", l.received_on::text as "receivedOn", l.opened, l.blocked,
  l.listed_on::text as "listedOn", l.shelf, l.bench, l.reserved, l.unit_cost::float8 as "unitCost", l.currency,
  l.lot_number as "lotNumber", l.supplier, l.storage_place as "storagePlace", l.max_celsius::float8 as "maxCelsius",
  l.made_month as "madeMonth", l.date_code as "dateCode", l.date_code_table as "dateCodeTable",
  coalesce(l.capacity_mah, i.capacity_mah)::float8 as "capacityMah", l.cure_quarter as "cureQuarter",
  l.cured_on::text as "curedOn", i.material, l.serial, i.ageing_months as "ageingMonths", i.weight_mg as "weightMg",
  i.waste_fee::float8 as "wasteFee"`

/**
 * Locks items in the order of their ids, then reads the lots: whoever moves pieces takes the row of the item first, so
 * that an issue never chooses from a figure about to change. @throws not-found for a lot that is not there
 */
export async function lockLots(tx: Db, ids: readonly string[], what?: What): Promise<Lot[]> {
  const wanted = [...new Set(ids)]
  await tx.$queryRaw`
    select 1 from stock_item where id in (select item_id from stock_lot where id = any(${wanted}::uuid[]))
    order by id for no key update`
  const lots = await tx.$queryRaw<Lot[]>`
    select ${lotColumns} from stock_lot l join stock_item i on i.id = l.item_id
    where l.id = any(${wanted}::uuid[]) order by l.id`
  for (const id of wanted) {
    const lot = lots.find((one) => one.id === id)
    if (!lot || (what && lot.what !== what)) throw new Refusal('not-found', { what: `${what ?? 'stock'} lot`, id })
  }
  return lots
}

export async function lockLot(tx: Db, id: string, what?: What): Promise<Lot> {
  return (await lockLots(tx, [id], what))[0] as Lot
}

/** Lots of any kind, without a lock. @throws not-found for a lot that is not there */
export async function readLots(db: Db, ids: readonly string[]): Promise<Lot[]> {
  const wanted = [...new Set(ids)]
  if (wanted.length === 0) return []
  const lots = await db.$queryRaw<Lot[]>`
    select ${lotColumns} from stock_lot l join stock_item i on i.id = l.item_id where l.id = any(${wanted}::uuid[]) order by l.id`
  const gone = wanted.find((id) => !lots.some((lot) => lot.id === id))
  if (gone !== undefined) throw new Refusal('not-found', { what: 'stock lot', id: gone })
  return lots
}

export async function readLot(db: Db, id: string, what: What): Promise<Lot> {
  const [lot] = await db.$queryRaw<Lot[]>`
    select ${lotColumns} from stock_lot l join stock_item i on i.id = l.item_id
    where l.id = ${id}::uuid and i.what = ${what}`
  if (!lot) throw new Refusal('not-found', { what: `${what} lot`, id })
  return lot
}

/**
 * Never two lots in one compartment: pieces that lie together can not be told apart. Asked before pieces come to lie
 * there, with the item locked; whoever else asks about the same place waits until they do.
 */
export async function refuseSharedPlace(tx: Db, place: string, except: string | null = null): Promise<void> {
  await tx.$executeRaw`select pg_advisory_xact_lock(hashtextextended(lower(${place}), 0))`
  const [other] = await tx.$queryRaw<{ id: string; name: string }[]>`
    select l.id, i.name from stock_lot l join stock_item i on i.id = l.item_id
    where lower(l.storage_place) = lower(${place}) and l.shelf > 0 and l.id is distinct from ${except}::uuid limit 1`
  if (other) throw new Refusal('place-taken', { place, lotId: other.id, name: other.name })
}

export const lotOut = z.object({
  id: idOut,
  version: z.number().int(),
  itemId: idOut,
  name: z.string(),
  goodThrough: dayOut.nullable(),
  goodThroughFrom: z.string(),
  receivedOn: dayOut,
  opened: z.boolean(),
  blocked: z.string().nullable(),
  listedOn: dayOut.nullable(),
  shelf: z.number().int(),
  bench: z.number().int(),
  reserved: z.number().int(),
  available: z.number().int(),
  unitCost: moneyOut,
  lotNumber: z.string().nullable(),
  supplier: z.string(),
  storagePlace: z.string(),
  maxCelsius: z.number().nullable(),
})

export const shownLot = (lot: Lot) => ({
  id: lot.id,
  version: lot.version,
  itemId: lot.itemId,
  name: lot.name,
  goodThrough: lot.goodThrough,
  goodThroughFrom: lot.goodThroughFrom,
  receivedOn: lot.receivedOn,
  opened: lot.opened,
  blocked: lot.blocked,
  listedOn: lot.listedOn,
  shelf: lot.shelf,
  bench: lot.bench,
  reserved: lot.reserved,
  available: Math.max(0, lot.shelf - lot.reserved),
  unitCost: { amount: lot.unitCost, currency: lot.currency },
  lotNumber: lot.lotNumber,
  supplier: lot.supplier,
  storagePlace: lot.storagePlace,
  maxCelsius: lot.maxCelsius,
})
