import { type Db, dateOf, dayFrom } from '../../db/open.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { writeEntry } from '../stock-entries/entries.ts'
import { lockLots } from '../stock-entries/lots.ts'

export type NewCount = { place?: string | undefined; lines: readonly { lotId: string; counted: number }[] }

/** Shelf against book by lot, today; each difference becomes a signed entry, so that book and shelf agree again. */
export async function countStock(act: Act, input: NewCount): Promise<Created> {
  const { tx, today, who } = act
  const ids = input.lines.map((line) => line.lotId)
  const twice = ids.findIndex((id, index) => ids.indexOf(id) !== index)
  if (twice >= 0) throw faulty([`/lines/${twice}/lotId`, 'is counted twice'])
  const lots = await lockLots(tx, ids)
  const count = await tx.stockCount.create({
    data: { countedOn: dateOf(today), place: input.place ?? null, madeBy: who.name },
  })
  for (const { lotId, counted } of input.lines) {
    const book = lots.find((lot) => lot.id === lotId)?.shelf ?? 0
    const entryId =
      counted === book
        ? null
        : await writeEntry(act, {
            lotId,
            kind: 'counted-difference',
            pieces: counted - book,
            on: today,
            reason: `count ${count.id}`,
          })
    await tx.stockCountLine.create({ data: { countId: count.id, lotId, book, counted, entryId } })
  }
  return { location: `/v1/stock-counts/${count.id}`, body: await showCount(tx, count.id) }
}

export async function showCount(db: Db, id: string) {
  const count = await db.stockCount.findUnique({ where: { id } })
  if (!count) throw new Refusal('not-found', { what: 'stock count', id })
  const lines = await db.$queryRaw<
    {
      lotId: string
      name: string
      place: string
      book: number
      counted: number
      money: number
      entryId: string | null
    }[]
  >`
    select c.lot_id as "lotId", i.name, l.storage_place as place, c.book, c.counted,
      ((c.counted - c.book) * l.unit_cost)::float8 as money, c.entry_id as "entryId"
    from stock_count_line c join stock_lot l on l.id = c.lot_id join stock_item i on i.id = l.item_id
    where c.count_id = ${id}::uuid order by l.storage_place, c.lot_id`
  return {
    id,
    countedOn: dayFrom(count.countedOn),
    place: count.place,
    madeBy: count.madeBy,
    lines: lines.map((line) => ({ ...line, difference: line.counted - line.book })),
    found: lines.reduce((sum, line) => sum + Math.max(0, line.counted - line.book), 0),
    missing: lines.reduce((sum, line) => sum + Math.max(0, line.book - line.counted), 0),
    money: lines.reduce((sum, line) => sum + line.money, 0),
  }
}

/** The sheet for a count: what the book says lies where, in the order of the places, beginning after a place and lot. */
export function countSheet(db: Db, place: string | undefined, after: readonly [string, string] | null, limit: number) {
  const [afterPlace, afterId] = after ?? ['', '00000000-0000-0000-0000-000000000000']
  return db.$queryRaw<
    { lotId: string; name: string; lotNumber: string | null; place: string; book: number; reserved: number }[]
  >`
    select l.id as "lotId", i.name, l.lot_number as "lotNumber", l.storage_place as place, l.shelf as book, l.reserved
    from stock_lot l join stock_item i on i.id = l.item_id
    where l.shelf > 0 and (${place ?? null}::text is null or lower(l.storage_place) like lower(${place ?? ''}) || '%')
      and (l.storage_place, l.id) > (${afterPlace}, ${afterId}::uuid)
    order by l.storage_place, l.id limit ${limit + 1}`
}
