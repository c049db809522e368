import { type Db, dateOf } from '../../db/open.ts'
import { type Day, dayOfNumber, type PartialDay, spanOf } from '../../domain/day.ts'
import type { Money } from '../../domain/money.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { canonicalDesignation } from '../../domain/stock/sizes.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { refuseCurrency } from '../stock-entries/keeping.ts'

export type NewOrder = {
  designation: string
  supplier: string
  pieces: number
  unitPrice: Money
  expectedOn: Day
  expectedBestBefore?: PartialDay | undefined
}

/** Cells on their way: they count in the position and in the walk from the day they are expected. */
export async function placeOrder({ tx, today, who }: Act, input: NewOrder, currency: string): Promise<Created> {
  const item = await tx.stockItem.findFirst({ where: { what: 'cell', name: canonicalDesignation(input.designation) } })
  if (!item) throw faulty(['/designation', 'is not on file as a designation'])
  refuseCurrency(input.unitPrice, currency, '/unitPrice')
  if (input.expectedOn < today) throw faulty(['/expectedOn', `must not lie before today, ${today}`])
  const end = input.expectedBestBefore === undefined ? null : dayOfNumber(spanOf(input.expectedBestBefore).last)
  if (end !== null && end <= input.expectedOn) throw faulty(['/expectedBestBefore', 'must lie after the arrival'])
  const order = await tx.stockOrder.create({
    data: {
      itemId: item.id,
      supplier: input.supplier,
      pieces: input.pieces,
      unitPrice: input.unitPrice.amount,
      currency,
      orderedOn: dateOf(today),
      expectedOn: dateOf(input.expectedOn),
      expectedGoodThrough: end === null ? null : dateOf(end),
      madeBy: who.name,
    },
  })
  return { location: `/v1/stock-orders/${order.id}`, body: await showOrder(tx, order.id) }
}

export type OrderRow = {
  id: string
  itemId: string
  designation: string
  supplier: string
  pieces: number
  unitPrice: number
  currency: string
  orderedOn: Day
  expectedOn: Day
  expectedBestBefore: Day | null
  state: 'open' | 'received' | 'cancelled'
  endedOn: Day | null
}
type OrderFilter = { id?: string; itemId?: string; open?: boolean | undefined }

export async function listOrders(
  db: Db,
  filter: OrderFilter,
  after: string | null,
  limit: number,
): Promise<OrderRow[]> {
  return db.$queryRaw<OrderRow[]>`
    select o.id, o.item_id as "itemId", i.name as designation, o.supplier, o.pieces, o.unit_price::float8 as "unitPrice", o.currency,
      o.ordered_on::text as "orderedOn", o.expected_on::text as "expectedOn", o.expected_good_through::text as "expectedBestBefore",
      o.state, o.ended_on::text as "endedOn"
    from stock_order o join stock_item i on i.id = o.item_id
    where (${filter.id ?? null}::uuid is null or o.id = ${filter.id ?? null}::uuid)
      and (${filter.itemId ?? null}::uuid is null or o.item_id = ${filter.itemId ?? null}::uuid)
      and (${filter.open ?? null}::boolean is null or (o.state = 'open') = ${filter.open ?? null}::boolean)
      and (${after}::uuid is null or o.id > ${after}::uuid)
    order by o.id limit ${limit + 1}`
}

export const shownOrder = ({ itemId: _, unitPrice, currency, ...order }: OrderRow) => ({
  ...order,
  unitPrice: { amount: unitPrice, currency },
})

export async function showOrder(db: Db, id: string) {
  const [order] = await listOrders(db, { id }, null, 1)
  if (!order) throw new Refusal('not-found', { what: 'stock order', id })
  return shownOrder(order)
}

/** Received (the lot is entered on its own) or cancelled: it is no longer on its way. */
export async function endOrder({ tx, today }: Act, id: string, state: 'received' | 'cancelled') {
  const done = await tx.stockOrder.updateMany({
    where: { id, state: 'open' },
    data: { state, endedOn: dateOf(today), version: { increment: 1 } },
  })
  const order = await showOrder(tx, id)
  if (done.count === 0 && order.state !== state) throw new Refusal('order-ended', { state: order.state })
  return order
}
