import { numberOfDay, spanOf } from '../day.ts'
import type { Warning } from './answer.ts'
import type {
  ClaimMark,
  Facts,
  HistoryEvent,
  ObligationKind,
  Source,
  WatchKind,
  WaterUse,
  WearFacts,
  YesNo,
} from './facts.ts'

/** Before every day there is: the day of what was never learned, or has no day. */
export const NEVER = -1_000_000_000

/** After every day there is. */
export const NO_DAY = 1_000_000_000

/** An event that counts, with its days as numbers. */
export interface UsableEvent {
  readonly fact: HistoryEvent
  /** place in `history` as sent, from 0 */
  readonly index: number
  /** its day: the first day of the known period */
  readonly first: number
  /** the last day of the known period, at most the day it was learned, never before `first` */
  readonly last: number
  /** NEVER where not recorded */
  readonly learned: number
  /** own record 2, paper 1, owner's word 0 */
  readonly trust: number
}

export interface KnownWear {
  readonly daily: YesNo
  readonly vibration: YesNo
  readonly heat: YesNo
  readonly cold: YesNo
  readonly water: WaterUse
  readonly salt: YesNo
  readonly chlorine: YesNo
  readonly hotWater: YesNo
  readonly learned: number
}

/** A row of guidance that is known and in force. */
export interface KnownGuidance {
  readonly obligation: ObligationKind
  readonly months: number
  readonly upToMonths: number | null
  readonly inForceFrom: number
  /** the later of the day it was learned and the day it came into force */
  readonly heard: number
}

/** What is known and usable on the day. */
export interface Known {
  readonly on: number
  readonly kind: WatchKind
  /** 0 where unknown */
  readonly beatsPerHour: number
  readonly claim: ClaimMark
  /** 0 where unknown or not rated */
  readonly bar: number
  /** first days; null where unknown */
  readonly made: number | null
  readonly sold: number | null
  readonly firstSeen: number
  readonly wear: KnownWear
  /** in the order sent */
  readonly history: readonly UsableEvent[]
  /** by the day it came into force, then as sent */
  readonly guidance: readonly KnownGuidance[]
  /** the newest watchmaker's note on the complete service */
  readonly note: { readonly months: number; readonly on: number } | null
  /** the first day after `on` on which another of these facts becomes known, usable or in force; NO_DAY if none */
  readonly nextFactOn: number
}

const trustOf: Readonly<Record<Source, number>> = { 'own-record': 2, paper: 1, 'owner-word': 0 }

const nothingWorn: KnownWear = {
  daily: 'unknown',
  vibration: 'unknown',
  heat: 'unknown',
  cold: 'unknown',
  water: 'unknown',
  salt: 'unknown',
  chlorine: 'unknown',
  hotWater: 'unknown',
  learned: NEVER,
}

/** Keeps the first day on which a fact that does not count yet will. */
interface Coming {
  first: number
}
function comes(coming: Coming, day: number): void {
  if (day < coming.first) coming.first = day
}

/**
 * Sifts the facts: what was not yet learned on the day is as if absent; what is dated after the day, or was over
 * before the watch was made, is set aside with a warning. Warnings come as made, sold, history by index.
 */
