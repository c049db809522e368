import type { HouseRuleKey } from './house-rules.ts'
import type { BaseFrom, Rule, WithoutReason } from './reckoning/answer.ts'
import type { ObligationKind } from './reckoning/facts.ts'
import type { NoticesBy } from './reckoning/notices-due.ts'

/**
 * Which obligations a house rule can move, told by how they stand on file: so a changed number reckons anew only the
 * watches it touches. A little too many cost time; one too few would keep a date that no rule gives any more, so a
 * property test changes every number on any facts and looks for an obligation that moved and is not named here.
 */
export interface Reach {
  readonly kinds: readonly ObligationKind[]
  /** the rules that decide now; null for any */
  readonly rules: readonly Rule[] | null
  /** reasons for which the kind does not arise now and might */
  readonly because?: readonly WithoutReason[]
  readonly baseFrom?: BaseFrom
  /** how the day for letters was found */
  readonly noticesBy?: readonly NoticesBy[]
}

const intervalOf = (kind: ObligationKind, ...rules: Rule[]): Reach => ({ kinds: [kind], rules })

// where a sign stands, the interval still gives the ordinary date behind it
const service = (...rules: Rule[]) => intervalOf('complete-service', ...rules, 'note', 'trouble')
const check = (...rules: Rule[]) => intervalOf('water-check', ...rules, 'opened-since-test', 'trouble')
const cell = (...rules: Rule[]) => intervalOf('cell-change', ...rules, 'leaking', 'spent', 'end-of-life')

const serviceRules: readonly Rule[] = ['maker', 'quartz', 'high-beat', 'rarely-worn', 'exposed', 'usual', 'note']
const checkRules: readonly Rule[] = ['maker', 'hard-use', 'now-and-then', 'frequency-unknown', 'use-unknown']
const cellRules: readonly Rule[] = ['best-before', 'consumption', 'maker', 'usual']
const checkEvents: readonly Rule[] = ['trouble', 'opened-since-test', 'not-resistant']

const serviceWindow: Reach = { kinds: ['complete-service'], rules: serviceRules }
const serviceWindowAfter: Reach = { kinds: ['complete-service'], rules: [...serviceRules, 'trouble'] }
const checkWindow: Reach = { kinds: ['water-check', 'seals'], rules: [...checkRules, 'water-use'] }
const checkWindowAfter: Reach = { kinds: ['water-check', 'seals'], rules: [...checkRules, 'water-use', ...checkEvents] }
const checkLetters: Reach = { kinds: ['water-check'], rules: checkRules }
const checkLettersAfter: Reach = { kinds: ['water-check'], rules: [...checkRules, ...checkEvents] }
const cellWindow: Reach = { kinds: ['cell-change'], rules: cellRules }
const leaking: Reach = { kinds: ['cell-change'], rules: ['leaking'] }
const spent: Reach = { kinds: ['cell-change'], rules: ['spent'] }
const endOfLife: Reach = { kinds: ['cell-change'], rules: ['end-of-life'] }
const atOnce: Reach = { kinds: ['complete-service', 'water-check'], rules: checkEvents }

export const reachOfRule: Readonly<Record<HouseRuleKey, Reach>> = {
  quartzServiceMonths: service('quartz'),
  highBeatServiceMonths: service('high-beat'),
  rarelyWornServiceMonths: service('rarely-worn'),
  exposedServiceMonths: service('exposed'),
  usualServiceMonths: service('usual'),
  highBeatLimit: service('high-beat', 'rarely-worn', 'exposed', 'usual'),
  madeSoldMonths: { kinds: ['complete-service'], rules: null, baseFrom: 'sold' },

  hardUseCheckMonths: check('hard-use'),
  nowAndThenCheckMonths: check('now-and-then'),
  frequencyUnknownCheckMonths: check('frequency-unknown'),
  useUnknownCheckMonths: check('use-unknown'),
  useUnknownBar: {
    ...check('use-unknown', 'unknown-base'),
    because: ['use-unknown-low-rating'],
  },
  sealsMonths: intervalOf('seals', 'water-use'),
  cellMonths: cell('usual', 'best-before', 'consumption'),
  lifeSharePercent: cell('usual', 'maker', 'best-before', 'consumption'),
  fairnessDays: {
    kinds: ['complete-service', 'water-check', 'cell-change', 'seals'],
    rules: null,
    noticesBy: ['ninety-days', 'first-seen', 'last-word', 'ordinary-day'],
  },

  completeServiceLeadDays: serviceWindow,
  completeServiceOverdueDays: serviceWindowAfter,
  completeServiceStopMonths: serviceWindowAfter,
  completeServiceLetter1Days: serviceWindow,
  completeServiceLetter2Days: serviceWindowAfter,
  completeServiceLetter3Days: serviceWindowAfter,

  waterCheckLeadDays: checkWindow,
  waterCheckOverdueDays: checkWindowAfter,
  waterCheckStopMonths: checkWindowAfter,
  waterCheckLetter1Days: checkLetters,
  waterCheckLetter2Days: checkLettersAfter,
  waterCheckLetter3Days: checkLettersAfter,

  cellChangeLeadDays: cellWindow,
  cellChangeOverdueDays: cellWindow,
  cellChangeStopMonths: cellWindow,
  cellChangeLetter1Days: cellWindow,
  cellChangeLetter2Days: cellWindow,
  cellChangeLetter3Days: cellWindow,

  leakingLeadDays: leaking,
  leakingOverdueDays: leaking,
  leakingStopMonths: leaking,
  leakingLetter1Days: leaking,
  leakingLetter2Days: leaking,
  leakingLetter3Days: leaking,

  spentLeadDays: spent,
  spentOverdueDays: spent,
  spentStopMonths: spent,
  spentLetter1Days: spent,
  spentLetter2Days: spent,
  spentLetter3Days: spent,

  endOfLifeLeadDays: endOfLife,
  endOfLifeOverdueDays: endOfLife,
  endOfLifeStopMonths: endOfLife,
  endOfLifeLetter1Days: endOfLife,
  endOfLifeLetter2Days: endOfLife,
  endOfLifeLetter3Days: endOfLife,

  troubleLeadDays: atOnce,
  troubleLetter1Days: atOnce,
}

/** How an obligation stands on file, as far as a reach asks. */
export interface StandsAs {
  readonly kind: ObligationKind
  readonly rule: Rule | null
  readonly because: WithoutReason | null
  readonly baseFrom: BaseFrom | null
  readonly noticesBy: NoticesBy | null
}

/** Whether a change of the rule can touch this obligation. The same test as SQL is in features/re-reckonings/scope.ts. */
export function reaches(reach: Reach, row: StandsAs): boolean {
  if (!reach.kinds.includes(row.kind)) return false
  if (row.rule === null) return row.because !== null && (reach.because?.includes(row.because) ?? false)
  if (reach.rules !== null && !reach.rules.includes(row.rule)) return false
  if (reach.baseFrom !== undefined && row.baseFrom !== reach.baseFrom) return false
  return reach.noticesBy === undefined || (row.noticesBy !== null && reach.noticesBy.includes(row.noticesBy))
}
