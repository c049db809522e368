import { type Db, dayFrom } from '../../db/open.ts'
import type { Sql } from '../../db/sql.ts'
import type { Day } from '../../domain/day.ts'
import { defaultHouseRules, type HouseRuleKey, type HouseRules, houseRuleTable } from '../../domain/house-rules.ts'
import { type HouseTable, tableFrom } from '../../domain/house-tables.ts'
import {
  type LocalSettingKey,
  type LocalSettings,
  localSettingKeys,
  localSettingTable,
  readLocalSettings,
} from '../../domain/local-settings.ts'
import {
  defaultNoticeRules,
  type NoticeRuleKey,
  type NoticeSetting,
  noticeRuleTable,
} from '../../domain/notices/notice-rules.ts'
import type { RulesFrom } from '../../domain/reckoning/outcome.ts'
import { type StockRuleKey, stockRuleTable, wasteFeeTable } from '../../domain/stock/rules.ts'
import { type TicketRuleKey, ticketRuleTable } from '../../domain/tickets/rules.ts'
import { ticketTables } from '../../domain/tickets/tables.ts'

/** A number, or the object of a table. */
export type RuleValue = number | Record<string, unknown>

export type RulesInForce = {
  rules: HouseRules
  rulesFrom: RulesFrom
  notices: NoticeSetting
  local: LocalSettings
  /** the last day on which any of them changed; null where all are as they first were */
  changedOn: Day | null
}

/** Every table of numbers a centre may change. */
export const ruleTable = { ...houseRuleTable, ...noticeRuleTable, ...stockRuleTable, ...ticketRuleTable }
/** Every table a centre may change: the same rows and the same door, their values small objects. */
export const tableRules = { ...ticketTables, cellWasteFees: wasteFeeTable }
export type RuleKey = HouseRuleKey | NoticeRuleKey | StockRuleKey | TicketRuleKey
export const isRule = (key: string): key is RuleKey => Object.hasOwn(ruleTable, key)
export const isTableRule = (key: string): key is keyof typeof tableRules => Object.hasOwn(tableRules, key)
export const isReckoningRule = (key: string): key is HouseRuleKey => Object.hasOwn(houseRuleTable, key)
export const isNoticeRule = (key: string): key is NoticeRuleKey => Object.hasOwn(noticeRuleTable, key)
export const isLocalSetting = (key: string): key is LocalSettingKey => Object.hasOwn(localSettingTable, key)

/**
 * The rules the reckoning uses that were in force on a day, as known then. A value that is not the first of its rule carries its from-day:
 * ninety-day fairness counts from it.
 */
export async function rulesInForce(db: Sql, on: Day, until: Date | null = null): Promise<RulesInForce> {
  const rows = await db.$queryRaw<{ key: string; value: unknown; fromDay: Day }[]>`
    select key, value, from_day::text as "fromDay" from house_rule
    where from_day <= ${on}::date and recorded_on <= ${on}::date and recorded_at <= coalesce(${until}::timestamptz, 'infinity')
    order by from_day, id`
  const rules: Record<HouseRuleKey, number> = { ...defaultHouseRules }
  const rulesFrom: Partial<Record<HouseRuleKey, Day>> = {}
  const noticeRules: Record<NoticeRuleKey, number> = { ...defaultNoticeRules }
  const stored: Record<string, unknown> = {}
  let changedOn: Day | null = null
  for (const row of rows) {
    changedOn = row.fromDay
    if (isNoticeRule(row.key)) noticeRules[row.key] = row.value as number
    if (isLocalSetting(row.key)) stored[row.key] = row.value
    if (!isReckoningRule(row.key)) continue
    if (rules[row.key] === row.value) continue
    rules[row.key] = row.value as number
    rulesFrom[row.key] = row.fromDay
  }
  const local = readLocalSettings(stored)
  const notices: NoticeSetting = { rules: noticeRules, notAsked: local.notAsked }
  return { rules, rulesFrom, notices, local, changedOn }
}

/** Every rule with its value on a day, its default, bounds, unit and meaning, and all its dated values; then the tables. */
export async function listHouseRules(db: Db, on: Day) {
  const rows = await db.houseRule.findMany({ orderBy: [{ fromDay: 'asc' }, { id: 'asc' }] })
  const dated = <T extends { default: unknown }>(key: string, rule: T) => {
    const values = rows.filter((row) => row.key === key)
    const now = values.filter((row) => dayFrom(row.fromDay) <= on).at(-1)
    return {
      value: (now?.value as RuleValue | undefined) ?? (rule.default as RuleValue),
      values: values.map((row) => ({
        id: row.id,
        value: row.value as RuleValue,
        fromDay: dayFrom(row.fromDay),
        reason: row.reason,
        recordedAt: row.recordedAt.toISOString(),
        recordedBy: row.recordedBy,
      })),
    }
  }
  return [
    ...Object.entries(ruleTable).map(([key, rule]) => ({
      key,
      default: rule.default,
      min: rule.min,
      max: rule.max,
      unit: rule.unit,
      words: rule.words,
      ...dated(key, rule),
    })),
    ...Object.entries(tableRules).map(([key, rule]) => ({
      key,
      default: rule.default as RuleValue,
      min: null,
      max: null,
      unit: 'table',
      words: rule.words,
      shape: rule.shape,
      source: rule.source,
      ...dated(key, rule),
    })),
  ]
}

/** What is stored for a day, by key: read it with `readTicketRules`, `readTicketTables` or `readLocalSettings`. */
export async function storedOn(db: Sql, on: Day): Promise<Record<string, unknown>> {
  const rows = await db.$queryRaw<{ key: string; value: unknown }[]>`
    select key, value from rules_in_force(${on}::date)`
  return Object.fromEntries(rows.map((row) => [row.key, row.value]))
}

/** A table in force on a day; the first one where the house never changed it. */
export async function tableOn<Key extends keyof typeof tableRules>(
  db: Sql,
  key: Key,
  on: Day,
): Promise<(typeof tableRules)[Key]['default']> {
  const [row] = await db.$queryRaw<{ value: unknown }[]>`
    select value from rules_in_force(${on}::date) where key = ${key}`
  return tableFrom(tableRules[key] as HouseTable<(typeof tableRules)[Key]['default']>, row?.value)
}

/** The local settings of a day. */
export async function localSettingsOn(db: Db, on: Day): Promise<LocalSettings> {
  const rows = await db.$queryRaw<{ key: string; value: unknown }[]>`
    select key, value from rules_in_force(${on}::date) where key = any(${localSettingKeys}::text[])`
  return readLocalSettings(Object.fromEntries(rows.map((row) => [row.key, row.value])))
}

/** Every local setting with its value on a day; what is missing and has no default stops the work that leans on it. */
export async function listLocalSettings(db: Db, on: Day) {
  const rows = await db.houseRule.findMany({
    where: { key: { in: localSettingKeys } },
    orderBy: [{ fromDay: 'asc' }, { id: 'asc' }],
  })
  const now = await localSettingsOn(db, on)
  return localSettingKeys.map((key) => ({
    key,
    value: now[key] as unknown,
    words: localSettingTable[key].words,
    shape: localSettingTable[key].shape,
    missing: localSettingTable[key].missing,
    stopsHere: now[key] === null,
    values: rows
      .filter((row) => row.key === key)
      .map((row) => ({
        value: row.value as unknown,
        fromDay: dayFrom(row.fromDay),
        reason: row.reason,
        recordedBy: row.recordedBy,
      })),
  }))
}
