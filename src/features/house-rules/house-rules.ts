import { type Db, dateOf, dayFrom } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { defaultHouseRules, type HouseRuleKey, type HouseRules, houseRuleTable } from '../../domain/house-rules.ts'
import {
  type LocalSettingKey,
  type LocalSettings,
  localSettingTable,
  settingFault,
} from '../../domain/local-settings.ts'
import {
  defaultNoticeRules,
  type NoticeRuleKey,
  type NoticeSetting,
  noticeRuleTable,
} from '../../domain/notices/notice-rules.ts'
import type { RulesFrom } from '../../domain/reckoning/outcome.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { type StockRuleKey, stockRuleTable } from '../../domain/stock/rules.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'

export type RulesInForce = {
  rules: HouseRules
  rulesFrom: RulesFrom
  notices: NoticeSetting
  local: LocalSettings
  /** the last day on which any of them changed; null where all are as they first were */
  changedOn: Day | null
}

/** Every table of numbers a centre may change. */
const ruleTable = { ...houseRuleTable, ...noticeRuleTable, ...stockRuleTable }
type RuleKey = HouseRuleKey | NoticeRuleKey | StockRuleKey
const isRule = (key: string): key is RuleKey => Object.hasOwn(ruleTable, key)
const isNoticeRule = (key: string): key is NoticeRuleKey => Object.hasOwn(noticeRuleTable, key)
const isLocalSetting = (key: string): key is LocalSettingKey => Object.hasOwn(localSettingTable, key)

type RuleRow = { key: string; value: unknown; fromDay: Date; recordedOn: Date }

const isReckoningRule = (key: string): key is HouseRuleKey => Object.hasOwn(houseRuleTable, key)

/**
 * The rules the reckoning uses that were in force on a day, as known then. A value that is not the first of its rule carries its from-day:
 * ninety-day fairness counts from it.
 */
export async function rulesInForce(db: Db, on: Day, until: Date | null = null): Promise<RulesInForce> {
  const rows: RuleRow[] = await db.houseRule.findMany({
    where: {
      fromDay: { lte: dateOf(on) },
      recordedOn: { lte: dateOf(on) },
      ...(until && { recordedAt: { lte: until } }),
    },
    orderBy: [{ fromDay: 'asc' }, { id: 'asc' }],
  })
  const rules: Record<HouseRuleKey, number> = { ...defaultHouseRules }
  const rulesFrom: Partial<Record<HouseRuleKey, Day>> = {}
  const noticeRules: Record<NoticeRuleKey, number> = { ...defaultNoticeRules }
  const local: Record<LocalSettingKey, string | number | null> = { notAsked: null }
  let changedOn: Day | null = null
  for (const row of rows) {
    changedOn = dayFrom(row.fromDay)
    if (isNoticeRule(row.key)) noticeRules[row.key] = row.value as number
    if (isLocalSetting(row.key)) local[row.key] = row.value as string | number
    if (!isReckoningRule(row.key)) continue
    if (rules[row.key] === row.value) continue
    rules[row.key] = row.value as number
    rulesFrom[row.key] = dayFrom(row.fromDay)
  }
  const notices: NoticeSetting = { rules: noticeRules, notAsked: local.notAsked as NoticeSetting['notAsked'] }
  return { rules, rulesFrom, notices, local, changedOn }
}

/** Every rule with its value on a day, its default, bounds, unit and meaning, and all its dated values. */
export async function listHouseRules(db: Db, on: Day) {
  const rows = await db.houseRule.findMany({ orderBy: [{ fromDay: 'asc' }, { id: 'asc' }] })
  return Object.entries(ruleTable).map(([key, rule]) => {
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
  const rule = isRule(input.key) ? ruleTable[input.key] : undefined
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
  if (isNoticeRule(input.key)) {
    // whatever may be written about is looked at on the night it comes into force
    await tx.$executeRaw`
      update obligation set next_notice_on = ${input.fromDay}::date
      where rule is not null and kind <> 'seals' and coming_up_from <= ${input.fromDay}::date
        and (stop_on is null or stop_on > ${input.fromDay}::date)
        and (next_notice_on is null or next_notice_on > ${input.fromDay}::date)`
  } else if (isReckoningRule(input.key)) {
    // each watch is reckoned again under the new value on the night it comes into force
    await tx.$executeRaw`
      update obligation set reckon_anew_on = ${input.fromDay}::date, reconsider_on = least(reconsider_on, ${input.fromDay}::date)
      where reckon_anew_on is null or reckon_anew_on > ${input.fromDay}::date`
  }
  return { location: '/v1/house-rules', body: { id: row.id, ...input, recordedBy: who.name } }
}

/** Every local setting with its value on a day; null is missing, and what leans on it stands still. */
export async function listLocalSettings(db: Db, on: Day) {
  const rows = await db.houseRule.findMany({
    where: { key: { in: Object.keys(localSettingTable) } },
    orderBy: [{ fromDay: 'asc' }, { id: 'asc' }],
  })
  return Object.entries(localSettingTable).map(([key, setting]) => {
    const values = rows.filter((row) => row.key === key)
    return {
      key,
      value: (values.filter((row) => dayFrom(row.fromDay) <= on).at(-1)?.value as string | number | undefined) ?? null,
      choices: 'choices' in setting ? [...setting.choices] : null,
      words: setting.words,
      values: values.map((row) => ({
        value: row.value as string | number,
        fromDay: dayFrom(row.fromDay),
        reason: row.reason,
        recordedBy: row.recordedBy,
      })),
    }
  })
}

/** Says what the law of the place wants, from a day on. What was held back for want of it is looked at that night. */
export async function setLocalSetting(
  { tx, today, who }: Act,
  input: { key: string; value: string | number; fromDay: Day; reason: string },
): Promise<Created> {
  if (!isLocalSetting(input.key)) throw faulty(['/key', 'is not a local setting; GET /v1/local-settings lists them'])
  const fault = settingFault(localSettingTable[input.key], input.value)
  if (fault) throw faulty(['/value', fault])
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
