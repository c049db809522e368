import type { Day } from '../day.ts'
import { addDays } from '../day.ts'
import type { HouseRules } from '../house-rules.ts'
import type { ObligationKind } from '../reckoning/facts.ts'
import { leastLetterOffset } from '../reckoning/windows.ts'
import type { NoticeRuleKey } from './notice-rules.ts'
import { askedEnough, isCellSign, toBeAssessed } from './rounds.ts'
import type { ObligationState } from './types.ts'

/**
 * Whose next letter a rule of the letters can bring forward, beside those that are looked at anyway: so a changed number
 * wakes these and no others. A letter day that comes as it would have come needs no waking, nor does one that moves
 * later. One too few would keep a letter waiting for a day no rule gives any more: a property test looks for it.
 */
export type LetterReach = readonly LetterTrait[]

/**
 * - `asked`: a letter day has been reached and the asking still runs, or it is to be assessed
 * - `begun`: a letter day has been reached, however long ago
 * - `written`: a letter of its cycle went, and the asking still runs
 * - `refused`: an offer was refused; the one letter after that goes whatever the windows say
 * - `held`: doubt held it once in this cycle
 * - `appointment`, `cell-sign`, `to-be-assessed`: as they say
 */
export type LetterTrait =
  | 'asked'
  | 'begun'
  | 'written'
  | 'refused'
  | 'held'
  | 'appointment'
  | 'cell-sign'
  | 'to-be-assessed'

/** Empty where every night asks the rule itself: what rides along, by which day to come, quiet days, guarantees. */
export const reachOfNoticeRule: Readonly<Record<NoticeRuleKey, LetterReach>> = {
  letterRhythmDays: ['asked', 'refused'],
  lettersAYear: ['asked', 'refused'],
  quietWeekdays: [],
  roundReachDays: ['written'],
  gatherDays: [],
  assessAfterDays: ['to-be-assessed'],
  callDays: ['cell-sign'],
  comeByDays: [],
  doubtHoldDays: ['held'],
  refusalQuietMonths: ['refused'],
  refusalQuietCellDays: ['refused'],
  appointmentQuietDays: ['appointment'],
  // what is folded anew may lead a letter whose day has passed
  serviceSwallowsAfterDays: ['begun'],
  serviceSwallowsCellBeforeDays: ['begun'],
  cellSwallowsCheckDays: ['begun'],
  guaranteeLeadDays: [],
  guaranteeOwnLetter: [],
}

/** The last notices-due day, by kind, with which a letter day may have been reached. */
export const begunUntil = (kind: ObligationKind, rules: HouseRules, today: Day): Day =>
  addDays(today, -leastLetterOffset(kind, rules))

/** Whether the item has one of the traits. The same test as SQL is in features/re-reckonings/scope.ts. */
export const reachesItem = (reach: LetterReach, item: ObligationState, rules: HouseRules, today: Day): boolean =>
  item.kind !== 'seals' && reach.some((trait) => has(trait, item, rules, today))

function has(trait: LetterTrait, item: ObligationState, rules: HouseRules, today: Day): boolean {
  const begun = toBeAssessed(item) || item.noticesDueOn <= begunUntil(item.kind, rules, today)
  switch (trait) {
    case 'asked':
      return begun && !askedEnough(item, today)
    case 'begun':
      return begun
    case 'written':
      return item.booked.some((b) => b.booked === 'letter') && !askedEnough(item, today)
    case 'refused':
      return item.declinedOn !== null
    case 'held':
      return item.heldSince !== null
    case 'appointment':
      return item.appointmentOn !== null
    case 'cell-sign':
      return isCellSign(item) && !askedEnough(item, today)
    case 'to-be-assessed':
      return toBeAssessed(item)
  }
}
