import { spanOf } from '../day.ts'
import type { EventRule } from './answer.ts'
import { cellLifeMonths } from './cell-life.ts'
import { cameAfter, gather, isNewer, lastDone, standsAgainst } from './compare.ts'
import type { CellFitted } from './facts.ts'
import { guidanceFor, lowerEnd } from './guidance.ts'
import {
  type Base,
  baseOfDay,
  baseOfEvent,
  dueFrom,
  houseInterval,
  type KindReckoner,
  type Reckoned,
  reckonedFrom,
  ruleHeard,
  type Setting,
  toBeAssessed,
  without,
} from './outcome.ts'
import { say, type Trace } from './trace.ts'
import { type Known, NEVER, type UsableEvent } from './usable.ts'

/** Beyond this the predicted life never decides: 20 years, longer than any cell keeps. */
const LONGEST_LIFE_MONTHS = 240

/** A movement comes with a cell of which nothing is known. */
const isFitting = ({ fact }: UsableEvent) => fact.event === 'cell-fitted' || fact.event === 'movement-fitted'
const isRemoval = ({ fact }: UsableEvent) => fact.event === 'cell-removed'

/** When the primary cell is changed, whether or not the watch still runs. */
export const cellChange: KindReckoner = (known, setting, trace) => {
  if (known.kind === 'rechargeable-quartz') return without('rechargeable')
  if (known.kind !== 'quartz' && known.kind !== 'electric') return without('no-cell')

  const removal = lastDone(known.history, isRemoval)
  if (removal !== null) {
    const fitting = lastDone(known.history, isFitting)
    if (fitting === null || cameAfter(removal, fitting)) return without('cell-removed')
    trace?.tried('cell-removed', `a cell or movement was fitted after the removal of ${say(removal.first)}`)
  }

  const fitted = newestFitting(known.history)
  const base = baseOf(known, fitted)
  sayBase(base, trace)
  const ordinary = base === null ? null : earliestDate(known, setting, base, fitted, trace)

  const settledOn = base === null ? null : base.on
  const sign = gather(known.history, (e) => cellRuleOf(e) !== null && standsAgainst(e, settledOn))
  if (sign !== null) {
    const rule = gravest(known.history, settledOn)
    const eventOn = sign.earliest.first
    trace?.applied(rule, `a sign of ${say(eventOn)} stands`)
    return {
      is: 'happened',
      rule,
      base,
      dueOn: ordinary === null ? eventOn : Math.min(eventOn, ordinary.dueOn),
      eventOn,
      lastWord: sign.lastWord,
      ordinary,
    }
  }
  trace?.tried('leaking, spent, end-of-life', 'no sign of the cell stands')

  if (base === null || ordinary === null) {
    trace?.applied('unknown-base', `nothing to count from: to be assessed from ${say(known.firstSeen)}`)
    return toBeAssessed(known.firstSeen)
  }
  return dueFrom(base, ordinary)
}

/** The newest cell or movement fitted; on the same day the cell, which went into that movement. */
function newestFitting(history: readonly UsableEvent[]): UsableEvent | null {
  let best: UsableEvent | null = null
  for (const event of history) {
    if (!isFitting(event)) continue
    if (best === null) best = event
    else if (event.first === best.first && event.fact.event !== best.fact.event) {
      if (event.fact.event === 'cell-fitted') best = event
    } else if (isNewer(event, best)) best = event
  }
  return best
}

/** A first cell has been ageing since the watch was made, not since it was sold. */
function baseOf(known: Known, fitted: UsableEvent | null): Base | null {
  if (fitted !== null) return baseOfEvent(fitted)
  if (known.made !== null) return baseOfDay(known.made, 'made')
  return known.sold === null ? null : baseOfDay(known.sold, 'sold')
}

