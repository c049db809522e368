import type { ObligationKind } from './facts.ts'
import type { Outcome, Reckoned, Setting } from './outcome.ts'
import { say, type Trace } from './trace.ts'
import { stopOn } from './windows.ts'

type Due = Extract<Outcome, { is: 'reckoned' | 'happened' }>

/** Which of the four rules gave the day letters and windows count from. */
export type NoticesBy = 'due-day' | 'ninety-days' | 'last-word' | 'first-seen' | 'ordinary-day'

export interface NoticesDue {
  readonly on: number
  readonly by: NoticesBy
  /** an ordinary day that is still to come and will then take over; null where there is none */
  readonly ordinaryDayToCome: number | null
}

/**
 * The day letters and windows count from:
 * 1. where the rule is an event's, the last word of it, so that a new sign is asked about again;
 * 2. else the due day, or, where that lay in the past when its reasons became known, a fair time after they did;
 * 3. where the asking would have ended before this owner was known, the day he was first seen;
 * 4. where the asking about an event has ended and the ordinary date has come since, that date: an unheeded sign does
 *    not silence the ordinary letters for ever.
 */
export function noticesDue(
  kind: ObligationKind,
  due: Due,
  firstSeen: number,
  on: number,
  setting: Setting,
  trace?: Trace,
): NoticesDue {
  let day: number
  let by: NoticesBy
  if (due.is === 'happened') {
    day = due.lastWord
    by = 'last-word'
    trace?.applied('last-word', `the last word of what happened is ${say(day)}`)
  } else {
    day = fairDay(due.reckoned, setting)
    by = day === due.dueOn ? 'due-day' : 'ninety-days'
    sayFairDay(due.reckoned, day, trace)
  }

  const rule = due.is === 'happened' ? due.rule : due.reckoned.rule
  if (stopOn(kind, rule, day, setting.rules) <= firstSeen) {
    day = firstSeen
    by = 'first-seen'
    trace?.applied('born-late', `asking would have ended before it was first seen on ${say(firstSeen)}`)
  } else trace?.tried('born-late', 'asking does not end before it was first seen')

  if (due.is === 'reckoned' || due.ordinary === null) return { on: day, by, ordinaryDayToCome: null }
  const ordinaryDay = fairDay(due.ordinary, setting)
  if (ordinaryDay < stopOn(kind, rule, day, setting.rules)) {
    trace?.tried('ordinary-day', `the ordinary day ${say(ordinaryDay)} comes before the asking ends`)
    return { on: day, by, ordinaryDayToCome: null }
  }
  if (ordinaryDay > on) {
    trace?.tried('ordinary-day', `the ordinary day ${say(ordinaryDay)} is still to come`)
    return { on: day, by, ordinaryDayToCome: ordinaryDay }
  }
  trace?.applied('ordinary-day', `the asking ended before the ordinary day ${say(ordinaryDay)}, which has come`)
  return { on: ordinaryDay, by: 'ordinary-day', ordinaryDayToCome: null }
}

/** Ninety-day fairness: a date that lay in the past when its reasons became known is asked about a while later. */
function fairDay(reckoned: Reckoned, setting: Setting): number {
  return reckoned.dueOn < reckoned.heard ? reckoned.heard + setting.rules.fairnessDays : reckoned.dueOn
}

function sayFairDay(reckoned: Reckoned, day: number, trace: Trace | undefined): void {
  if (day === reckoned.dueOn) trace?.tried('ninety-days', 'nothing it rests on became known after the due day')
  else trace?.applied('ninety-days', `${say(reckoned.dueOn)} had passed when it became known on ${say(reckoned.heard)}`)
}
