import type { Day } from '../day.ts'
import type { NoticeSetting } from './notice-rules.ts'
import { isCellSign, ownDays, type Track, trackOf } from './rounds.ts'
import type { ObligationState, OwnerState, WatchState, WithheldItem, WithholdingReason } from './types.ts'
import { doubtReasons, meansReasons, obligationReasons, personReasons, rhythmOf, watchReasons } from './withhold.ts'

/** An item that something holds back: the row to book where it had reached a letter day, and what holds it. */
export interface Withheld {
  readonly watch: WatchState
  readonly state: ObligationState
  readonly reasons: readonly WithholdingReason[]
  /** null where no letter day had been reached: nothing was held back yet */
  readonly item: WithheldItem | null
}

export interface Sifted {
  readonly left: readonly { readonly watch: WatchState; readonly items: readonly ObligationState[] }[]
  readonly withheld: readonly Withheld[]
}

/** Takes out, item by item, what person, watch, refusal, appointment, means or doubt hold back; names every reason. */
export function sift(owner: OwnerState, setting: NoticeSetting, today: Day): Sifted {
  const rhythm = rhythmOf(owner, setting, today)
  const means = meansReasons(owner)
  const withheld: Withheld[] = []
  const left = owner.watches.map((watch) => {
    const items: ObligationState[] = []
    for (const state of watch.obligations) {
      const reasons = [
        ...personReasons(owner, state.kind, setting),
        ...watchReasons(watch, state.kind),
        ...obligationReasons(state, setting, today),
        ...means,
      ]
      const doubts = doubtReasons(watch, state, setting, today)
      if (reasons.length === 0 && doubts.length === 0) {
        items.push(state)
        continue
      }
      const { pending } = trackWithheld(state, reasons, owner, setting, today)
      const all = [...reasons, ...(isCellSign(state) ? [] : rhythm.reasons), ...doubts]
      const row = pending && {
        recordId: watch.recordId,
        watchId: watch.watchId,
        kind: state.kind,
        cycle: state.cycle,
        stage: pending,
        reasons: all,
      }
      withheld.push({ watch, state, reasons: [...reasons, ...doubts], item: row || null })
    }
    return { watch, items }
  })
  return { left, withheld }
}

/** While a refusal keeps it quiet, the stages it would otherwise have had are what is held back. */
export const trackWithheld = (
  item: ObligationState,
  reasons: readonly WithholdingReason[],
  owner: OwnerState,
  setting: NoticeSetting,
  today: Day,
): Track =>
  trackOf(
    reasons.includes('declined') ? { ...item, declinedOn: null } : item,
    ownDays(item, owner, setting),
    setting,
    today,
  )

/** The hold for doubt starts on the first night when doubt alone kept an item back. */
export const heldForDoubtAlone = (reasons: readonly WithholdingReason[]): boolean =>
  reasons.length > 0 && reasons.every((reason) => reason === 'base-in-doubt' || reason === 'doubtful-pair')

export const startsHold = (withheld: Withheld, today: Day): Day | null =>
  withheld.state.heldSince ?? (withheld.item !== null && heldForDoubtAlone(withheld.item.reasons) ? today : null)
