import type { Db } from '../../db/open.ts'
import {
  addDays,
  addMonths,
  type Day,
  dayOfNumber,
  daysBetween,
  numberOfDay,
  type PartialDay,
  spanOf,
} from '../../domain/day.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import {
  judgeBargain,
  monthsToDemandAtReceipt,
  orderCeiling,
  piecesGained,
  positionOf,
  pricePerUsedPiece,
  quantityToOrder,
  reorderPoint,
  type Setting,
  weeklyIssues,
} from '../../domain/stock/buying.ts'
import { demandThrough, monthlyMean, monthStart } from '../../domain/stock/demand.ts'
import { compare, type Fraction, fraction, roundHalfUp, toFixed, toNumber } from '../../domain/stock/fraction.ts'
import { lastDayNumberWithin, monthsForFullLife } from '../../domain/stock/life.ts'
import { expectedLeft, expectedShort } from '../../domain/stock/poisson.ts'
import { type StockRules, wasteFeeOf } from '../../domain/stock/rules.ts'
import { canonicalDesignation } from '../../domain/stock/sizes.ts'
import { shortAt, type WalkedLot, walkShelf } from '../../domain/stock/walk.ts'
import { tableOn } from '../house-rules/house-rules.ts'
import { lifeRulesOf, stockRulesOn } from '../stock-entries/rules.ts'
import { listOrders } from '../stock-orders/stock-orders.ts'
import { demandFrom, demandOf, promisedOf, type StoredForecast, wantedToday } from './demand.ts'

type ShelfLot = { id: string; bestBefore: Day; pieces: number; unitCost: number; last: number }

/** A designation with its shelf, what is on its way, and its demand: what every question of buying is asked against. */
export type Outlook = {
  item: { id: string; name: string; capacityMah: number | null }
  rules: StockRules
  today: Day
  intervalMonths: number
  months: number
  fee: number
  forecast: StoredForecast | undefined
  promised: number
  /** pieces wanted today by watches in the house, and reserved ones */
  wanted: number
  lots: ShelfLot[]
  arriving: (WalkedLot & { fullLife: boolean })[]
  through: (day: number) => number
  perMonth: Fraction
}

async function outlookOf(db: Db, designation: string, today: Day): Promise<Outlook> {
  const name = canonicalDesignation(designation)
  const item = await db.stockItem.findFirst({ where: { what: 'cell', name } })
  if (!item) throw new Refusal('not-found', { what: 'designation', id: name })
  const rules = await stockRulesOn(db, today)
  const intervalMonths = item.ageingMonths ?? rules.ageingMonths
  const months = monthsForFullLife(intervalMonths, lifeRulesOf(rules))
  const from = numberOfDay(today)
  const rows = await db.$queryRaw<Omit<ShelfLot, 'last'>[]>`
    select id, good_through::text as "bestBefore", shelf as pieces, unit_cost::float8 as "unitCost"
    from stock_lot where item_id = ${item.id}::uuid and shelf > 0 and blocked is null and good_through is not null
    order by good_through, received_on, id`
  const lots = rows
    .map((lot) => ({ ...lot, last: lastDayNumberWithin(numberOfDay(lot.bestBefore), months) }))
    .filter((lot) => lot.last >= from)
  const orders = await listOrders(db, { itemId: item.id, open: true }, null, 1000)
  const arriving = orders.map((order) => {
    const arrival = Math.max(from, numberOfDay(order.expectedOn))
    // without a promise of the supplier it is taken for fresh: the shelf life from its arrival
    const end = order.expectedBestBefore ?? addMonths(order.expectedOn, item.shelfLifeMonths ?? rules.cellShelfMonths)
    const last = lastDayNumberWithin(numberOfDay(end), months)
    return { lot: order.id, pieces: order.pieces, arrival, last, fullLife: last >= arrival }
  })
  const forecast = (await demandOf(db, [item.id], today, rules)).get(item.id)
  const promised = (await promisedOf(db)).get(item.id) ?? 0
  const wanted = (await wantedToday(db, today)).get(name) ?? 0
  const demand = demandFrom(forecast, today, wanted)
  return {
    item: { id: item.id, name, capacityMah: item.capacityMah === null ? null : Number(item.capacityMah) },
    rules,
    today,
    intervalMonths,
    months,
    fee: wasteFeeOf(
      { wasteFee: item.wasteFee === null ? null : Number(item.wasteFee), chemistry: item.chemistry },
      await tableOn(db, 'cellWasteFees', today),
      rules,
    ),
    forecast,
    promised,
    wanted,
    lots,
    arriving,
    through: demandThrough(demand),
    perMonth: monthlyMean(demand),
  }
}

