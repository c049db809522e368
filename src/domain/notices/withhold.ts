import { addDays, addMonths, type Day } from '../day.ts'
import { cycleDay } from './cycles.ts'
import type { NoticeSetting } from './notice-rules.ts'
import type { ChoiceKind, NoticeKind, ObligationState, OwnerState, WatchState, WithholdingReason } from './types.ts'

/** Seals and guarantee count as service; everything else is asked about by its own kind. */
const choiceKindOf = (kind: NoticeKind): ChoiceKind =>
  kind === 'water-check' || kind === 'cell-change' ? kind : 'complete-service'

/** What withholds every letter of a kind to this person: the person himself, and who the right person is. */
export function personReasons(owner: OwnerState, kind: NoticeKind, setting: NoticeSetting): WithholdingReason[] {
  if (owner.ownerId === null) return ['owner-unknown']
  const reasons: WithholdingReason[] = []
  if (owner.deceased) reasons.push('owner-deceased')
  if (owner.erased) reasons.push('owner-erased')
  const choice = owner.choices[choiceKindOf(kind)]
  if (choice === 'no') reasons.push('letters-refused')
  if (choice === 'not-asked' && setting.notAsked === 'do-not-write') reasons.push('not-asked')
  if (choice === 'not-asked' && setting.notAsked === null) reasons.push('not-asked-rule-missing')
  if (owner.lawfulBasisMissing) reasons.push('lawful-basis-missing')
  if (owner.inDispute) reasons.push('owner-in-dispute')
  if (owner.blocked) reasons.push('owner-blocked')
  return reasons
}

const stateReasons: Readonly<Record<string, WithholdingReason>> = {
  lost: 'watch-lost',
  stolen: 'watch-stolen',
  disposed: 'watch-disposed',
  'beyond-repair': 'watch-beyond-repair',
  displayed: 'watch-displayed',
}

export function watchReasons(watch: WatchState, kind: NoticeKind): WithholdingReason[] {
  const reasons: WithholdingReason[] = []
  if (watch.inHouse) reasons.push('watch-in-house')
  const state = stateReasons[watch.state]
  if (state) reasons.push(state)
  if (watch.state === 'stored-cell-removed' && kind === 'cell-change') reasons.push('cell-removed')
  return reasons
}

export function meansReasons(owner: OwnerState): WithholdingReason[] {
  const reasons: WithholdingReason[] = []
  if (owner.ownerId === null) return reasons
  if (!owner.hasAddress) reasons.push('no-address')
  if (owner.mailReturned) reasons.push('mail-returned')
  return reasons
}

/** Letters about this watch wait until this day for an appointment that was made; null where there is none. */
export const appointmentOver = (item: ObligationState, setting: NoticeSetting): Day | null =>
  item.appointmentOn === null ? null : addDays(item.appointmentOn, setting.rules.appointmentQuietDays + 1)

/**
 * The day the quiet after a refused offer ends; null where nothing was refused in this cycle. What happened after the
 * refusal opened another cycle and was not refused.
 */
export function quietEnd(item: ObligationState, setting: NoticeSetting): Day | null {
  if (item.declinedOn === null || cycleDay(item.cycle) > item.declinedOn) return null
  return item.rule === 'leaking' || item.rule === 'spent'
    ? addDays(item.declinedOn, setting.rules.refusalQuietCellDays)
    : addMonths(item.declinedOn, setting.rules.refusalQuietMonths)
}

export function obligationReasons(item: ObligationState, setting: NoticeSetting, today: Day): WithholdingReason[] {
  const reasons: WithholdingReason[] = []
  const over = appointmentOver(item, setting)
  if (over !== null && today < over) reasons.push('appointment')
  const quiet = quietEnd(item, setting)
  if (quiet !== null && today < quiet) reasons.push('declined')
  return reasons
}

/** The day a hold for doubt ends: counted from the first night it alone held the item, or from today. */
export const doubtOver = (item: ObligationState, setting: NoticeSetting, today: Day): Day =>
  addDays(item.heldSince ?? today, setting.rules.doubtHoldDays)

export function doubtReasons(
  watch: WatchState,
  item: ObligationState,
  setting: NoticeSetting,
  today: Day,
): WithholdingReason[] {
  if (item.heldSince !== null && today >= doubtOver(item, setting, today)) return []
  const reasons: WithholdingReason[] = []
  if (item.doubtful) reasons.push('base-in-doubt')
  if (watch.doubtfulPair) reasons.push('doubtful-pair')
  return reasons
}

/** When the next letter may go by the thirty days and by the year's number; a day not after today is: now. */
export interface Rhythm {
  readonly freeOn: Day | null
  readonly reasons: readonly WithholdingReason[]
}

export function rhythmOf(owner: OwnerState, setting: NoticeSetting, today: Day): Rhythm {
  const { letterRhythmDays, lettersAYear } = setting.rules
  const reasons: WithholdingReason[] = []
  let freeOn: Day | null = null
  const sorted = [...owner.reminderDays].sort()
  const last = [sorted.at(-1), owner.lastTicketClosedOn].reduce<Day | null>(
    (latest, day) => (day != null && (latest === null || day > latest) ? day : latest),
    null,
  )
  if (last !== null) {
    const next = addDays(last, letterRhythmDays)
    if (today < next) {
      reasons.push('thirty-days')
      freeOn = next
    }
  }
  const leavesYearOn = sorted.map((day) => addMonths(day, 12)).filter((day) => day > today)
  if (leavesYearOn.length >= lettersAYear) {
    reasons.push('year-full')
    const room = leavesYearOn[leavesYearOn.length - lettersAYear] as Day
    if (freeOn === null || room > freeOn) freeOn = room
  }
  return { freeOn, reasons }
}
