import { type Db, dateOf } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { defaultsOf } from '../../domain/house-rules.ts'
import type { LifeRules } from '../../domain/stock/life.ts'
import { type StockRuleKey, type StockRules, stockRuleTable } from '../../domain/stock/rules.ts'

/** The numbers of the stock in force on a day, as known then. */
export async function stockRulesOn(db: Db, on: Day): Promise<StockRules> {
  const keys = Object.keys(stockRuleTable) as StockRuleKey[]
  const rows = await db.houseRule.findMany({
    where: { key: { in: keys }, fromDay: { lte: dateOf(on) }, recordedOn: { lte: dateOf(on) } },
    orderBy: [{ fromDay: 'asc' }, { id: 'asc' }],
  })
  const rules = defaultsOf(stockRuleTable)
  for (const row of rows) rules[row.key as StockRuleKey] = Number(row.value)
  return rules
}

export const lifeRulesOf = (rules: StockRules): LifeRules => ({
  guardMonths: rules.cellGuardMonths,
  shortestMonths: rules.shortestCellMonths,
})