const settingOf = ({ lots, arriving, through, today }: Outlook): Setting => ({
  lots: [
    ...lots.map((lot) => ({ lot: lot.id, pieces: lot.pieces, last: lot.last })),
    ...arriving.filter((lot) => lot.fullLife),
  ],
  through,
  from: numberOfDay(today),
})

/** Pieces that left the shelf in each of the last 52 full weeks (Monday to Sunday), oldest first; weeks without are 0. */
async function weeksOf(db: Db, itemId: string, today: Day): Promise<number[]> {
  const monday = addDays(today, -((numberOfDay(today) + 3) % 7))
  const first = addDays(monday, -52 * 7)
  const rows = await db.$queryRaw<{ week: number; pieces: number }[]>`
    select ((e.happened_on - ${first}::date) / 7)::int as week,
      sum(case when e.kind = 'returned-to-shelf' then -e.pieces else e.pieces end)::int as pieces
    from stock_lot l join stock_entry e on e.lot_id = l.id
    where l.item_id = ${itemId}::uuid and e.kind in ('issued', 'sold-loose', 'returned-to-shelf')
      and e.happened_on >= ${first}::date and e.happened_on < ${monday}::date group by 1`
  return Array.from({ length: 52 }, (_, week) => Math.max(0, rows.find((row) => row.week === week)?.pieces ?? 0))
}

/** Demand by month, what dies unused, when and how much to order. */
export async function cellOutlook(db: Db, designation: string, today: Day, horizon: Day | undefined) {
  const outlook = await outlookOf(db, designation, today)
  const { rules, lots, through, forecast, arriving, promised } = outlook
  const from = numberOfDay(today)
  const walk = walkShelf(
    lots.map((lot) => ({ lot: lot.id, pieces: lot.pieces, last: lot.last })),
    through,
  )
  const until = horizon ? numberOfDay(horizon) : Math.max(from, ...lots.map((lot) => lot.last))
  const usable = lots.reduce((sum, lot) => sum + lot.pieces, 0)
  const onOrder = arriving.reduce((sum, lot) => sum + (lot.fullLife ? lot.pieces : 0), 0)
  const position = positionOf({ usable, unused: walk.unused, onOrder, promised })

  const stored = await db.stockItem.findUniqueOrThrow({ where: { id: outlook.item.id } })
  const leadWeeks = stored.leadWeeks ?? rules.supplierLeadWeeks
  const issues = weeklyIssues(await weeksOf(db, outlook.item.id, today))
  const reorder = reorderPoint(issues, {
    leadWeeks,
    servicePercent: rules.stockServicePercent,
    normalThousandths: rules.stockServiceThousandths,
    slowBelow: rules.slowMoverPieces,
  })
  const arrival = from + leadWeeks * 7
  const freshEnd = addMonths(dayOfNumber(arrival), stored.shelfLifeMonths ?? rules.cellShelfMonths)
  const freshLast = lastDayNumberWithin(numberOfDay(freshEnd), outlook.months)
  const ceiling = orderCeiling(settingOf(outlook), arrival, freshLast)
  const demandOfFresh = Math.max(0, through(freshLast) - through(arrival - 1))
  const newest = await db.stockLot.findFirst({
    where: { itemId: outlook.item.id },
    orderBy: [{ receivedOn: 'desc' }, { id: 'desc' }],
  })
  const overCost = Number(newest?.unitCost ?? 0) + outlook.fee
  const buy =
    overCost > 0
      ? quantityToOrder({ ceiling, position, demand: demandOfFresh, underCost: rules.missingCellCost, overCost })
      : { quantity: 0, target: 0 }

  return {
    designation: outlook.item.name,
    on: today,
    intervalMonths: outlook.intervalMonths,
    demand: {
      reckonedOn: forecast?.reckonedOn ?? null,
      perMonth: toFixed(outlook.perMonth, 2),
      atOnce: outlook.wanted,
      months: (forecast?.months ?? []).map((pieces, ahead) => ({
        month: monthStart(today, ahead).slice(0, 7),
        pieces: toFixed(pieces, 2),
      })),
      basis: forecast?.basis ?? null,
    },
    walk: lots.map((lot, index) => ({
      lotId: lot.id,
      bestBefore: lot.bestBefore,
      lastFullLifeDay: dayOfNumber(lot.last),
      daysLeft: lot.last - from,
      pieces: lot.pieces,
      demandThrough: through(lot.last),
      used: walk.lots[index]!.used,
      unused: walk.lots[index]!.unused,
      moneyAtRisk: walk.lots[index]!.unused * lot.unitCost,
    })),
    usable,
    unused: walk.unused,
    moneyAtRisk: lots.reduce((sum, lot, index) => sum + walk.lots[index]!.unused * lot.unitCost, 0),
    wasteFee: walk.unused * outlook.fee,
    short: { horizon: dayOfNumber(until), pieces: shortAt(walk, through, until) },
    position: { pieces: position, usable, unused: walk.unused, onOrder, promised },
    reorder: {
      weeklyMean: toFixed(issues.mean, 3),
      weeklyDeviation: Math.sqrt(toNumber(issues.variance)).toFixed(3),
      leadWeeks,
      point: reorder.point,
      by: reorder.by,
      orderNow: position <= reorder.point,
      freshBestBefore: freshEnd,
      ceiling,
      target: buy.target,
      quantity: position <= reorder.point ? buy.quantity : 0,
      expectedShort: expectedShort(buy.target, demandOfFresh).toFixed(3),
      expectedLeft: expectedLeft(buy.target, demandOfFresh).toFixed(3),
    },
  }
}

