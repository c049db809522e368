import { type Day, numberOfDay } from '../day.ts'

/**
 * Every number by which letters are chosen, timed, folded and held, as dated house rules beside those of the reckoning.
 * The defaults are house defaults of ours, no source: a centre changes each of them from a day on.
 */
const days = (value: number, words: string, max = 365) => ({
  default: value,
  min: 0,
  max,
  unit: 'days' as const,
  words,
})
const months = (value: number, words: string) => ({ default: value, min: 1, max: 120, unit: 'months' as const, words })

export const noticeRuleTable = {
  letterRhythmDays: days(30, 'At most one letter to an owner in this many days, counted also from his last visit'),
  lettersAYear: {
    default: 6,
    min: 1,
    max: 52,
    unit: 'letters' as const,
    words: 'At most this many reminders to an owner in twelve months',
  },
  quietWeekdays: {
    default: 0,
    min: 0,
    max: 127,
    unit: 'weekdays' as const,
    words:
      'Weekdays on which no letters are decided, added up: Monday 1, Tuesday 2, Wednesday 4 … Sunday 64; 0 for none',
  },
  roundReachDays: days(30, 'A letter this many days before the first letter day still belongs to the running round'),
  gatherDays: days(30, 'First letters due within this many days ride in a letter that goes anyway'),
  assessAfterDays: days(
    60,
    'What is to be assessed causes a letter of its own this many days after it was first seen; 0 for never',
    3650,
  ),
  callDays: days(
    2,
    'A sign of the cell: if nobody has reached the owner by telephone after this many days, a letter goes',
    30,
  ),
  comeByDays: days(7, 'The day asked for in a letter is at least this many days away', 60),
  doubtHoldDays: days(14, 'A letter on a doubtful base or to a doubtful record waits this long for a correction', 90),
  refusalQuietMonths: months(12, 'After a refused offer the item is quiet for this long'),
  refusalQuietCellDays: days(30, 'After a refused offer a dead or leaking cell is quiet for this long'),
  appointmentQuietDays: days(7, 'No letters about a watch until this many days after its appointment', 90),
  serviceSwallowsAfterDays: days(180, 'A complete service covers what is due up to this many days after it'),
  serviceSwallowsCellBeforeDays: days(
    60,
    'A complete service covers a running cell due up to this many days before it',
  ),
  cellSwallowsCheckDays: days(90, 'A cell change covers a water check due up to this many days after it'),
  guaranteeLeadDays: days(30, 'The guarantee note rides from this many days before the last day', 180),
  guaranteeOwnLetter: {
    default: 0,
    min: 0,
    max: 1,
    unit: 'yes or no' as const,
    words: 'Whether the end of a guarantee causes a letter of its own: 1 for yes',
  },
} as const

export type NoticeRuleKey = keyof typeof noticeRuleTable
export type NoticeRules = Readonly<Record<NoticeRuleKey, number>>

export const defaultNoticeRules: NoticeRules = Object.freeze(
  Object.fromEntries(Object.entries(noticeRuleTable).map(([key, rule]) => [key, rule.default])) as Record<
    NoticeRuleKey,
    number
  >,
)

/** The house rules of letters in force on a day, and what the law of the place says of owners who were never asked. */
export interface NoticeSetting {
  readonly rules: NoticeRules
  /** null: the centre has not said; then nobody who was not asked is written to, and the manager is told */
  readonly notAsked: 'write' | 'do-not-write' | null
}

/** True on a weekday on which nothing is decided. 1970-01-01, day number 0, was a Thursday. */
export function isQuietDay(day: Day, rules: NoticeRules): boolean {
  const weekday = (((numberOfDay(day) + 3) % 7) + 7) % 7
  return (rules.quietWeekdays & (1 << weekday)) !== 0
}
