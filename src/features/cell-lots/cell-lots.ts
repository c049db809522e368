import { type Db, dateOf } from '../../db/open.ts'
import { addMonths, type Day, dayOfNumber, type PartialDay, spanOf } from '../../domain/day.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { bucketOf } from '../../domain/stock/buckets.ts'
import { type DateCodeTable, decodeDateCode } from '../../domain/stock/date-codes.ts'
import { gradeOf, lastFullLifeDay, lastShortLifeDay } from '../../domain/stock/life.ts'
import type { StockRules } from '../../domain/stock/rules.ts'
import { canonicalDesignation } from '../../domain/stock/sizes.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { refuseDay } from '../stock-entries/entries.ts'
import { type Delivered, receiveLot } from '../stock-entries/keeping.ts'
import { type Lot, lotColumns, readLot, shownLot } from '../stock-entries/lots.ts'
import { lifeRulesOf, stockRulesOn } from '../stock-entries/rules.ts'

export type NewCellLot = Delivered & {
  designation: string
  bestBefore?: PartialDay | undefined
  manufactured?: PartialDay | undefined
  dateCode?: string | undefined
  dateCodeTable?: string | undefined
  capacityMah?: number | undefined
  pack: 'sealed' | 'opened'
}

/** Beyond it a best-before is a slip of the pen. */
const LONGEST_LIFE_MONTHS = 360

type GoodThrough = { day: Day; from: 'day' | 'month' | 'manufacture'; madeMonth: string | null }

/**
 * The last good day of a pack. A printed month counts to its last day; where only the manufacture is known it is that
 * month's first day, which is early and so safe, plus the shelf life set for the designation.
 */
async function goodThroughOf(db: Db, input: NewCellLot, shelfMonths: number, receivedOn: Day): Promise<GoodThrough> {
  let madeMonth: string | null = null
  let madeFirst: Day | null = null
  if (input.dateCode !== undefined) {
    if (input.dateCodeTable === undefined)
      throw faulty(['/dateCodeTable', 'is needed: say which table reads this date code'])
    const table = await db.dateCodeTable.findUnique({ where: { name: input.dateCodeTable } })
    if (!table) throw faulty(['/dateCodeTable', 'is no table on file; GET /v1/date-code-tables lists them'])
    const decoded = decodeDateCode(
      input.dateCode,
      { ...table, monthSigns: table.monthSigns ?? undefined } as DateCodeTable,
      receivedOn,
    )
    if (!decoded.ok) throw faulty(['/dateCode', decoded.because])
    madeMonth = decoded.month
    madeFirst = decoded.firstDay
  }
  if (input.manufactured !== undefined) {
    if (input.manufactured.length < 7) throw faulty(['/manufactured', 'must be a month or a day'])
    const first = dayOfNumber(spanOf(input.manufactured).first)
    if (first > receivedOn) throw faulty(['/manufactured', `lies after the receipt, ${receivedOn}`])
    if (madeMonth !== null && madeMonth !== input.manufactured.slice(0, 7)) {
      throw faulty(['/manufactured', `is not the month that the date code gives, ${madeMonth}`])
    }
    madeMonth = input.manufactured.slice(0, 7)
    madeFirst = input.manufactured.length === 7 ? first : (input.manufactured as unknown as Day)
  }
  if (input.bestBefore !== undefined) {
    if (input.bestBefore.length < 7) throw faulty(['/bestBefore', 'must be a day or a month; a year is too rough'])
    const day = dayOfNumber(spanOf(input.bestBefore).last)
    if (day <= receivedOn) throw faulty(['/bestBefore', `must lie after the receipt, ${receivedOn}`])
    if (madeFirst !== null && day <= madeFirst) throw faulty(['/bestBefore', 'lies before the manufacture'])
    if (day > addMonths(receivedOn, LONGEST_LIFE_MONTHS))
      throw faulty(['/bestBefore', 'lies more than thirty years ahead; no cell keeps so long: check the year'])
    return { day, from: input.bestBefore.length === 10 ? 'day' : 'month', madeMonth }
  }
  if (madeFirst === null) {
    throw faulty(['/bestBefore', 'is needed, or the month of manufacture, or a date code with its table'])
  }
  const day = addMonths(madeFirst, shelfMonths)
  if (day <= receivedOn) {
    throw faulty([
      '/manufactured',
      `with ${shelfMonths} months of shelf life it was past its best-before (${day}) when it came`,
    ])
  }
  return { day, from: 'manufacture', madeMonth }
}

