import { cameAfter, gather, type Happened, lastDone, newest, standsAgainst } from './compare.ts'
import type { EventName, Sign } from './facts.ts'
import { endByWear, guidanceFor, sayGuidance } from './guidance.ts'
import {
  type Base,
  baseOfDay,
  baseOfEvent,
  dueFrom,
  houseInterval,
  type Interval,
  type KindReckoner,
  type Outcome,
  type Reckoned,
  reckonedFrom,
  type Setting,
  toBeAssessed,
  without,
} from './outcome.ts'
import { say, type Trace } from './trace.ts'
import type { Known, UsableEvent } from './usable.ts'
import { easyOnWater, usedInWater, withSaltChlorineOrHotWater } from './wear.ts'

const isTrusted = (event: UsableEvent) => event.trust > 0
const isService = ({ fact }: UsableEvent) => fact.event === 'complete-service'
const isPassedTest = ({ fact }: UsableEvent) => fact.event === 'water-test' && fact.passed
const isFailedTest = ({ fact }: UsableEvent) => fact.event === 'water-test' && !fact.passed
const isWithdrawal = ({ fact }: UsableEvent) => fact.event === 'water-claim-withdrawn'
const isTrustedService = (event: UsableEvent) => isService(event) && isTrusted(event)
const isTrustedPassedTest = (event: UsableEvent) => isPassedTest(event) && isTrusted(event)
const isTestOrService = (event: UsableEvent) => isPassedTest(event) || isService(event)

export const openingEvents: ReadonlySet<EventName> = new Set<EventName>([
  'case-opened',
  'seals-replaced',
  'cell-fitted',
  'cell-removed',
  'movement-fitted',
])
const isOpening = ({ fact }: UsableEvent) => openingEvents.has(fact.event)

export const signsOfTrouble: ReadonlySet<Sign> = new Set<Sign>([
  'water-inside',
  'heavy-blow',
  'crown-knock',
  'hot-bath',
  'solvent',
])
const isTrouble = ({ fact }: UsableEvent) => fact.event === 'sign' && signsOfTrouble.has(fact.sign)

/** When the case is next tested for keeping water out, of a watch that carries a claim to. */
export const waterCheck: KindReckoner = (known, setting, trace) => {
  if (known.claim === 'none') return without('no-claim')
  if (known.claim === 'unknown') return without('claim-unknown')
  const used = usedInWater(known.wear)

  // 1. A failed test or a withdrawn claim that nothing trusted has put right.
  const failure = gather(known.history, unsettledFailure(known.history))
  if (failure !== null) {
    if (!used) return without('not-resistant')
    trace?.applied('not-resistant', `failed or withdrawn on ${say(failure.earliest.first)}, and used in water`)
    return happened('not-resistant', failure, failure.lastWord, null)
  }
  trace?.tried('not-resistant', 'no failed test or withdrawal stands')

  // 2. Never in water: nothing to ask for.
  if (known.wear.water === 'never') return without('never-in-water')

  // 3 and 4. Opened, or hurt, since it was last known to be tight.
  const tight = lastKnownTight(known.history)
  const opening = gather(known.history, (e) => isOpening(e) && standsAgainst(e, tight))
  const trouble = gather(known.history, (e) => isTrouble(e) && standsAgainst(e, tight))
  if (trace !== undefined) {
    const since = tight === null ? 'no trusted test or service on record' : `tight on ${say(tight)}`
    if (opening === null) trace.tried('opened-since-test', `no opening stands: ${since}`)
    else trace.applied('opened-since-test', `opened on ${say(opening.earliest.first)}: ${since}`)
    if (trouble === null) trace.tried('trouble', `no sign stands: ${since}`)
    else trace.applied('trouble', `a sign of ${say(trouble.earliest.first)}: ${since}`)
  }

  // 5. The ordinary date.
  const interval = intervalOf(known, setting, used, trace)
  const base = baseOf(known)
  const ordinary = interval === null || base === null ? null : reckonedFrom(base, interval)
  if (trace !== undefined) {
    if (base === null) trace.tried('base', 'neither a passed test, nor a complete service, nor a sale is known')
    else trace.applied('base', `counted from ${say(base.on)} (${base.from})`)
    if (ordinary !== null) trace.applied(ordinary.rule, `base and interval make ${say(ordinary.dueOn)}`)
  }

  if (opening !== null || trouble !== null) {
    const lastWord = Math.max(opening?.lastWord ?? trouble!.lastWord, trouble?.lastWord ?? opening!.lastWord)
    return opening !== null && (trouble === null || opening.earliest.first <= trouble.earliest.first)
      ? happened('opened-since-test', opening, lastWord, ordinary)
      : happened('trouble', trouble!, lastWord, ordinary)
  }
  if (interval === null) return without('use-unknown-low-rating')
  if (base === null || ordinary === null) {
    trace?.applied('unknown-base', `nothing to count from: to be assessed from ${say(known.firstSeen)}`)
    return toBeAssessed(known.firstSeen)
  }
  return dueFrom(base, ordinary)
}

