import { addDays, type Day } from '../day.ts'
import type { Rule } from '../reckoning/answer.ts'
import type { ObligationKind } from '../reckoning/facts.ts'
import type { Bundle } from './folding.ts'
import type { NoticeSetting } from './notice-rules.ts'
import { isCellSign, ownDays, trackOf } from './rounds.ts'
import { heldForDoubtAlone, startsHold, trackWithheld, type Withheld } from './sift.ts'
import type { BookedStage, LetterPlan, NextNotice, ObligationState, OwnerState } from './types.ts'
import { appointmentOver, doubtOver, quietEnd, type Rhythm } from './withhold.ts'

/**
 * The days on which the nightly run must look again, so that on all other nights it need not. An item is looked at on
 * its own letter days even while it is folded (the bundle may go apart), on the days of the bundle it leads, when its
 * head stops asking, and when a hold, a quiet time or the rhythm ends. What only a fact can end (a choice, a ticket
 * closed, an address) has no day: whoever records the fact asks for another look.
 */
export function nextDays(
  owner: OwnerState,
  setting: NoticeSetting,
  today: Day,
  decided: { withheld: readonly Withheld[]; bundles: readonly Bundle[]; letter: LetterPlan | null; rhythm: Rhythm },
): NextNotice[] {
  const { withheld, bundles, letter, rhythm } = decided
  const next: NextNotice[] = []
  const soonest = (...days: (Day | null | undefined)[]): Day | null => {
    const coming = days.filter((day): day is Day => day != null && day > today).sort()
    return coming[0] ?? null
  }
  // as it will stand once this letter is booked
  const after = (item: ObligationState, watchId: string): ObligationState => {
    const booked: BookedStage[] = (letter?.parts ?? []).flatMap((part) =>
      part.part === 'due' && part.watchId === watchId && part.kind === item.kind && part.books
        ? [
            ...part.skips.map((stage) => bookedAs(stage, 'skipped', part.round, today, part.dueOn, part.bundled)),
            bookedAs(part.stage, 'letter', part.round, today, part.dueOn, part.bundled),
          ]
        : [],
    )
    return booked.length === 0 ? item : { ...item, booked: [...item.booked, ...booked] }
  }
  // the next letter frees the rhythm no sooner than this; the nights until then would decide nothing
  const rhythmEnds = letter?.reminder ? addDays(today, setting.rules.letterRhythmDays) : rhythm.freeOn
  const waiting = (item: ObligationState, pending: string | null): Day | null =>
    pending === null ? null : isCellSign(item) ? addDays(today, 1) : rhythmEnds

  for (const w of withheld) {
    const own = trackWithheld(w.state, w.reasons, owner, setting, today)
    const held = startsHold(w, today)
    next.push({
      watchId: w.watch.watchId,
      kind: w.state.kind,
      nextNoticeOn: soonest(
        own.nextDay,
        appointmentOver(w.state, setting),
        w.state.kind === 'seals' ? null : quietEnd(w.state, setting),
        held !== null
          ? doubtOver({ ...w.state, heldSince: held }, setting, today)
          : heldForDoubtAlone(w.reasons)
            ? rhythm.freeOn
            : null,
      ),
    })
  }
  for (const { watch, head, members, track } of bundles) {
    const standing = after(head, watch.watchId)
    const bundle = trackOf(standing, track.days, setting, today)
    const own = trackOf(standing, ownDays(standing, owner, setting), setting, today)
    next.push({
      watchId: watch.watchId,
      kind: head.kind,
      nextNoticeOn: soonest(
        bundle.nextDay,
        own.nextDay,
        waiting(head, bundle.pending),
        members.length > 0 ? head.stopOn : null,
      ),
    })
    for (const member of members) {
      const alone = after(member, watch.watchId)
      const { nextDay } = trackOf(alone, ownDays(alone, owner, setting), setting, today)
      next.push({ watchId: watch.watchId, kind: member.kind, nextNoticeOn: soonest(nextDay) })
    }
  }
  return next
}

const bookedAs = (
  stage: string,
  booked: BookedStage['booked'],
  round: Day,
  runOn: Day,
  dueOn: Day,
  bundled: boolean,
): BookedStage => ({ stage, booked, round, runOn, dueOn, bundled, returned: false })

/** What a newly reckoned obligation is compared with and judged by, without knowing what letters went. */
export interface Reckoned {
  readonly kind: ObligationKind
  readonly rule: Rule
  readonly cycle: string
  readonly noticesDueOn: Day
  readonly stopOn: Day | null
  /** the first of its letter days; null where it has none */
  readonly firstLetterOn: Day | null
}

/**
 * For the transaction that records a fact: when the night must look at this obligation, judged without the letters
 * that went. An item whose letter days have begun is looked at in the next night, which then sets the exact day. Where
 * nothing moved, the day found stays (`before`), unless another kind of the same watch moved and the folding with it.
 */
export function nextNoticeOn(
  now: Reckoned | null,
  before: (Omit<Reckoned, 'firstLetterOn'> & { readonly nextNoticeOn: Day | null }) | null,
  watchMoved: boolean,
  setting: NoticeSetting,
  today: Day,
): Day | null {
  if (now === null || now.kind === 'seals') return null
  if (before !== null && !watchMoved && !moved(now, before)) return before.nextNoticeOn
  if (now.rule === 'unknown-base') {
    const after = setting.rules.assessAfterDays
    if (after === 0) return null
    const day = addDays(now.noticesDueOn, after)
    return day > today ? day : today
  }
  // beyond the last letter only the end of a refusal's quiet may be waited for
  if (now.stopOn !== null && now.stopOn <= today) return before?.cycle === now.cycle ? before.nextNoticeOn : null
  if (now.firstLetterOn === null) return null
  // a day that was waited for in this cycle may be the end of a refusal's quiet, whose one letter asks for no letter day
  const waited = before?.cycle === now.cycle ? before.nextNoticeOn : null
  const soonest = waited !== null && waited < now.firstLetterOn ? waited : now.firstLetterOn
  return soonest > today ? soonest : today
}

/** Whether anything moved that letters depend on. */
export const moved = (
  now: Pick<Reckoned, 'rule' | 'cycle' | 'noticesDueOn' | 'stopOn'>,
  before: Pick<Reckoned, 'rule' | 'cycle' | 'noticesDueOn' | 'stopOn'>,
): boolean =>
  now.rule !== before.rule ||
  now.cycle !== before.cycle ||
  now.noticesDueOn !== before.noticesDueOn ||
  now.stopOn !== before.stopOn