export async function receiveCells(act: Act, input: NewCellLot, currency: string): Promise<Created> {
  const { tx, today } = act
  const name = canonicalDesignation(input.designation)
  const item = await tx.stockItem.findFirst({ where: { what: 'cell', name } })
  if (!item) throw faulty(['/designation', `is not on file as a designation (${name}); enter it first`])
  if (item.chemistry === 'mercury') throw new Refusal('mercury-not-fitted')
  const receivedOn = input.receivedOn ?? today
  refuseDay({ receivedOn }, receivedOn, today, '/receivedOn')
  const rules = await stockRulesOn(tx, today)
  const good = await goodThroughOf(tx, input, item.shelfLifeMonths ?? rules.cellShelfMonths, receivedOn)
  const id = await receiveLot(act, item, input, currency, {
    goodThrough: dateOf(good.day),
    goodThroughFrom: good.from,
    opened: input.pack === 'opened',
    openedOn: input.pack === 'opened' ? dateOf(receivedOn) : null,
    madeMonth: good.madeMonth,
    dateCode: input.dateCode ?? null,
    dateCodeTable: input.dateCode === undefined ? null : (input.dateCodeTable ?? null),
    capacityMah: input.capacityMah ?? null,
  })
  return { location: `/v1/cell-lots/${id}`, body: await showCellLot(tx, id, today) }
}

/** A lot with its grade and its last days, by the designation's own interval. */
function agedCellLot(lot: Lot, rules: StockRules, today: Day) {
  const bestBefore = lot.goodThrough as Day
  const months = lot.ageingMonths ?? rules.ageingMonths
  const life = lifeRulesOf(rules)
  return {
    ...shownLot(lot),
    chemistry: lot.chemistry,
    bestBefore,
    capacityMah: lot.capacityMah,
    madeMonth: lot.madeMonth,
    dateCode: lot.dateCode,
    dateCodeTable: lot.dateCodeTable,
    grade: lot.blocked || lot.listedOn ? 'not-to-be-fitted' : gradeOf(today, months, bestBefore, life),
    bucket: bucketOf({ bestBefore, blocked: lot.blocked !== null }, today, months, life),
    lastFullLifeDay: lastFullLifeDay(bestBefore, months, life),
    lastShortLifeDay: lastShortLifeDay(bestBefore, life),
  }
}

export async function showCellLot(db: Db, id: string, today: Day) {
  return agedCellLot(await readLot(db, id, 'cell'), await stockRulesOn(db, today), today)
}

export type LotFilter = {
  designation?: string | undefined
  onShelf?: boolean | undefined
  listed?: boolean | undefined
  blocked?: boolean | undefined
  place?: string | undefined
}

/** Lots in the order of their receipt; filters narrow it to what lies on the shelf, is to be written off, or is blocked. */
export async function listCellLots(db: Db, filter: LotFilter, after: string | null, limit: number, today: Day) {
  const rules = await stockRulesOn(db, today)
  const name = filter.designation ? canonicalDesignation(filter.designation) : null
  const lots = await db.$queryRaw<Lot[]>`
    select ${lotColumns} from stock_lot l join stock_item i on i.id = l.item_id
    where i.what = 'cell' and (${after}::uuid is null or l.id > ${after}::uuid)
      and (${name}::text is null or i.name = ${name})
      and (${filter.onShelf ?? null}::boolean is null or (l.shelf > 0) = ${filter.onShelf ?? null}::boolean)
      and (${filter.listed ?? null}::boolean is null or (l.listed_on is not null and l.shelf > 0) = ${filter.listed ?? null}::boolean)
      and (${filter.blocked ?? null}::boolean is null or (l.blocked is not null) = ${filter.blocked ?? null}::boolean)
      and (${filter.place ?? null}::text is null or lower(l.storage_place) = lower(${filter.place ?? null}))
    order by l.id limit ${limit + 1}`
  return lots.map((lot) => agedCellLot(lot, rules, today))
}
