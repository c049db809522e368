import type { Day } from '../../src/domain/day.ts'
import { changeHouseRule } from '../../src/features/house-rules/change.ts'
import { doing, type Step } from './step.ts'

/** Rules the house has changed, each on the day it was decided; and one that is decided and not yet in force. */
const changed = [
  {
    decided: '2026-08-10' as Day,
    key: 'useUnknownCheckMonths',
    value: 21,
    fromDay: '2026-09-01' as Day,
    reason: 'two flooded watches of which we had never asked how they are worn',
  },
  {
    decided: '2026-11-20' as Day,
    key: 'lifeSharePercent',
    value: 85,
    fromDay: '2027-01-01' as Day,
    reason: 'cells ran out before their day twice this year',
  },
]

export const rules: Step = {
  name: 'House rules',
  run: async (demo) => {
    for (const { decided, ...rule } of changed) await doing(demo, (act) => changeHouseRule(act, rule), decided)
    return changed.map(({ key, value, fromDay }) => `${key} is ${value} from ${fromDay}`).join('; ')
  },
}
