import type { Database } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { Refusal } from '../../domain/refusals.ts'
import { type NewGuidance, readGuidance } from '../guidance/guidance.ts'
import { readRuleValue } from '../house-rules/change.ts'
import { isReckoningRule, ruleTable } from '../house-rules/house-rules.ts'
import { rehearse } from './rehearse.ts'

/** Another value of a number of the reckoning, from a day on: only thought of. */
export async function rehearseHouseRule(
  database: Database,
  today: Day,
  input: { key: string; value: number; fromDay: Day; weeks: number },
) {
  readRuleValue(input, today)
  const { key, value, fromDay, weeks } = input
  if (!isReckoningRule(key))
    throw new Refusal('faulty-input', {}, [
      { pointer: '/key', detail: `moves no date of a watch (${ruleTable[key as keyof typeof ruleTable].words})` },
    ])
  return rehearse(database, {
    scope: { of: 'rule', key },
    on: fromDay,
    weeks,
    rules: (now) =>
      now.rules[key] === value
        ? now
        : { ...now, rules: { ...now.rules, [key]: value }, rulesFrom: { ...now.rulesFrom, [key]: fromDay } },
  })
}

/** A maker's word on a calibre or model: only thought of. Reckoned on the day it would be both known and in force. */
export async function rehearseGuidance(
  database: Database,
  today: Day,
  input: Omit<NewGuidance, 'sourcePaper'> & { weeks: number },
) {
  const { scope, learned } = readGuidance(input, today)
  return rehearse(database, {
    scope,
    on: input.inForceFrom > today ? input.inForceFrom : today,
    weeks: input.weeks,
    rules: (now) => now,
    guidance: {
      obligation: input.obligation,
      months: input.months,
      upToMonths: input.upToMonths ?? null,
      inForceFrom: input.inForceFrom,
      learned,
    },
  })
}
