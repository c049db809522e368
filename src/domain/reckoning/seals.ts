import { newest } from './compare.ts'
import { guidanceFor, lowerEnd, sayGuidance } from './guidance.ts'
import {
  baseOfDay,
  baseOfEvent,
  dueFrom,
  houseInterval,
  type Interval,
  type KindReckoner,
  reckonedFrom,
  type Setting,
  toBeAssessed,
  without,
} from './outcome.ts'
import { say, type Trace } from './trace.ts'
import type { Known, UsableEvent } from './usable.ts'
import { usedInWater } from './wear.ts'

const isSealsOrService = ({ fact }: UsableEvent) => fact.event === 'seals-replaced' || fact.event === 'complete-service'

/** When the gaskets are next replaced; without letters of their own. */
export const seals: KindReckoner = (known, setting, trace) => {
  if (known.claim === 'none') return without('no-claim')
  if (known.claim === 'unknown') return without('claim-unknown')
  const interval = intervalOf(known, setting, trace)
  if (interval === null) return without('not-used-in-water')

  const work = newest(known.history, isSealsOrService)
  const base = work !== null ? baseOfEvent(work) : known.sold === null ? null : baseOfDay(known.sold, 'sold')
  if (base === null) {
    trace?.tried('base', 'neither new seals, nor a complete service, nor a sale is known')
    trace?.applied('unknown-base', `nothing to count from: to be assessed from ${say(known.firstSeen)}`)
    return toBeAssessed(known.firstSeen)
  }
  const reckoned = reckonedFrom(base, interval)
  trace?.applied('base', `counted from ${say(base.on)} (${base.from})`)
  trace?.applied(interval.rule, `${say(base.on)} and ${interval.months} months is ${say(reckoned.dueOn)}`)
  return dueFrom(base, reckoned)
}

function intervalOf(known: Known, setting: Setting, trace: Trace | undefined): Interval | null {
  const guidance = guidanceFor(known, 'seals')
  if (guidance !== null) {
    trace?.applied('maker', `the maker says ${sayGuidance(guidance)}: the lower end, ${guidance.months} months`)
    return lowerEnd(guidance)
  }
  trace?.tried('maker', "no maker's guidance is in force")
  if (!usedInWater(known.wear)) return null
  const interval = houseInterval(setting, 'water-use', 'sealsMonths', known.wear.learned)
  trace?.applied('water-use', `used in water: ${interval.months} months`)
  return interval
}
