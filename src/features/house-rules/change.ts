import { dateOf } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { type HouseTable, isFault } from '../../domain/house-tables.ts'
import { localSettingTable } from '../../domain/local-settings.ts'
import { reachOfNoticeRule } from '../../domain/notices/rule-reach.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { startReReckoning } from '../re-reckonings/re-reckonings.ts'
import { forgetForecasts, isForecastRule } from '../reports/demand.ts'
import {
  isLocalSetting,
  isNoticeRule,
  isReckoningRule,
  isRule,
  isTableRule,
  type RuleValue,
  ruleTable,
  tableRules,
} from './house-rules.ts'

export type NewRuleValue = { key: string; value: RuleValue; fromDay: Day; reason: string }

/** The value as it is kept. Refuses one that the rule does not take, or a day that has passed. */
export function readRuleValue(input: Omit<NewRuleValue, 'reason'>, today: Day): RuleValue {
  const value = isTableRule(input.key) ? readTable(input.key, input.value) : readNumber(input.key, input.value)
  if (input.fromDay < today)
    throw new Refusal('rule-in-past', { earliest: today }, [
      { pointer: '/fromDay', detail: `must not lie before ${today}` },
    ])
  return value
}

function readNumber(key: string, value: RuleValue): number {
  const rule = isRule(key) ? ruleTable[key] : undefined
  if (!rule) throw faulty(['/key', 'is not a house rule; GET /v1/house-rules lists them'])
  if (typeof value !== 'number' || !Number.isInteger(value) || value < rule.min || value > rule.max)
    throw faulty(['/value', `must be a whole number from ${rule.min} to ${rule.max} (${rule.unit})`])
  return value
}

function readTable(key: keyof typeof tableRules, value: RuleValue): RuleValue {
  const read = (tableRules[key] as HouseTable).read(value)
  if (isFault(read)) throw faulty([`/value${read.pointer}`, read.detail])
  return read.value as Record<string, unknown>
}

/** Whether dates, or days to look at letters, may move; what no look asks for ahead is read anew every night. */
const touchesWatches = (key: string): boolean =>
  isReckoningRule(key) || (isNoticeRule(key) && reachOfNoticeRule[key].length > 0)

/** A new value from a day on. The past is not rewritten, so the day may be today at the earliest. */
export async function changeHouseRule(act: Act, input: NewRuleValue): Promise<Created> {
  const { tx, today, who } = act
  const value = readRuleValue(input, today)
  const row = await tx.houseRule.create({
    data: {
      key: input.key,
      value: value as number | object,
      fromDay: dateOf(input.fromDay),
      reason: input.reason,
      recordedOn: dateOf(today),
      recordedBy: who.name,
    },
  })
  // of a day to come, the reader of forecasts asks for the day itself
  if (isForecastRule(input.key) && input.fromDay <= today) await forgetForecasts(tx)
  const reReckoning = touchesWatches(input.key)
    ? await startReReckoning(
        act,
        { houseRuleId: row.id },
        isReckoningRule(input.key) ? { of: 'rule', key: input.key } : null,
        input.fromDay,
      )
    : null
  return { location: '/v1/house-rules', body: { id: row.id, ...input, value, recordedBy: who.name, reReckoning } }
}

/** Says what only the place can say, from a day on; the past keeps what it had. What was held back for want of it is looked at that night. */
export async function setLocalSetting(
  { tx, today, who }: Act,
  input: { key: string; value: unknown; fromDay: Day; reason: string },
): Promise<Created> {
  if (!isLocalSetting(input.key)) throw faulty(['/key', 'is not a local setting; GET /v1/local-settings lists them'])
  const setting = localSettingTable[input.key]
  const value = setting.read(input.value)
  if (value === null) throw faulty(['/value', `must be ${setting.shape}`])
  if (input.fromDay < today)
    throw new Refusal('rule-in-past', { earliest: today }, [
      { pointer: '/fromDay', detail: `must not lie before ${today}` },
    ])
  const row = await tx.houseRule.create({
    data: {
      key: input.key,
      value: value as object,
      fromDay: dateOf(input.fromDay),
      reason: input.reason,
      recordedOn: dateOf(today),
      recordedBy: who.name,
    },
  })
  await tx.$executeRaw`
    update task set done_at = now(), done_by = ${who.name}, done_how = 'the setting was made'
    where dedupe = ${`setting:${input.key}`} and done_at is null`
  if (input.key === 'notAsked')
    await tx.$executeRaw`
      update obligation set next_notice_on = ${input.fromDay}::date
      from (select distinct watch_id, kind from withheld_item where reasons && array['not-asked', 'not-asked-rule-missing']) held
      where obligation.watch_id = held.watch_id and obligation.kind = held.kind and rule is not null
        and (next_notice_on is null or next_notice_on > ${input.fromDay}::date)`
  return { location: '/v1/local-settings', body: { id: row.id, ...input, recordedBy: who.name } }
}
