/**
 * What the law or the custom of the place decides and no default can stand for: missing means stop, and a task for the
 * manager. Kept as dated rows beside the house rules; each is a word of a list or a whole number within bounds.
 */
export type LocalSetting =
  | { readonly choices: readonly string[]; readonly words: string }
  | { readonly min: number; readonly max: number; readonly unit: string; readonly words: string }

const minutes = (what: string) => ({
  min: 1,
  max: 6000,
  unit: 'minutes',
  words: `How long ${what} takes on the bench in this house; without it a rehearsal of rules tells no hours of that kind`,
})

export const localSettingTable = {
  notAsked: {
    choices: ['write', 'do-not-write'],
    words: 'Whether an owner who was never asked about letters is written to; the law of the place decides',
  },
  completeServiceMinutes: minutes('a complete service'),
  waterCheckMinutes: minutes('a water check'),
  cellChangeMinutes: minutes('a cell change'),
  sealsMinutes: minutes('a replacement of seals'),
} as const satisfies Readonly<Record<string, LocalSetting>>

export type LocalSettingKey = keyof typeof localSettingTable
export type LocalSettings = Readonly<Record<LocalSettingKey, string | number | null>>

/** Why a value does not fit a setting, in words; null where it does. */
export function settingFault(setting: LocalSetting, value: string | number): string | null {
  if ('choices' in setting)
    return setting.choices.includes(value as string) ? null : `must be one of: ${setting.choices.join(', ')}`
  const fits = typeof value === 'number' && Number.isInteger(value) && value >= setting.min && value <= setting.max
  return fits ? null : `must be a whole number from ${setting.min} to ${setting.max} (${setting.unit})`
}
