import { type Db, dateOf, dayFrom } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { defaultHouseRules, type HouseRuleKey, type HouseRules, houseRuleTable } from '../../domain/house-rules.ts'
import type { RulesFrom } from '../../domain/reckoning/outcome.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'

export type RulesInForce = { rules: HouseRules; rulesFrom: RulesFrom }

type RuleRow = { key: string; value: unknown; fromDay: Date; recordedOn: Date }

const isReckoningRule = (key: string): key is HouseRuleKey => key in houseRuleTable

/**
 * The rules the reckoning uses that were in force on a day, as known then. A value that is not the first of its rule carries its from-day:
 * ninety-day fairness counts from it.
 */
export async function rulesInForce(db: Db, on: Day): Promise<RulesInForce> {
  const rows: RuleRow[] = await db.houseRule.findMany({
    where: { fromDay: { lte: dateOf(on) }, recordedOn: { lte: dateOf(on) } },
    orderBy: [{ fromDay: 'asc' }, { id: 'asc' }],
  })
  const rules: Record<HouseRuleKey, number> = { ...defaultHouseRules }
  const rulesFrom: Partial<Record<HouseRuleKey, Day>> = {}
  for (const row of rows) {
    if (!isReckoningRule(row.key)) continue
    if (rules[row.key] === row.value) continue
    rules[row.key] = row.value as number
    rulesFrom[row.key] = dayFrom(row.fromDay)
  }
  return { rules, rulesFrom }
}

/** Every rule with its value on a day, its default, bounds, unit and meaning, and all its dated values. */
export async function listHouseRules(db: Db, on: Day) {
  const rows = await db.houseRule.findMany({ orderBy: [{ fromDay: 'asc' }, { id: 'asc' }] })
  return Object.entries(houseRuleTable).map(([key, rule]) => {
    const values = rows.filter((row) => row.key === key)
    const now = values.filter((row) => dayFrom(row.fromDay) <= on).at(-1)
    return {
      key,
      value: (now?.value as number | undefined) ?? rule.default,
      default: rule.default,
      min: rule.min,
      max: rule.max,
      unit: rule.unit,
      words: rule.words,
      values: values.map((row) => ({
        id: row.id,
        value: row.value as number,
        fromDay: dayFrom(row.fromDay),
        reason: row.reason,
        recordedAt: row.recordedAt.toISOString(),
        recordedBy: row.recordedBy,
      })),
    }
  })
}

export type NewRuleValue = { key: string; value: number; fromDay: Day; reason: string }

/** A new value from a day on. The past is not rewritten, so the day may be today at the earliest. */
export async function changeHouseRule({ tx, today, who }: Act, input: NewRuleValue): Promise<Created> {
  const rule = isReckoningRule(input.key) ? houseRuleTable[input.key] : undefined
  if (!rule) throw faulty(['/key', 'is not a house rule; GET /v1/house-rules lists them'])
  if (!Number.isInteger(input.value) || input.value < rule.min || input.value > rule.max)
    throw faulty(['/value', `must be a whole number from ${rule.min} to ${rule.max} (${rule.unit})`])
  if (input.fromDay < today)
    throw new Refusal('rule-in-past', { earliest: today }, [
      { pointer: '/fromDay', detail: `must not lie before ${today}` },
    ])
  const row = await tx.houseRule.create({
    data: {
      key: input.key,
      value: input.value,
      fromDay: dateOf(input.fromDay),
      reason: input.reason,
      recordedOn: dateOf(today),
      recordedBy: who.name,
    },
  })
  // each watch is reckoned again under the new value on the night it comes into force
  await tx.$executeRaw`
    update obligation set reconsider_on = ${input.fromDay}::date
    where reconsider_on is null or reconsider_on > ${input.fromDay}::date`
  return { location: '/v1/house-rules', body: { id: row.id, ...input, recordedBy: who.name } }
}
