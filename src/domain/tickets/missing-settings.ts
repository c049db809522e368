import type { LocalSettingKey } from '../local-settings.ts'
import type { GateAnswer } from './gates.ts'
import type { Snapshot } from './snapshot.ts'

/** The local setting for want of which a gate is shut; null where it is shut for something else, or open. */
export function settingBehind(gate: GateAnswer, { settings, observation }: Snapshot): LocalSettingKey | null {
  const missing: Readonly<Record<string, LocalSettingKey | false>> = {
    'G3 cover': settings.coverPerItem === null && 'coverPerItem',
    'G5 local-rules': !settings.radiationRules && 'radiationRules',
    'G7 confirmation': settings.phoneYesUpTo === null && 'phoneYesUpTo',
    'G12 hours': observation.asked?.hours === null && 'observationHours',
  }
  for (const part of gate.parts) {
    const key = part.open ? false : missing[`${gate.gate} ${part.part}`]
    if (key) return key
  }
  return null
}