/**
 * A failed test stands until a trusted passed test or a trusted complete service came after it, a withdrawal until a
 * trusted passed test did; what came after must not lie before the last day of what it settles. It is enough to look
 * at the last done of each: if any settles it, that one does.
 */
function unsettledFailure(history: readonly UsableEvent[]): (event: UsableEvent) => boolean {
  const test = lastDone(history, isTrustedPassedTest)
  const service = lastDone(history, isTrustedService)
  const settles = (work: UsableEvent | null, failure: UsableEvent) =>
    work !== null && cameAfter(work, failure) && work.first >= failure.last
  return (event) =>
    (isFailedTest(event) && !settles(test, event) && !settles(service, event)) ||
    (isWithdrawal(event) && !settles(test, event))
}

/** The later of the newest trusted passed test and the newest trusted service: what stands against it stands against both. */
function lastKnownTight(history: readonly UsableEvent[]): number | null {
  let latest: number | null = null
  for (const event of history) {
    if ((isTrustedPassedTest(event) || isTrustedService(event)) && (latest === null || event.first > latest)) {
      latest = event.first
    }
  }
  return latest
}

/** The first rule that applies; null where the use is unknown and the rating low. */
function intervalOf(known: Known, setting: Setting, used: boolean, trace: Trace | undefined): Interval | null {
  const { wear } = known
  const guidance = guidanceFor(known, 'water-check')
  if (guidance !== null) {
    const interval = endByWear(known, guidance, easyOnWater(wear))
    trace?.applied('maker', `the maker says ${sayGuidance(guidance)}: ${interval.months} months`)
    return interval
  }
  trace?.tried('maker', "no maker's guidance is in force")

  if (wear.water === 'often' || wear.water === 'diving' || (used && withSaltChlorineOrHotWater(wear))) {
    const interval = houseInterval(setting, 'hard-use', 'hardUseCheckMonths', wear.learned)
    trace?.applied('hard-use', `often in water, diving, salt, chlorine or hot water: ${interval.months} months`)
    return interval
  }
  trace?.tried('hard-use', 'not known to be often in water, nor in salt, chlorine or hot water')

  if (wear.water === 'now-and-then') {
    const interval = houseInterval(setting, 'now-and-then', 'nowAndThenCheckMonths', wear.learned)
    trace?.applied('now-and-then', `in water now and then: ${interval.months} months`)
    return interval
  }
  trace?.tried('now-and-then', `water is ${wear.water}`)

  if (wear.water === 'in-water') {
    const interval = houseInterval(setting, 'frequency-unknown', 'frequencyUnknownCheckMonths', wear.learned)
    trace?.applied('frequency-unknown', `in water, how often unknown: ${interval.months} months`)
    return interval
  }
  trace?.tried('frequency-unknown', `water is ${wear.water}`)

  if (known.bar >= setting.rules.useUnknownBar) {
    const interval = houseInterval(setting, 'use-unknown', 'useUnknownCheckMonths', wear.learned)
    trace?.applied('use-unknown', `use unknown and rated ${known.bar} bar: ${interval.months} months`)
    return interval
  }
  trace?.tried('use-unknown', `use unknown, not known to be rated ${setting.rules.useUnknownBar} bar or more`)
  return null
}

/** The newest passed test or complete service of any source, else the sale. */
function baseOf(known: Known): Base | null {
  const work = newest(known.history, isTestOrService)
  if (work !== null) return baseOfEvent(work)
  return known.sold === null ? null : baseOfDay(known.sold, 'sold')
}

function happened(
  rule: 'not-resistant' | 'opened-since-test' | 'trouble',
  { earliest }: Happened,
  lastWord: number,
  ordinary: Reckoned | null,
): Outcome {
  return {
    is: 'happened',
    rule,
    base: baseOfEvent(earliest),
    dueOn: ordinary === null ? earliest.first : Math.min(earliest.first, ordinary.dueOn),
    eventOn: earliest.first,
    lastWord,
    ordinary,
  }
}
