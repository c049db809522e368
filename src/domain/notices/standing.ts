import type { Day } from '../day.ts'
import type { Standing } from '../reckoning/answer.ts'
import type { ObligationState } from './types.ts'

/** Where an obligation stands on a day, from the windows as they were reckoned. */
export function standingOf(
  item: Pick<ObligationState, 'comingUpFrom' | 'noticesDueOn' | 'overdueFrom' | 'stopOn'>,
  today: Day,
): Standing {
  if (item.stopOn === null || item.overdueFrom === null) return 'to-be-assessed'
  if (today < item.comingUpFrom) return 'not-yet'
  if (today < item.noticesDueOn) return 'coming-up'
  if (today < item.overdueFrom) return 'due'
  return today < item.stopOn ? 'overdue' : 'asked-enough'
}