/** The earliest of best-before, consumption, and the maker's or the usual months; on a tie the first of these. */
function earliestDate(
  known: Known,
  setting: Setting,
  base: Base,
  fitted: UsableEvent | null,
  trace: Trace | undefined,
): Reckoned {
  const cell = fitted !== null && fitted.fact.event === 'cell-fitted' ? fitted.fact : null
  let earliest = bestBeforeDate(cell, base, trace)
  const consumption = consumptionDate(cell, base, setting, trace)
  if (consumption !== null && (earliest === null || consumption.dueOn < earliest.dueOn)) earliest = consumption

  const guidance = guidanceFor(known, 'cell-change')
  const interval = guidance !== null ? lowerEnd(guidance) : houseInterval(setting, 'usual', 'cellMonths')
  const byMonths = reckonedFrom(base, interval)
  if (guidance === null) trace?.tried('maker', "no maker's guidance is in force")
  trace?.tried(interval.rule, `${say(base.on)} and ${interval.months} months is ${say(byMonths.dueOn)}`)
  if (earliest === null || byMonths.dueOn < earliest.dueOn) earliest = byMonths

  trace?.applied(earliest.rule, `the earliest of these dates is ${say(earliest.dueOn)}`)
  return earliest
}

/** A printed day, not an interval: nobody learns it late, so letters never wait ninety days for it. */
function bestBeforeDate(cell: CellFitted | null, base: Base, trace: Trace | undefined): Reckoned | null {
  if (cell?.bestBefore == null) {
    trace?.tried('best-before', 'none is known')
    return null
  }
  const dueOn = Math.max(spanOf(cell.bestBefore).last, base.on)
  trace?.tried('best-before', `best before ${cell.bestBefore}, fitted ${say(base.on)}: ${say(dueOn)}`)
  return { rule: 'best-before', months: null, dueOn, heard: NEVER }
}

function consumptionDate(
  cell: CellFitted | null,
  base: Base,
  setting: Setting,
  trace: Trace | undefined,
): Reckoned | null {
  if (cell?.capacityMah == null || cell.consumptionMicroamps == null) {
    trace?.tried('consumption', 'capacity and consumption are not both known')
    return null
  }
  const months = cellLifeMonths(cell.capacityMah, cell.consumptionMicroamps, setting.rules.lifeSharePercent)
  if (months > LONGEST_LIFE_MONTHS) {
    trace?.tried('consumption', `${months} months are too long to decide`)
    return null
  }
  const reckoned = reckonedFrom(base, { rule: 'consumption', months, heard: ruleHeard(setting, 'lifeSharePercent') })
  trace?.tried(
    'consumption',
    `${cell.capacityMah} mAh at ${cell.consumptionMicroamps} microamps: ${months} months, ${say(reckoned.dueOn)}`,
  )
  return reckoned
}

type CellRule = Extract<EventRule, 'leaking' | 'spent' | 'end-of-life'>

/** A watch with a primary cell that stopped is taken to have a spent one. */
function cellRuleOf({ fact }: UsableEvent): CellRule | null {
  if (fact.event !== 'sign') return null
  if (fact.sign === 'cell-leaking') return 'leaking'
  if (fact.sign === 'cell-dead' || fact.sign === 'stopped') return 'spent'
  return fact.sign === 'cell-end-of-life' ? 'end-of-life' : null
}

/** Leaking before spent before end-of-life, of the signs that stand. */
function gravest(history: readonly UsableEvent[], settledOn: number | null): CellRule {
  let gravest: CellRule = 'end-of-life'
  for (const event of history) {
    const rule = cellRuleOf(event)
    if (rule === null || rule === 'end-of-life' || !standsAgainst(event, settledOn)) continue
    if (rule === 'leaking') return rule
    gravest = rule
  }
  return gravest
}

function sayBase(base: Base | null, trace: Trace | undefined): void {
  if (base === null) trace?.tried('base', 'no cell or movement fitted, no making and no sale is known')
  else trace?.applied('base', `counted from ${say(base.on)} (${base.from})`)
}
