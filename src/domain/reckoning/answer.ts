import type { Day } from '../day.ts'
import type { ObligationKind, Source, WearFacts } from './facts.ts'

/** The rules whose dates are reckoned: a base and an interval, or a day printed on a cell. */
export type ReckonedRule =
  | 'maker'
  | 'quartz'
  | 'high-beat'
  | 'rarely-worn'
  | 'exposed'
  | 'usual'
  | 'note'
  | 'hard-use'
  | 'now-and-then'
  | 'frequency-unknown'
  | 'use-unknown'
  | 'best-before'
  | 'consumption'
  | 'water-use'

/** The rules that are an event's: it happened, so the watch is due. */
const eventRules = ['trouble', 'opened-since-test', 'not-resistant', 'leaking', 'spent', 'end-of-life'] as const
export type EventRule = (typeof eventRules)[number]

export type Rule = ReckonedRule | EventRule | 'unknown-base'

const ofEvents: ReadonlySet<Rule> = new Set(eventRules)
export const isEventRule = (rule: Rule): rule is EventRule => ofEvents.has(rule)

export type BaseFrom = Source | 'sold' | 'made' | 'none'

export type Standing = 'not-yet' | 'coming-up' | 'due' | 'overdue' | 'asked-enough' | 'to-be-assessed'

/** Why a kind of obligation does not arise for this watch. */
export type WithoutReason =
  | 'no-claim'
  | 'claim-unknown'
  | 'not-resistant'
  | 'never-in-water'
  | 'use-unknown-low-rating'
  | 'no-cell'
  | 'rechargeable'
  | 'cell-removed'
  | 'not-used-in-water'

export interface TraceStep {
  readonly rule: string
  readonly applied: boolean
  readonly because: string
}

export type WearQuestion = Exclude<keyof WearFacts, 'learned'>

/** One missing fact, one value it could take, and the date that would follow; null where the obligation would end. */
export interface WouldChange {
  readonly fact: `wear.${WearQuestion}`
  readonly to: string
  readonly dueOn: Day | null
}

export interface ObligationDates {
  readonly kind: ObligationKind
  readonly rule: Rule
  readonly baseOn: Day | null
  readonly baseFrom: BaseFrom
  /** null where no interval decided */
  readonly months: number | null
  readonly dueOn: Day
  /** the day letters and windows count from */
  readonly noticesDueOn: Day
  readonly comingUpFrom: Day
  readonly overdueFrom: Day | null
  readonly stopOn: Day | null
}

export interface Obligation extends ObligationDates {
  readonly standing: Standing
  readonly trace?: readonly TraceStep[]
  readonly wouldChange?: readonly WouldChange[]
}

export interface Without {
  readonly kind: ObligationKind
  readonly because: WithoutReason
}

/** Carries `history` (an index as sent), `fact`, or neither. */
export type Warning =
  | { readonly code: 'future-dated' | 'contradiction'; readonly history: number }
  | { readonly code: 'future-dated' | 'contradiction'; readonly fact: 'watch.made' | 'watch.sold' | 'wear.water' }
  | { readonly code: 'keep-dry' | 'never-a-primary-cell' }

export interface Answer {
  readonly on: Day
  readonly obligations: readonly Obligation[]
  readonly without: readonly Without[]
  readonly warnings: readonly Warning[]
}
