import { type Db, dateOf } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import {
  readSettings,
  type SettingName,
  type Settings,
  settingNames,
  settingTable,
} from '../../domain/tickets/settings.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'

/** Settings of the centre on a day. */
export async function settingsOn(db: Db, on: Day, currency: string): Promise<Settings> {
  const rows = await db.$queryRaw<{ key: string; value: unknown }[]>`
    select distinct on (key) key, value from house_rule where key = any(${settingNames}::text[]) and from_day <= ${on}::date order by key, from_day desc, id desc`
  return readSettings(Object.fromEntries(rows.map((row) => [row.key, row.value])), currency)
}

export async function listSettings(db: Db, on: Day, currency: string) {
  const settings = await settingsOn(db, on, currency)
  return settingNames.map((name) => ({
    key: name,
    value: (settings[name] as unknown) ?? null,
    words: settingTable[name].words,
    shape: settingTable[name].shape,
    missing: settingTable[name].missing,
    stopsHere: settings[name] === null,
  }))
}

export type NewSetting = { key: string; value: unknown; fromDay: Day; reason: string }

/** A dated value of a setting; the past keeps what it had. */
export async function changeSetting({ tx, today, who }: Act, input: NewSetting): Promise<Created> {
  if (!settingNames.includes(input.key as SettingName))
    throw faulty(['/key', `must be one of ${settingNames.join(', ')}`])
  const entry = settingTable[input.key as SettingName]
  const value = entry.read(input.value)
  if (value === null) throw faulty(['/value', `must be ${entry.shape}`])
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
  return { location: '/v1/centre-settings', body: { id: row.id, ...input, recordedBy: who.name } }
}
