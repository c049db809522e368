import type { Day } from '../../src/domain/day.ts'
import { setLocalSetting } from '../../src/features/house-rules/change.ts'
import { doing, type Step } from './step.ts'

const opened = '2026-01-05' as Day

/** What only a centre can say of itself; this one is invented, and so are the laws of its place. */
const settings: Record<string, unknown> = {
  notAsked: 'do-not-write',
  coverPerItem: { amount: 1_500_000, currency: 'EUR' },
  coverTotal: { amount: 80_000_000, currency: 'EUR' },
  insurerNoticeDays: 3,
  phoneYesUpTo: { amount: 40_000, currency: 'EUR' },
  contactAttempts: 3,
  observationHours: { quartz: 24, 'three-hand': 72, chronograph: 96, vintage: 120 },
  radiationRules: 'Radium lume only at the vintage bench, closed, with the extractor on; see the folder at the door.',
  unclaimedLaw: { name: 'By-law on goods left behind, Hollowmere', monthsIfOwed: 3, monthsIfNotOwed: 12 },
  taxRates: { standard: 2000, none: 0 },
  rounding: 'per-total',
}

export const centreSettings: Step = {
  name: 'What only the centre can say',
  run: async (demo) => {
    await doing(
      demo,
      async (act) => {
        for (const [key, value] of Object.entries(settings))
          await setLocalSetting(act, { key, value, fromDay: opened, reason: 'the centre opens' })
      },
      opened,
    )
    return `${Object.keys(settings).length} settings; owners who were never asked are not written to`
  },
}
