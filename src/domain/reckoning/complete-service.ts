import { addMonthsToNumber } from '../day.ts'
import { gather, newest, standsAgainst } from './compare.ts'
import type { Sign, WatchKind } from './facts.ts'
import { endByWear, guidanceFor, sayGuidance } from './guidance.ts'
import {
  type Base,
  baseOfDay,
  baseOfEvent,
  dueFrom,
  houseInterval,
  type Interval,
  type KindReckoner,
  reckonedFrom,
  type Setting,
  toBeAssessed,
} from './outcome.ts'
import { say, type Trace } from './trace.ts'
import type { Known, UsableEvent } from './usable.ts'
import { exposed, rarelyWornUnexposed } from './wear.ts'

const isService = (event: UsableEvent) => event.fact.event === 'complete-service'
const isFitting = (event: UsableEvent) => event.fact.event === 'movement-fitted'

/** When the whole movement is next taken apart, cleaned and oiled. */
export const completeService: KindReckoner = (known, setting, trace) => {
  const fitting = newest(known.history, isFitting)
  const base = fitting === null ? baseWithoutFitting(known, setting) : baseSinceFitting(known, fitting)
  sayBase(base, fitting, trace)

  const interval = withNote(known, base, intervalOf(known, setting, trace), trace)
  const ordinary = base === null ? null : reckonedFrom(base, interval)
  if (base !== null && ordinary !== null) {
    trace?.applied(ordinary.rule, `${say(base.on)} and ${interval.months} months is ${say(ordinary.dueOn)}`)
  }

  // Where the condition of a fitted movement is unknown and nothing was done since, only what came after it counts.
  const settledOn = base?.on ?? fitting?.first ?? null
  const trouble = gather(known.history, (e) => isTrouble(e, known.kind) && standsAgainst(e, settledOn))
  if (trouble !== null) {
    const eventOn = trouble.earliest.first
    trace?.applied('trouble', `a sign of ${say(eventOn)} has not been settled by work since`)
    return {
      is: 'happened',
      rule: 'trouble',
      base,
      dueOn: ordinary === null ? eventOn : Math.min(eventOn, ordinary.dueOn),
      eventOn,
      lastWord: trouble.lastWord,
      ordinary,
    }
  }
  trace?.tried('trouble', 'no sign of trouble stands')

  if (base === null || ordinary === null) {
    const assessOn = fitting === null ? known.firstSeen : Math.max(known.firstSeen, fitting.first)
    trace?.applied('unknown-base', `nothing to count from: to be assessed from ${say(assessOn)}`)
    return toBeAssessed(assessOn)
  }
  return dueFrom(base, ordinary)
}

function baseWithoutFitting(known: Known, setting: Setting): Base | null {
  const service = newest(known.history, isService)
  if (service !== null) return baseOfEvent(service)
  const { made, sold } = known
  if (sold !== null) {
    if (made === null) return baseOfDay(sold, 'sold')
    // Oil ages in the box, too.
    const latest = addMonthsToNumber(made, setting.rules.madeSoldMonths)
    return baseOfDay(Math.min(sold, latest), 'sold')
  }
  return made === null ? null : baseOfDay(made, 'made')
}

/** A new calibre counts from its own fitting, and only if it came new or freshly serviced. */
function baseSinceFitting(known: Known, fitting: UsableEvent): Base | null {
  const base = newest(
    known.history,
    (e) => (isService(e) && e.first >= fitting.first) || (e === fitting && isFreshMovement(e)),
  )
  return base === null ? null : baseOfEvent(base)
}

const isFreshMovement = ({ fact }: UsableEvent) =>
  fact.event === 'movement-fitted' && (fact.condition === 'new' || fact.condition === 'freshly-serviced')