export type OfferQuestion = {
  designation: string
  pieces: number
  bestBefore: PartialDay
  arrivesOn?: Day | undefined
  /** minor units of the whole offer */
  price: number
  freshPrice?: number | undefined
}

function lastGood(bestBefore: PartialDay): Day {
  if (bestBefore.length < 7) throw faulty(['/bestBefore', 'must be a day or a month'])
  return dayOfNumber(spanOf(bestBefore).last)
}

/** An offered lot with and without it, the pack's price a used piece, the ceiling, and the life to ask for. Writes nothing. */
export async function judgeOffer(db: Db, input: OfferQuestion, today: Day) {
  const outlook = await outlookOf(db, input.designation, today)
  const { fee, rules } = outlook
  const arrivesOn = input.arrivesOn ?? today
  if (arrivesOn < today) throw faulty(['/arrivesOn', `must not lie before today, ${today}`])
  const bestBefore = lastGood(input.bestBefore)
  const setting = settingOf(outlook)
  const arrival = numberOfDay(arrivesOn)
  const last = lastDayNumberWithin(numberOfDay(bestBefore), outlook.months)
  const newest = await db.stockLot.findFirst({
    where: { itemId: outlook.item.id },
    orderBy: [{ receivedOn: 'desc' }, { id: 'desc' }],
  })
  const fresh = input.freshPrice ?? (newest === null ? null : Number(newest.unitCost))
  if (fresh === null) throw faulty(['/freshPrice', 'is needed: no lot of this designation was bought before'])
  const offer = { pieces: input.pieces, arrival, last }
  const unitPrice = fraction(input.price, input.pieces)
  const answer = judgeBargain(setting, { ...offer, unitPrice, wasteFee: fee, freshPrice: fraction(fresh) })
  const pack = pricePerUsedPiece(setting, { ...offer, packPrice: input.price, wasteFee: fee })
  const ceiling = orderCeiling(setting, arrival, last)
  const { guardMonths } = lifeRulesOf(rules)
  const shown = (price: Fraction | null) => (price === null ? null : toFixed(price, 2))
  return {
    designation: outlook.item.name,
    on: today,
    lastFullLifeDay: dayOfNumber(last),
    daysOfFullLifeAtArrival: Math.max(0, daysBetween(arrivesOn, dayOfNumber(last))),
    verdict: answer.verdict,
    usedWithout: answer.usedWithout,
    usedWith: answer.usedWith,
    gained: answer.gained,
    addedWaste: answer.addedWaste,
    usedOfOffer: answer.usedOfOffer,
    naivePricePerPiece: shown(answer.naivePerPiece),
    truePricePerPiece: shown(answer.truePerPiece),
    truePriceRounded: answer.truePerPiece === null ? null : roundHalfUp(answer.truePerPiece),
    pricePerUsedPiece: shown(pack.perPiece),
    freshPrice: fresh,
    ceiling,
    ceilingGained: piecesGained(setting, { pieces: ceiling, arrival, last }),
    monthsToDemandAtReceipt:
      compare(outlook.perMonth, fraction(0)) > 0
        ? toFixed(monthsToDemandAtReceipt(outlook.intervalMonths, guardMonths, input.pieces, outlook.perMonth), 1)
        : null,
    words: wordsOf(answer.verdict, answer.gained, input.pieces, ceiling),
  }
}

function wordsOf(verdict: string, gained: number, pieces: number, ceiling: number): string {
  if (verdict === 'refuse') return 'Refuse: not one piece more would be used than without it.'
  if (verdict === 'dearer-than-fresh') {
    return `Refuse, or buy less: only ${gained} of ${pieces} are gained, and each costs more than a fresh one. At most ${ceiling} are all gained.`
  }
  return `${gained} of ${pieces} are gained, below the fresh price. At most ${ceiling} are all gained.`
}
