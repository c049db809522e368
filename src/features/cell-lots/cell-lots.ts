import { v7 as uuidv7 } from 'uuid'
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
import { refuseDay, writeEntry } from '../stock-entries/entries.ts'
import { type Lot, lockLot, lotColumns, readLot, shownLot } from '../stock-entries/lots.ts'
import { lifeRulesOf, stockRulesOn } from '../stock-entries/rules.ts'

export type Money = { amount: number; currency: string }

export type NewCellLot = {
  designation: string
  lotNumber?: string | undefined
  supplier: string
  receivedOn?: Day | undefined
  pieces: number
  unitCost: Money
  bestBefore?: PartialDay | undefined
  manufactured?: PartialDay | undefined
  dateCode?: string | undefined
  dateCodeTable?: string | undefined
  capacityMah?: number | undefined
  storagePlace: string
  maxCelsius?: number | undefined
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

/** Never two lots in one compartment: pieces that lie together can not be told apart. */
export async function refuseSharedPlace(db: Db, place: string, except: string | null = null): Promise<void> {
  const [other] = await db.$queryRaw<{ id: string; name: string }[]>`
    select l.id, i.name from stock_lot l join stock_item i on i.id = l.item_id
    where lower(l.storage_place) = lower(${place}) and l.shelf > 0 and l.id is distinct from ${except}::uuid limit 1`
  if (other) throw new Refusal('place-taken', { place, lotId: other.id, name: other.name })
}

export function refuseCurrency(money: Money, currency: string, pointer: string): void {
  if (money.currency !== currency)
    throw faulty([`${pointer}/currency`, `must be ${currency}, the currency of the centre`])
}

export async function receiveCells(act: Act, input: NewCellLot, currency: string): Promise<Created> {
  const { tx, today, who } = act
  const name = canonicalDesignation(input.designation)
  const item = await tx.stockItem.findFirst({ where: { what: 'cell', name } })
  if (!item) throw faulty(['/designation', `is not on file as a designation (${name}); enter it first`])
  if (item.chemistry === 'mercury') throw new Refusal('mercury-not-fitted')
  refuseCurrency(input.unitCost, currency, '/unitCost')
  const receivedOn = input.receivedOn ?? today
  refuseDay({ receivedOn, name }, receivedOn, today, '/receivedOn')
  const rules = await stockRulesOn(tx, today)
  const good = await goodThroughOf(tx, input, item.shelfLifeMonths ?? rules.cellShelfMonths, receivedOn)
  await refuseSharedPlace(tx, input.storagePlace)
  const hot = input.maxCelsius !== undefined && input.maxCelsius > rules.hottestCellCelsius
  const id = uuidv7()
  await tx.stockLot.create({
    data: {
      id,
      itemId: item.id,
      goodThrough: dateOf(good.day),
      goodThroughFrom: good.from,
      receivedOn: dateOf(receivedOn),
      opened: input.pack === 'opened',
      openedOn: input.pack === 'opened' ? dateOf(receivedOn) : null,
      unitCost: input.unitCost.amount,
      currency,
      lotNumber: input.lotNumber ?? null,
      supplier: input.supplier,
      storagePlace: input.storagePlace,
      maxCelsius: input.maxCelsius ?? null,
      madeMonth: good.madeMonth,
      dateCode: input.dateCode ?? null,
      dateCodeTable: input.dateCode === undefined ? null : (input.dateCodeTable ?? null),
      capacityMah: input.capacityMah ?? null,
      createdBy: who.name,
    },
  })
  await tx.$queryRaw`select 1 from stock_item where id = ${item.id}::uuid for no key update`
  await writeEntry(act, { lotId: id, kind: 'received', pieces: input.pieces, on: receivedOn })
  if (hot) await setBlock(act, id, 'stored-hot', `seen at ${input.maxCelsius} °C`, 'blocked')
  return { location: `/v1/cell-lots/${id}`, body: await showCellLot(tx, id, today) }
}

/** A lot with its grade and its last days, by the designation's own interval. */
export function agedCellLot(lot: Lot, rules: StockRules, today: Day) {
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

export type BlockReason = 'recall' | 'opened-unmarked' | 'stored-hot' | 'in-sunlight' | 'inspection-failed' | 'other'

export async function setBlock(
  act: Act,
  lotId: string,
  reason: BlockReason | string,
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
  what: Lot['what'],
  lotId: string,
  input: { reason: BlockReason; note?: string | undefined },
): Promise<Created> {
  await lockLot(act.tx, lotId, what)
  await setBlock(act, lotId, input.reason, input.note ?? null, 'blocked')
  return { body: shownLot(await readLot(act.tx, lotId, what)) }
}

/** A manager takes a block back, with a reason. A recall ends by closing the recall. */
export async function releaseLot(act: Act, what: Lot['what'], lotId: string, note: string): Promise<Created> {
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

/** Where it lies, how hot it was seen, and the opening of its pack: an opened pack without a mark is blocked. */
export async function changeLot(
  act: Act,
  what: Lot['what'],
  lotId: string,
  input: LotChange,
  check: (version: number) => void,
) {
  const { tx, today } = act
  const lot = await lockLot(tx, lotId, what)
  check(lot.version)
  const rules = await stockRulesOn(tx, today)
  if (input.storagePlace) await refuseSharedPlace(tx, input.storagePlace, lotId)
  const hottest = what === 'gasket' ? rules.hottestGasketCelsius : rules.hottestCellCelsius
  await tx.stockLot.update({
    where: { id: lotId },
    data: {
      version: lot.version + 1,
      storagePlace: input.storagePlace ?? lot.storagePlace,
      // the highest that was ever seen counts
      maxCelsius: input.maxCelsius === undefined ? lot.maxCelsius : Math.max(input.maxCelsius, lot.maxCelsius ?? -273),
      ...(input.opened && !lot.opened && { opened: true, openedOn: dateOf(today) }),
    },
  })
  if (input.opened === 'unmarked') await setBlock(act, lotId, 'opened-unmarked', null, 'blocked')
  else if (input.maxCelsius !== undefined && input.maxCelsius > hottest && lot.blocked === null) {
    await setBlock(act, lotId, 'stored-hot', `seen at ${input.maxCelsius} °C`, 'blocked')
  }
  return readLot(tx, lotId, what)
}
