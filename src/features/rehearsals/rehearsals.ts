import type { Database } from '../../db/open.ts'
import { addMonths, type Day } from '../../domain/day.ts'
import { Refusal } from '../../domain/refusals.ts'
import { sumOf, toFixed } from '../../domain/stock/fraction.ts'
import { type NewGuidance, readGuidance } from '../guidance/guidance.ts'
import { readRuleValue } from '../house-rules/change.ts'
import {
  isNoticeRule,
  isReckoningRule,
  type RuleKey,
  type RulesInForce,
  ruleTable,
} from '../house-rules/house-rules.ts'
import { type Forecast, forecastDemand, isForecastRule } from '../reports/demand.ts'
import { stockRulesOn } from '../stock-entries/rules.ts'
import { firstDayAfter, nothingMoves, readingOnly, rehearse } from './rehearse.ts'

type AskedRule = { key: string; value: number; fromDay: Day; weeks: number }

/**
 * Another value of a rule from a day on, only thought of: of the reckoning, of the letters (which move no date), or one
 * that the expected demand of cells is made with.
 */
export async function rehearseHouseRule(database: Database, today: Day, input: AskedRule, owners?: number) {
  readRuleValue(input, today)
  const { key, fromDay, weeks } = input
  if (isForecastRule(key)) return rehearseDemand(database, today, input)
  if (!isReckoningRule(key) && !isNoticeRule(key))
    throw new Refusal('faulty-input', {}, [
      {
        pointer: '/key',
        detail: `moves no date of a watch, no letter and no expected demand (${ruleTable[key as RuleKey].words})`,
      },
    ])
  const thought = {
    scope: isReckoningRule(key) ? ({ of: 'rule', key } as const) : null,
    key,
    today,
    on: fromDay,
    weeks,
    rules: withValue(input),
  }
  return { ...(await rehearse(database, thought, owners)), demand: [] }
}

/** The rules of a day with the other value in force from its own day. */
const withValue =
  ({ key, value, fromDay }: AskedRule) =>
  (now: RulesInForce): RulesInForce => {
    if (isNoticeRule(key)) return { ...now, notices: { ...now.notices, rules: { ...now.notices.rules, [key]: value } } }
    if (!isReckoningRule(key) || now.rules[key] === value) return now
    return { ...now, rules: { ...now.rules, [key]: value }, rulesFrom: { ...now.rulesFrom, [key]: fromDay } }
  }

/** Cells that would be asked for, by designation, in the months the weeks touch: no watch moves and no letter. */
async function rehearseDemand(database: Database, today: Day, { key, value, fromDay, weeks }: AskedRule) {
  const until = firstDayAfter({ on: fromDay, weeks })
  return readingOnly(database, async (tx) => {
    const rules = await stockRulesOn(tx, fromDay)
    const before = await forecastDemand(tx, null, today, rules)
    const after = await forecastDemand(tx, null, today, { ...rules, [key]: value })
    const names = await tx.stockItem.findMany({ where: { what: 'cell' }, select: { id: true, name: true } })
    const name = new Map(names.map((item) => [item.id, item.name]))
    const pieces = ({ months, firstMonth }: Forecast): number => {
      const within = months.filter((_, i) => addMonths(firstMonth, i + 1) > fromDay && addMonths(firstMonth, i) < until)
      return Number(toFixed(sumOf(within), 2))
    }
    const demand = before
      .map((forecast, i) => ({
        designation: name.get(forecast.itemId) ?? '',
        before: pieces(forecast),
        after: pieces(after[i] as Forecast),
      }))
      .sort((a, b) => (a.designation < b.designation ? -1 : 1))
    return { ...nothingMoves({ on: fromDay, weeks }), demand }
  })
}

/** A maker's word on a calibre or model: only thought of. Reckoned on the day it would be both known and in force. */
export async function rehearseGuidance(
  database: Database,
  today: Day,
  input: Omit<NewGuidance, 'sourcePaper'> & { weeks: number },
  owners?: number,
) {
  const { scope, learned } = readGuidance(input, today)
  const thought = {
    scope,
    key: null,
    today,
    on: input.inForceFrom > today ? input.inForceFrom : today,
    weeks: input.weeks,
    rules: (now: RulesInForce) => now,
    guidance: {
      obligation: input.obligation,
      months: input.months,
      upToMonths: input.upToMonths ?? null,
      inForceFrom: input.inForceFrom,
      learned,
    },
  }
  return { ...(await rehearse(database, thought, owners)), demand: [] }
}
