import { addDays, type Day } from '../day.ts'
import { type Bundle, foldWatch } from './folding.ts'
import { nextDays } from './next.ts'
import type { NoticeSetting } from './notice-rules.ts'
import { comeByOf, inOrder } from './order.ts'
import { askedEnough, isCellSign, numberOfStage, refusedOnce, skippedBelow, toBeAssessed, trackOf } from './rounds.ts'
import { sift } from './sift.ts'
import { standingOf } from './standing.ts'
import type {
  Decision,
  DuePart,
  GuaranteePart,
  KeepDryPart,
  LetterPart,
  MovedLaterPart,
  ObligationState,
  OwnerState,
  Stage,
  WatchState,
  WithheldItem,
} from './types.ts'
import { personReasons, rhythmOf, watchReasons } from './withhold.ts'

/**
 * Decides for one owner on one day: (1) withhold item by item, (2) fold what is left, (3) see what has reached a letter
 * day, (4) keep the rhythm, (5) gather what comes soon, (6) order and date the letter. The same state on the same day
 * gives the same decision; once the letter is booked, the same day decides nothing more.
 */
export function decideLetters(owner: OwnerState, setting: NoticeSetting, today: Day): Decision {
  const { left, withheld } = sift(owner, setting, today)
  const bundles = left.flatMap(({ watch, items }) => foldWatch(watch, items, owner, setting, today))
  const rhythm = rhythmOf(owner, setting, today)
  const free = rhythm.reasons.length === 0

  const urgent = bundles.filter((b) => b.track.pending !== null && isCellSign(b.head))
  const ordinary = bundles.filter((b) => b.track.pending !== null && !isCellSign(b.head))
  const notes = guaranteeParts(owner, setting, today)
  const noteCausesLetter = setting.rules.guaranteeOwnLetter === 1 && notes.length > 0

  const parts: LetterPart[] = []
  if (urgent.length > 0 || (free && (ordinary.length > 0 || noteCausesLetter))) {
    for (const b of urgent) parts.push(...dueParts(b, b.track.pending as Stage, setting, today, free))
    if (free) {
      for (const b of ordinary) parts.push(...dueParts(b, b.track.pending as Stage, setting, today, true))
      for (const b of bundles) {
        const stage = gatheredStage(b, owner, setting, today)
        if (stage !== null) parts.push(...dueParts(b, stage, setting, today, true))
      }
      parts.push(...ridingAssessments(bundles, parts, setting, today))
      parts.push(...notes)
    }
  }
  const reminder = parts.some((part) => part.part !== 'due' || !isCellSign(part))
  if (parts.length > 0) parts.push(...keepDryParts(owner), ...movedLaterParts(left, parts, today))

  const ordered = inOrder(parts)
  const letter =
    parts.length === 0 || owner.ownerId === null
      ? null
      : {
          ownerId: owner.ownerId,
          language: owner.language,
          runOn: today,
          comeBy: comeByOf(ordered, setting, today),
          parts: ordered,
          reminder,
        }

  const blocked: WithheldItem[] = free
    ? []
    : ordinary.map((b) => ({
        recordId: b.watch.recordId,
        watchId: b.watch.watchId,
        kind: b.head.kind,
        cycle: b.head.cycle,
        stage: b.track.pending as Stage,
        reasons: rhythm.reasons,
      }))
  return {
    letter,
    withheld: [...withheld.map((w) => w.item).filter((item) => item !== null), ...blocked],
    next: nextDays(owner, setting, today, { withheld, bundles, letter, rhythm }),
  }
}

/** First stages whose letter day comes soon; a later stage only if the due day has come. Calls come before letters. */
function gatheredStage(b: Bundle, owner: OwnerState, setting: NoticeSetting, today: Day): Stage | null {
  const { head, track } = b
  if (track.pending !== null || toBeAssessed(head) || refusedOnce(head, setting) || askedEnough(head, today))
    return null
  const number = track.highest + 1
  const day = track.days[number - 1]
  if (day === undefined || day <= today || day > addDays(today, setting.rules.gatherDays)) return null
  if (number === 1) return isCellSign(head) && owner.hasPhone ? null : '1'
  return head.noticesDueOn <= today ? String(number) : null
}