/** The first rule that applies. */
function intervalOf(known: Known, setting: Setting, trace: Trace | undefined): Interval {
  const { kind, wear } = known
  const guidance = guidanceFor(known, 'complete-service')
  if (guidance !== null) {
    const interval = endByWear(known, guidance, rarelyWornUnexposed(wear))
    trace?.applied('maker', `the maker says ${sayGuidance(guidance)}: ${interval.months} months`)
    return interval
  }
  trace?.tried('maker', "no maker's guidance is in force")

  if (kind === 'quartz' || kind === 'rechargeable-quartz') {
    const interval = houseInterval(setting, 'quartz', 'quartzServiceMonths')
    trace?.applied('quartz', `kind is ${kind}: ${interval.months} months`)
    return interval
  }
  trace?.tried('quartz', `kind is ${kind}`)

  if (kind === 'electric' || kind === 'spring-quartz') {
    const interval = houseInterval(setting, 'usual', 'usualServiceMonths')
    trace?.applied('usual', `kind is ${kind}: ${interval.months} months`)
    return interval
  }

  if (known.beatsPerHour > setting.rules.highBeatLimit) {
    const interval = houseInterval(setting, 'high-beat', 'highBeatServiceMonths')
    trace?.applied('high-beat', `${known.beatsPerHour} beats an hour is above the limit: ${interval.months} months`)
    return interval
  }
  trace?.tried('high-beat', `not known to beat faster than ${setting.rules.highBeatLimit} an hour`)

  if (rarelyWornUnexposed(wear)) {
    const interval = houseInterval(setting, 'rarely-worn', 'rarelyWornServiceMonths', wear.learned)
    trace?.applied('rarely-worn', `known not to be worn daily and not to be exposed: ${interval.months} months`)
    return interval
  }
  trace?.tried('rarely-worn', 'not known to be both worn rarely and unexposed')

  if (exposed(wear)) {
    const interval = houseInterval(setting, 'exposed', 'exposedServiceMonths', wear.learned)
    trace?.applied('exposed', `vibration, heat or cold: ${interval.months} months`)
    return interval
  }
  trace?.tried('exposed', 'no vibration, heat or cold is known')

  const interval = houseInterval(setting, 'usual', 'usualServiceMonths', wear.learned)
  trace?.applied('usual', `all other cases: ${interval.months} months`)
  return interval
}

/** The newest watchmaker's note since the base may shorten the interval; it never lengthens it. */
function withNote(known: Known, base: Base | null, interval: Interval, trace: Trace | undefined): Interval {
  const { note } = known
  if (note === null) trace?.tried('note', 'no note on this watch')
  else if (base === null) trace?.tried('note', 'nothing to count from')
  else if (note.on < base.on) trace?.tried('note', `the note of ${say(note.on)} is older than the base`)
  else if (note.months >= interval.months) trace?.tried('note', `${note.months} months would not shorten the interval`)
  else {
    trace?.applied('note', `the note of ${say(note.on)} shortens to ${note.months} months`)
    return { rule: 'note', months: note.months, heard: note.on }
  }
  return interval
}

const signsOfTrouble: ReadonlySet<Sign> = new Set<Sign>([
  'runs-down-early',
  'low-amplitude',
  'loses-time',
  'high-consumption',
  'high-working-voltage',
  'water-inside',
  'heavy-blow',
])

/** A stopped watch is the cell's business first wherever there is a cell. */
function isTrouble({ fact }: UsableEvent, kind: WatchKind): boolean {
  if (fact.event !== 'sign') return false
  if (fact.sign === 'stopped') return kind === 'hand-wound' || kind === 'self-winding' || kind === 'spring-quartz'
  return signsOfTrouble.has(fact.sign)
}

function sayBase(base: Base | null, fitting: UsableEvent | null, trace: Trace | undefined): void {
  if (trace === undefined) return
  const since = fitting === null ? '' : ` since the movement fitted on ${say(fitting.first)}`
  if (base === null) trace.tried('base', `no complete service is known${since}, nor another day to count from`)
  else trace.applied('base', `counted from ${say(base.on)} (${base.from})${since}`)
}