export function sift(facts: Facts, on: number, warnings: Warning[]): Known {
  const { watch } = facts
  const coming: Coming = { first: NO_DAY }
  let made = watch.made == null ? null : spanOf(watch.made).first
  if (made !== null && made > on) {
    warnings.push({ code: 'future-dated', fact: 'watch.made' })
    // From that day on it also sets aside what happened before it.
    comes(coming, made)
    made = null
  }
  const soldSpan = watch.sold == null ? null : spanOf(watch.sold)
  let sold = soldSpan === null ? null : soldSpan.first
  if (sold !== null && sold > on) {
    warnings.push({ code: 'future-dated', fact: 'watch.sold' })
    comes(coming, sold)
    sold = null
  } else if (soldSpan !== null && made !== null && soldSpan.last < made) {
    warnings.push({ code: 'contradiction', fact: 'watch.sold' })
  }
  const marked = watch.waterClaim?.marked ?? 'unknown'
  const wear = knownWear(facts.wear, on, coming)
  const history = usableHistory(facts.history, on, made, warnings, coming)
  const guidance = guidanceInForce(facts.guidance, on, coming)
  const note = newestServiceNote(facts.notes, on, coming)
  return {
    on,
    kind: watch.kind,
    beatsPerHour: watch.beatsPerHour ?? 0,
    claim: marked,
    bar: (marked === 'rated' ? watch.waterClaim?.bar : null) ?? 0,
    made,
    sold,
    firstSeen: numberOfDay(watch.firstSeen),
    wear,
    history,
    guidance,
    note,
    nextFactOn: coming.first,
  }
}

function knownWear(wear: WearFacts | null | undefined, on: number, coming: Coming): KnownWear {
  if (wear == null) return nothingWorn
  const learned = wear.learned == null ? NEVER : numberOfDay(wear.learned)
  if (learned > on) {
    comes(coming, learned)
    return nothingWorn
  }
  return {
    daily: wear.daily ?? 'unknown',
    vibration: wear.vibration ?? 'unknown',
    heat: wear.heat ?? 'unknown',
    cold: wear.cold ?? 'unknown',
    water: wear.water ?? 'unknown',
    salt: wear.salt ?? 'unknown',
    chlorine: wear.chlorine ?? 'unknown',
    hotWater: wear.hotWater ?? 'unknown',
    learned,
  }
}

const noEvents: readonly UsableEvent[] = []

function usableHistory(
  history: readonly HistoryEvent[] | null | undefined,
  on: number,
  made: number | null,
  warnings: Warning[],
  coming: Coming,
): readonly UsableEvent[] {
  if (history == null || history.length === 0) return noEvents
  const usable: UsableEvent[] = []
  for (let index = 0; index < history.length; index++) {
    const fact = history[index] as HistoryEvent
    const learned = fact.learned == null ? NEVER : numberOfDay(fact.learned)
    if (learned > on) {
      comes(coming, learned)
      continue
    }
    const { first, last: lastOfPeriod } = spanOf(fact.on)
    const last = learned === NEVER ? lastOfPeriod : Math.max(first, Math.min(lastOfPeriod, learned))
    if (first > on) {
      warnings.push({ code: 'future-dated', history: index })
      comes(coming, first)
    } else if (made !== null && last < made) warnings.push({ code: 'contradiction', history: index })
    else usable.push({ fact, index, first, last, learned, trust: trustOf[fact.source] })
  }
  return usable
}

const noGuidance: readonly KnownGuidance[] = []

function guidanceInForce(guidance: Facts['guidance'], on: number, coming: Coming): readonly KnownGuidance[] {
  if (guidance == null || guidance.length === 0) return noGuidance
  const rows: KnownGuidance[] = []
  for (const { obligation, months, upToMonths, inForceFrom, learned } of guidance) {
    const from = numberOfDay(inForceFrom)
    const heard = learned == null ? from : Math.max(from, numberOfDay(learned))
    if (heard > on) comes(coming, heard)
    else rows.push({ obligation, months, upToMonths: upToMonths ?? null, inForceFrom: from, heard })
  }
  return rows.length > 1 ? rows.sort((a, b) => a.inForceFrom - b.inForceFrom) : rows
}

function newestServiceNote(notes: Facts['notes'], on: number, coming: Coming): Known['note'] {
  if (notes == null) return null
  let newest: Known['note'] = null
  for (const note of notes) {
    if (note.obligation !== 'complete-service') continue
    const written = numberOfDay(note.on)
    if (written > on) comes(coming, written)
    else if (newest === null || written >= newest.on) newest = { months: note.months, on: written }
  }
  return newest
}