/** What is to be assessed rides in the owner's first letter; seals only beside other work on the same watch. */
function ridingAssessments(
  bundles: readonly Bundle[],
  parts: readonly LetterPart[],
  setting: NoticeSetting,
  today: Day,
): DuePart[] {
  const named = new Set(parts.map((part) => part.watchId))
  return bundles.flatMap((b) => {
    if (!toBeAssessed(b.head) || b.track.pending !== null || b.track.taken.size > 0) return []
    if (b.head.kind === 'seals' && !named.has(b.watch.watchId)) return []
    return dueParts(b, 'assess', setting, today, true)
  })
}

/** The head of a bundle and, where others may come along, the members; each books the stage of the same number. */
function dueParts(b: Bundle, stage: Stage, setting: NoticeSetting, today: Day, withMembers: boolean): DuePart[] {
  const members = withMembers ? b.members.filter((member) => !askedEnough(member, today)) : []
  const bundled = members.length > 0
  const own = partOf(b.watch, b.head, b.track, stage, today, { foldedUnder: null, bundled })
  return [
    own,
    ...members.map((member) =>
      partOf(b.watch, member, trackOf(member, b.track.days, setting, today), stage, today, {
        foldedUnder: b.head.kind,
        bundled: true,
      }),
    ),
  ]
}

function partOf(
  watch: WatchState,
  item: ObligationState,
  track: ReturnType<typeof trackOf>,
  stage: Stage,
  today: Day,
  fold: Pick<DuePart, 'foldedUnder' | 'bundled'>,
): DuePart {
  const number = numberOfStage(stage)
  const gone = track.taken.has(stage) || (!stage.includes('/') && number > 0 && number <= track.highest)
  return {
    part: 'due',
    watchId: watch.watchId,
    recordId: watch.recordId as string,
    kind: item.kind,
    rule: item.rule,
    standing: standingOf(item, today),
    cycle: item.cycle,
    round: track.round ?? today,
    stage,
    books: !gone,
    skips: gone ? [] : skippedBelow(track, number),
    dueOn: item.noticesDueOn,
    reckonedDueOn: item.dueOn,
    baseOn: item.baseOn,
    baseFrom: item.baseFrom,
    months: item.months,
    ...fold,
    wentOut: track.wentOut,
    unsure: item.doubtful,
  }
}

function guaranteeParts(owner: OwnerState, setting: NoticeSetting, today: Day): GuaranteePart[] {
  if (personReasons(owner, 'guarantee', setting).length > 0) return []
  return owner.watches.flatMap((watch) => {
    if (watchReasons(watch, 'guarantee').length > 0) return []
    return watch.guarantees
      .filter((g) => g.booked.length === 0 && today <= g.lastDay)
      .filter((g) => today >= addDays(g.lastDay, -setting.rules.guaranteeLeadDays))
      .map((g) => ({
        part: 'guarantee' as const,
        watchId: watch.watchId,
        recordId: watch.recordId as string,
        kind: 'guarantee' as const,
        cycle: g.cycle,
        round: today,
        stage: 'note',
        lastDay: g.lastDay,
      }))
  })
}

const keepDryParts = (owner: OwnerState): KeepDryPart[] =>
  owner.watches
    .filter((watch) => watch.keepDry && watchReasons(watch, 'water-check').length === 0)
    .map((watch) => ({ part: 'keep-dry', watchId: watch.watchId }))

/**
 * One sentence where the last letter of the cycle named an earlier day than today's. Not where this letter opens a new
 * round for the item: then the old day has lapsed.
 */
function movedLaterParts(
  left: readonly { watch: WatchState; items: readonly ObligationState[] }[],
  parts: readonly LetterPart[],
  today: Day,
): MovedLaterPart[] {
  return left.flatMap(({ watch, items }) =>
    items.flatMap((item) => {
      const told = item.booked.findLast((b) => b.booked !== 'skipped')
      if (!told || told.dueOn >= item.noticesDueOn || toBeAssessed(item) || askedEnough(item, today)) return []
      const opened = parts.some(
        (part) =>
          part.part === 'due' && part.watchId === watch.watchId && part.kind === item.kind && part.round !== told.round,
      )
      if (opened) return []
      return [
        {
          part: 'moved-later' as const,
          watchId: watch.watchId,
          recordId: watch.recordId as string,
          kind: item.kind,
          cycle: item.cycle,
          round: told.round,
          stage: `moved/${item.noticesDueOn}`,
          toldDueOn: told.dueOn,
          dueOn: item.noticesDueOn,
        },
      ]
    }),
  )
}
