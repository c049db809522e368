import { type Day, numberOfDay } from '../day.ts'
import type { HouseRules } from '../house-rules.ts'
import type { Answer, Obligation, Warning, Without } from './answer.ts'
import { cellChange } from './cell-change.ts'
import { completeService } from './complete-service.ts'
import { type Facts, type ObligationKind, obligationKinds } from './facts.ts'
import type { KindReckoner, RulesFrom, Setting } from './outcome.ts'
import { obligationOf, place } from './placing.ts'
import { type Keeping, keepingOf, keepingOfWithout } from './reconsider.ts'
import { seals } from './seals.ts'
import { newTrace } from './trace.ts'
import { type Known, sift } from './usable.ts'
import { waterCheck } from './water-check.ts'
import { usedInWater, withSaltChlorineOrHotWater } from './wear.ts'
import { wouldChange } from './would-change.ts'

/** Each kind's own rules, one file a kind. */
const reckoners: Readonly<Record<ObligationKind, KindReckoner>> = {
  'complete-service': completeService,
  'water-check': waterCheck,
  'cell-change': cellChange,
  seals,
}

export interface ReckonOptions {
  /** every rule tried, in order; left out by default */
  readonly trace?: boolean
  /** the missing facts that would move the date; left out by default */
  readonly wouldChange?: boolean
  /** the from-day of each house rule value in force that is not the first value of its rule */
  readonly rulesFrom?: RulesFrom
}

const plain: ReckonOptions = {}

/**
 * Facts known on a day, the house rules in force that day and the day itself → what the watch is due for, when, by
 * which rule, from which fact. No clock, no hidden state: the same input gives the same answer, byte for byte.
 * The facts must be well formed (request.ts reads them), `firstSeen` not after `on`.
 */
export function reckon(facts: Facts, rules: HouseRules, on: Day, options: ReckonOptions = plain): Answer {
  return reckonEach(facts, rules, on, options, null)
}

/** The answer, and for each of the four kinds, in the usual order, what its keeper needs. */
export function reckonAndKeep(
  facts: Facts,
  rules: HouseRules,
  on: Day,
  options: ReckonOptions = plain,
): { readonly answer: Answer; readonly keeping: readonly Keeping[] } {
  const keeping: Keeping[] = []
  return { answer: reckonEach(facts, rules, on, options, keeping), keeping }
}

function reckonEach(
  facts: Facts,
  rules: HouseRules,
  on: Day,
  options: ReckonOptions,
  keeping: Keeping[] | null,
): Answer {
  const setting: Setting = { rules, rulesFrom: options.rulesFrom }
  const warnings: Warning[] = []
  const known = sift(facts, numberOfDay(on), warnings)
  warnAtTheCounter(known, warnings)

  const obligations: Obligation[] = []
  const notArising: Without[] = []
  for (const kind of obligationKinds) {
    const reckoner = reckoners[kind]
    const trace = options.trace ? newTrace() : undefined
    const outcome = reckoner(known, setting, trace)
    if (outcome.is === 'without') {
      notArising.push({ kind, because: outcome.because })
      if (keeping !== null) keeping.push(keepingOfWithout(kind, known))
      continue
    }
    const placed = place(kind, outcome, known, setting, trace)
    const obligation = obligationOf(kind, placed)
    obligations.push(
      trace === undefined && !options.wouldChange
        ? obligation
        : {
            ...obligation,
            ...(trace && { trace: trace.steps }),
            ...(options.wouldChange && { wouldChange: wouldChange(kind, reckoner, known, setting, outcome.dueOn) }),
          },
    )
    if (keeping !== null) keeping.push(keepingOf(kind, known, outcome, placed))
  }
  return { on, obligations, without: notArising, warnings }
}

/** What must be said at the counter, whatever is due. */
function warnAtTheCounter(known: Known, warnings: Warning[]): void {
  const { wear } = known
  if (wear.water === 'never' && withSaltChlorineOrHotWater(wear)) {
    warnings.push({ code: 'contradiction', fact: 'wear.water' })
  }
  if ((known.claim === 'none' || known.claim === 'unknown') && usedInWater(wear)) warnings.push({ code: 'keep-dry' })
  if (known.kind === 'rechargeable-quartz') warnings.push({ code: 'never-a-primary-cell' })
}
