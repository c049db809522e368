import type { Db } from '../../db/open.ts'
import { addDays, addMonths, type Day } from '../../domain/day.ts'
import { lastFullLifeDay, monthsForFullLife } from '../../domain/stock/life.ts'
import { lifeRulesOf, stockRulesOn } from '../stock-entries/rules.ts'
import { addTaskOnce } from '../tasks/tasks.ts'

/** Lots that one task names; of more it tells the number. */
const LOTS_NAMED = 20

type Near = { what: string; name: string; lot: string; pieces: number; goodThrough: Day; months: number }

/**
 * Each lot whose last day of fitting comes within the lead, told to the stock keeper once: a cell's last day of full life,
 * the end of storage life of anything else. One task a night, however many lots.
 */
export async function remindOfLots(tx: Db, today: Day): Promise<void> {
  const rules = await stockRulesOn(tx, today)
  const life = lifeRulesOf(rules)
  const items = await tx.$queryRaw<{ months: number }[]>`
    select distinct coalesce(ageing_months, ${rules.ageingMonths}::int) as months from stock_item where what = 'cell'`
  const intervals = items.map(({ months }) => months)
  const reach = (from: Day) => intervals.map((months) => addMonths(from, monthsForFullLife(months, life)))
  const lots = await tx.$queryRaw<Near[]>`
    with cut as (select * from unnest(${intervals}::int[], ${reach(today)}::date[], ${reach(addDays(today, rules.lotLeadDays + 1))}::date[]) as c (months, first, after)),
    near as (
      select l.id, i.what, i.name, i.months from stock_lot l
      join (select id, what, name, case when what = 'cell' then coalesce(ageing_months, ${rules.ageingMonths}::int) end as months from stock_item) i on i.id = l.item_id
      left join cut on cut.months = i.months
      where l.shelf > 0 and l.blocked is null and l.last_day_told_on is null
        and l.good_through >= coalesce(cut.first, ${today}::date) and l.good_through < coalesce(cut.after, ${today}::date + ${rules.lotLeadDays + 1}::int))
    update stock_lot l set last_day_told_on = ${today}::date from near where l.id = near.id
    returning near.what, near.name, coalesce(l.lot_number, l.storage_place) as lot, l.shelf as pieces, l.good_through::text as "goodThrough",
      coalesce(near.months, 0) as months`
  if (lots.length === 0) return
  const told = lots
    .map((lot) => ({
      ...lot,
      last: lot.what === 'cell' ? lastFullLifeDay(lot.goodThrough, lot.months, life) : lot.goodThrough,
    }))
    .sort((a, b) => `${a.last} ${a.name} ${a.lot}`.localeCompare(`${b.last} ${b.name} ${b.lot}`))
  const words = told
    .slice(0, LOTS_NAMED)
    .map(
      ({ name, lot, pieces, last, what }) =>
        `${name}, lot ${lot}, ${pieces} pieces: ${what === 'cell' ? 'with full life' : 'to be fitted'} through ${last}`,
    )
  const more = told.length > LOTS_NAMED ? [`and ${told.length - LOTS_NAMED} more lots`] : []
  await addTaskOnce(tx, {
    kind: 'lot-last-day',
    role: 'stock',
    dedupe: `lot-last-day/${today}`,
    words: `The last day of fitting comes near. ${[...words, ...more].join('; ')}. Use them first.`,
    dueOn: told[0]!.last,
  })
}
