import { addMonthsToNumber, type Day, numberOfDay } from '../day.ts'
import type { HouseRuleKey, HouseRules } from '../house-rules.ts'
import type { BaseFrom, EventRule, ReckonedRule, WithoutReason } from './answer.ts'
import type { Trace } from './trace.ts'
import { type Known, NEVER, type UsableEvent } from './usable.ts'

/** The house rules in force, with the from-day of every value that is not the first its rule ever had. */
export interface Setting {
  readonly rules: HouseRules
  readonly rulesFrom: RulesFrom | undefined
}
export type RulesFrom = Readonly<Partial<Record<HouseRuleKey, Day>>>

/** The work (or the sale, or the making) that an interval counts from. */
export interface Base {
  readonly on: number
  readonly from: BaseFrom
  /** NEVER for sold and made, and where not recorded */
  readonly learned: number
  /** the last day it may have been; the same as `on` for sold and made */
  readonly last: number
}

/** An interval, the rule that gave it, and the day since which everything that rule rests on was known. */
export interface Interval {
  readonly rule: ReckonedRule
  readonly months: number
  /** NEVER where it was always known */
  readonly heard: number
}

/** A date that follows from a base by a rule. */
export interface Reckoned {
  readonly rule: ReckonedRule
  /** null where a printed day decided */
  readonly months: number | null
  readonly dueOn: number
  /** the latest day on which the base or the deciding rule became known; NEVER where that never delays a letter */
  readonly heard: number
}

/** What one kind of obligation comes to, before letters and windows. */
export type Outcome =
  | { readonly is: 'without'; readonly because: WithoutReason }
  | { readonly is: 'to-be-assessed'; readonly dueOn: number }
  | { readonly is: 'reckoned'; readonly base: Base; readonly dueOn: number; readonly reckoned: Reckoned }
  | {
      readonly is: 'happened'
      readonly rule: EventRule
      readonly base: Base | null
      readonly dueOn: number
      /** the day of the event that gave the rule its day */
      readonly eventOn: number
      /** the latest of the days, and of the days learned, of all events that stand for the rule */
      readonly lastWord: number
      /** what would be due had nothing happened; null where nothing would */
      readonly ordinary: Reckoned | null
    }

/** One kind's own rules. */
export type KindReckoner = (known: Known, setting: Setting, trace?: Trace) => Outcome

export const without = (because: WithoutReason): Outcome => ({ is: 'without', because })
export const toBeAssessed = (dueOn: number): Outcome => ({ is: 'to-be-assessed', dueOn })
export const dueFrom = (base: Base, reckoned: Reckoned): Outcome => ({
  is: 'reckoned',
  base,
  dueOn: reckoned.dueOn,
  reckoned,
})

export const baseOfEvent = (event: UsableEvent): Base => ({
  on: event.first,
  from: event.fact.source,
  learned: event.learned,
  last: event.last,
})
export const baseOfDay = (on: number, from: 'sold' | 'made'): Base => ({ on, from, learned: NEVER, last: on })

/** Base + interval, in one step. */
export const reckonedFrom = (base: Base, interval: Interval): Reckoned => ({
  rule: interval.rule,
  months: interval.months,
  dueOn: addMonthsToNumber(base.on, interval.months),
  heard: Math.max(base.learned, interval.heard),
})

/** An interval that is a house rule; `alsoHeard` is when the other facts became known on which the rule rests. */
export const houseInterval = (
  setting: Setting,
  rule: ReckonedRule,
  key: HouseRuleKey,
  alsoHeard: number = NEVER,
): Interval => ({ rule, months: setting.rules[key], heard: Math.max(alsoHeard, ruleHeard(setting, key)) })

/** The day a house rule's value came into force, where it is not its first value. */
export function ruleHeard(setting: Setting, key: HouseRuleKey): number {
  const from = setting.rulesFrom?.[key]
  return from === undefined ? NEVER : numberOfDay(from)
}
