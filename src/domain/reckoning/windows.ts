import { addDays, addMonthsToNumber, type Day } from '../day.ts'
import type { HouseRuleKey, HouseRules } from '../house-rules.ts'
import type { Obligation, Rule, Standing } from './answer.ts'
import type { ObligationKind } from './facts.ts'

/** The house rules that hold one row of windows: lead, overdue and stop, and the three letter days. */
interface Row {
  readonly lead: HouseRuleKey
  readonly overdue: HouseRuleKey
  readonly stop: HouseRuleKey
  readonly letters: readonly HouseRuleKey[]
}

type RowName = 'completeService' | 'waterCheck' | 'cellChange' | 'leaking' | 'spent' | 'endOfLife'

const row = (name: RowName): Row => ({
  lead: `${name}LeadDays`,
  overdue: `${name}OverdueDays`,
  stop: `${name}StopMonths`,
  letters: [`${name}Letter1Days`, `${name}Letter2Days`, `${name}Letter3Days`],
})

const rowOfKind: Readonly<Record<ObligationKind, Row>> = {
  'complete-service': row('completeService'),
  'water-check': row('waterCheck'),
  'cell-change': row('cellChange'),
  seals: { ...row('waterCheck'), letters: [] },
}

/** Where something happened there is no lead, and the first letter goes at once; the rest is as the kind. */
const atOnce = (kind: Row): Row => ({
  ...kind,
  lead: 'troubleLeadDays',
  letters: kind.letters.length === 0 ? [] : ['troubleLetter1Days', ...kind.letters.slice(1)],
})

const rowOfKindAtOnce: Readonly<Record<ObligationKind, Row>> = {
  'complete-service': atOnce(rowOfKind['complete-service']),
  'water-check': atOnce(rowOfKind['water-check']),
  'cell-change': atOnce(rowOfKind['cell-change']),
  seals: atOnce(rowOfKind.seals),
}

const leaking = row('leaking')
const spent = row('spent')
const endOfLife = row('endOfLife')

/** A row that names the rule goes before the kind's. */
function rowOf(kind: ObligationKind, rule: Rule): Row {
  switch (rule) {
    case 'leaking':
      return leaking
    case 'spent':
      return spent
    case 'end-of-life':
      return endOfLife
    case 'trouble':
    case 'opened-since-test':
    case 'not-resistant':
      return rowOfKindAtOnce[kind]
    default:
      return rowOfKind[kind]
  }
}

export const comingUpFrom = (kind: ObligationKind, rule: Rule, noticesDueOn: number, rules: HouseRules): number =>
  noticesDueOn - rules[rowOf(kind, rule).lead]

export const overdueFrom = (kind: ObligationKind, rule: Rule, noticesDueOn: number, rules: HouseRules): number =>
  noticesDueOn + rules[rowOf(kind, rule).overdue]

export const stopOn = (kind: ObligationKind, rule: Rule, noticesDueOn: number, rules: HouseRules): number =>
  addMonthsToNumber(noticesDueOn, rules[rowOf(kind, rule).stop])

/** Where an obligation stands on a day from its windows, all as day numbers or all as days. */
export function standingOn<T extends number | Day>(
  on: T,
  comingUp: T,
  noticesDue: T,
  overdue: T,
  stop: T,
): Exclude<Standing, 'to-be-assessed'> {
  if (on < comingUp) return 'not-yet'
  if (on < noticesDue) return 'coming-up'
  if (on < overdue) return 'due'
  return on < stop ? 'overdue' : 'asked-enough'
}

/**
 * The days of an obligation's own letters, first to last, counted from noticesDueOn. None for seals, which ride with
 * other work, and none here for what is to be assessed, whose one letter goes by the owner's other letters.
 */
export function letterDaysOf(
  obligation: Pick<Obligation, 'kind' | 'rule' | 'noticesDueOn'>,
  rules: HouseRules,
): readonly Day[] {
  if (obligation.rule === 'unknown-base') return []
  return rowOf(obligation.kind, obligation.rule).letters.map((key) => addDays(obligation.noticesDueOn, rules[key]))
}

const rowsOfKind = (kind: ObligationKind): readonly Row[] =>
  kind === 'cell-change'
    ? [rowOfKind[kind], leaking, spent, endOfLife]
    : kind === 'seals'
      ? []
      : [rowOfKind[kind], rowOfKindAtOnce[kind]]

/** Days from noticesDueOn to the earliest letter day any row of the kind has; negative where letters go before it. */
export const leastLetterOffset = (kind: ObligationKind, rules: HouseRules): number =>
  Math.min(0, ...rowsOfKind(kind).flatMap((one) => one.letters.map((key) => rules[key])))
