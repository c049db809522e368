import { dayOfNumber } from '../day.ts'
import type { Obligation, Rule, Standing } from './answer.ts'
import type { ObligationKind } from './facts.ts'
import { type NoticesDue, noticesDue } from './notices-due.ts'
import type { Base, Outcome, Setting } from './outcome.ts'
import { say, type Trace } from './trace.ts'
import type { Known } from './usable.ts'
import { comingUpFrom, overdueFrom, standingOn, stopOn } from './windows.ts'

export type Due = Exclude<Outcome, { is: 'without' }>

/** Where an outcome stands in time, in day numbers. */
export interface Placed {
  readonly rule: Rule
  readonly base: Base | null
  readonly months: number | null
  readonly dueOn: number
  readonly noticesDueOn: number
  readonly comingUpFrom: number
  /** null for what is to be assessed: it is never overdue, and stays so for ever */
  readonly overdueFrom: number | null
  readonly stopOn: number | null
  readonly standing: Standing
  readonly notices: NoticesDue | null
}

/** Finds the day letters count from, and lays the windows around it. */
export function place(kind: ObligationKind, due: Due, known: Known, setting: Setting, trace?: Trace): Placed {
  if (due.is === 'to-be-assessed') {
    return {
      rule: 'unknown-base',
      base: null,
      months: null,
      dueOn: due.dueOn,
      noticesDueOn: due.dueOn,
      comingUpFrom: due.dueOn,
      overdueFrom: null,
      stopOn: null,
      standing: 'to-be-assessed',
      notices: null,
    }
  }
  const rule = due.is === 'happened' ? due.rule : due.reckoned.rule
  trace?.applied(
    'due-on',
    due.is === 'happened' && due.ordinary !== null
      ? `${say(due.dueOn)}, the earlier of what happened on ${say(due.eventOn)} and of ${say(due.ordinary.dueOn)}`
      : say(due.dueOn),
  )
  const notices = noticesDue(kind, due, known.firstSeen, known.on, setting, trace)
  const comingUp = comingUpFrom(kind, rule, notices.on, setting.rules)
  const overdue = overdueFrom(kind, rule, notices.on, setting.rules)
  const stop = stopOn(kind, rule, notices.on, setting.rules)
  trace?.applied(
    'windows',
    `coming up from ${say(comingUp)}, due ${say(notices.on)}, overdue from ${say(overdue)}, asked enough from ${say(stop)}`,
  )
  return {
    rule,
    base: due.base,
    months: due.is === 'happened' ? null : due.reckoned.months,
    dueOn: due.dueOn,
    noticesDueOn: notices.on,
    comingUpFrom: comingUp,
    overdueFrom: overdue,
    stopOn: stop,
    standing: standingOn(known.on, comingUp, notices.on, overdue, stop),
    notices,
  }
}

export const obligationOf = (kind: ObligationKind, placed: Placed): Obligation => ({
  kind,
  rule: placed.rule,
  baseOn: placed.base === null ? null : dayOfNumber(placed.base.on),
  baseFrom: placed.base === null ? 'none' : placed.base.from,
  months: placed.months,
  dueOn: dayOfNumber(placed.dueOn),
  noticesDueOn: dayOfNumber(placed.noticesDueOn),
  comingUpFrom: dayOfNumber(placed.comingUpFrom),
  overdueFrom: placed.overdueFrom === null ? null : dayOfNumber(placed.overdueFrom),
  stopOn: placed.stopOn === null ? null : dayOfNumber(placed.stopOn),
  standing: placed.standing,
})
