import type { Day } from '../day.ts'
import type { Standing } from '../reckoning/answer.ts'
import { standingOn } from '../reckoning/windows.ts'
import type { ObligationState } from './types.ts'

/** Where an obligation stands on a day, from the windows as they were reckoned. */
export function standingOf(
  item: Pick<ObligationState, 'comingUpFrom' | 'noticesDueOn' | 'overdueFrom' | 'stopOn'>,
  today: Day,
): Standing {
  if (item.stopOn === null || item.overdueFrom === null) return 'to-be-assessed'
  return standingOn(today, item.comingUpFrom, item.noticesDueOn, item.overdueFrom, item.stopOn)
}
