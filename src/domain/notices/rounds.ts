import { addDays, type Day } from '../day.ts'
import type { NoticeSetting } from './notice-rules.ts'
import type { BookedStage, ObligationState, OwnerState, Stage, WentOut } from './types.ts'
import { quietEnd } from './withhold.ts'

/** Where an item stands on a day: which stage waits to be booked, in which round, and when it moves on by itself. */
export interface Track {
  readonly days: readonly Day[]
  /** the running round; null where the next letter opens one */
  readonly round: Day | null
  /** the stage that has been reached and not gone yet */
  readonly pending: Stage | null
  /** number of that stage; 0 for a stage without a number */
  readonly pendingNumber: number
  /** the highest stage of the round that went or was skipped */
  readonly highest: number
  readonly taken: ReadonlySet<Stage>
  readonly wentOut: WentOut
  /** the next letter day after today of a stage not gone */
  readonly nextDay: Day | null
}

const cellSigns = new Set(['leaking', 'spent', 'end-of-life'])
/** A leaking or dead cell, or its end-of-life sign: outside the thirty days, and the counter calls first. */
export const isCellSign = (item: Pick<ObligationState, 'kind' | 'rule'>): boolean =>
  item.kind === 'cell-change' && cellSigns.has(item.rule)

export const toBeAssessed = (item: Pick<ObligationState, 'rule'>): boolean => item.rule === 'unknown-base'

export const askedEnough = (item: ObligationState, today: Day): boolean => item.stopOn !== null && today >= item.stopOn

export const numberOfStage = (stage: Stage): number => {
  const base = stage.split('/')[0] as string
  return base === '1' || base === '2' || base === '3' ? Number(base) : 0
}

/** The stage once more, to a new address: the first letter went to address 1. */
const toNewAddress = (stage: string, booked: readonly BookedStage[]): Stage =>
  `${stage.split('/')[0]}/address-${1 + booked.filter((b) => b.booked === 'letter' && b.returned).length}`

const wentOutOf = (booked: readonly BookedStage[]): WentOut => {
  const nights = new Set(booked.filter((b) => b.booked === 'letter').map((b) => b.runOn))
  return nights.size === 0 ? 'none' : nights.size === 1 ? 'one' : 'more'
}

/**
 * The running round: that of the last letter of the cycle which went out not long before the present first letter day
 * or later. A letter that went early only because it was bundled with earlier work belongs to it, too, for as long as
 * its due day has not moved: when the bundle goes apart, the rest go on with their later stages.
 */
function runningRound(item: ObligationState, first: Day, setting: NoticeSetting): Day | null {
  const from = addDays(first, -setting.rules.roundReachDays)
  for (let i = item.booked.length - 1; i >= 0; i--) {
    const b = item.booked[i] as BookedStage
    if (b.booked !== 'letter') continue
    if (b.runOn >= from || (b.bundled && b.dueOn === item.noticesDueOn)) return b.round
  }
  return null
}

/**
 * An item with one letter only: what is to be assessed, or what the owner once said no to. Of an earlier refusal's
 * letter it knows nothing (`since`); that of this one stays the one, even where the quiet is made longer afterwards.
 */
function single(item: ObligationState, stage: string, day: Day | null, since: Day | null, today: Day): Track {
  const letters = item.booked.filter((b) => b.booked === 'letter' && (since === null || b.runOn > since))
  const gone = letters.filter((b) => b.stage.split('/')[0] === stage)
  const last = gone.at(-1)
  const resend = last?.returned ? toNewAddress(stage, letters) : null
  const pending = last === undefined ? (day !== null && day <= today ? stage : null) : resend
  return {
    days: day === null ? [] : [day],
    round: letters.at(-1)?.round ?? null,
    pending,
    pendingNumber: 0,
    highest: 0,
    taken: new Set(gone.map((b) => b.stage)),
    wentOut: wentOutOf(letters),
    nextDay: last === undefined && day !== null && day > today ? day : null,
  }
}

/** The letter days of an item that stands alone. A cell's sign waits two days for a call where there is a telephone. */
export function ownDays(item: ObligationState, owner: OwnerState, setting: NoticeSetting): readonly Day[] {
  const [first, ...later] = item.letterDays
  if (first === undefined || !isCellSign(item) || !owner.hasPhone) return item.letterDays
  return [addDays(item.noticesDueOn, setting.rules.callDays), ...later]
}

/** Refused once: it then has the one letter after the quiet and no other. Seals, which have no letters, only ride again. */
export const refusedOnce = (item: ObligationState, setting: NoticeSetting): boolean =>
  item.kind !== 'seals' && quietEnd(item, setting) !== null

/**
 * The track of an item with these letter days: its own, or those of the bundle it leads. Of several stages reached only
 * the latest waits to go.
 */
export function trackOf(item: ObligationState, days: readonly Day[], setting: NoticeSetting, today: Day): Track {
  if (toBeAssessed(item)) {
    const after = setting.rules.assessAfterDays
    return single(
      item,
      'assess',
      after === 0 || item.kind === 'seals' ? null : addDays(item.noticesDueOn, after),
      null,
      today,
    )
  }
  const quiet = item.kind === 'seals' ? null : quietEnd(item, setting)
  if (quiet !== null) return single(item, 'after-refusal', quiet, item.declinedOn, today)

  const round = days[0] === undefined ? null : runningRound(item, days[0], setting)
  const inRound = round === null ? [] : item.booked.filter((b) => b.round === round && b.booked !== 'rider')
  const highest = inRound.reduce((most, b) => Math.max(most, numberOfStage(b.stage)), 0)
  const letters = inRound.filter((b) => b.booked === 'letter')
  // reached by telephone, the owner needs no first letter
  const called = isCellSign(item) && item.call === 'done'
  let reached = 0
  let nextDay: Day | null = null
  days.forEach((day, index) => {
    if (index === 0 && called) return
    if (day <= today) reached = Math.max(reached, index + 1)
    else if (index + 1 > highest && nextDay === null) nextDay = day
  })
  let pending: Stage | null = reached > highest ? String(reached) : null
  if (pending === null && letters.at(-1)?.returned) pending = toNewAddress(String(Math.max(reached, highest)), letters)
  if (askedEnough(item, today)) {
    pending = null
    nextDay = null
  }
  return {
    days,
    round,
    pending,
    pendingNumber: pending === null ? 0 : numberOfStage(pending),
    highest,
    taken: new Set(inRound.map((b) => b.stage)),
    wentOut: wentOutOf(inRound),
    nextDay,
  }
}

/** Stages of the round below this one that neither went nor were skipped. */
export function skippedBelow(track: Track, number: number): Stage[] {
  const skipped: Stage[] = []
  for (let n = track.highest + 1; n < number; n++) if (!track.taken.has(String(n))) skipped.push(String(n))
  return skipped
}
