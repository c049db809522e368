import { type Day, daysBetween } from '../day.ts'
import type { ObligationKind } from '../reckoning/facts.ts'
import type { NoticeSetting } from './notice-rules.ts'
import { askedEnough, isCellSign, ownDays, refusedOnce, type Track, toBeAssessed, trackOf } from './rounds.ts'
import type { ObligationState, OwnerState, WatchState } from './types.ts'

/** One visit: an item with letter days, and what it covers. `days` are the stages of what swallows. */
export interface Bundle {
  readonly watch: WatchState
  readonly head: ObligationState
  readonly members: readonly ObligationState[]
  readonly track: Track
}

/** A bundle's stages are those of the head; its first letter day is the earliest first letter day of all in it. */
function bundleDays(
  head: ObligationState,
  members: readonly ObligationState[],
  owner: OwnerState,
  setting: NoticeSetting,
): readonly Day[] {
  const [first, ...later] = ownDays(head, owner, setting)
  // a cell that gave a sign keeps its days: the counter calls before anybody writes
  if (first === undefined || isCellSign(head)) return ownDays(head, owner, setting)
  const earliest = members.reduce((day, member) => {
    const own = ownDays(member, owner, setting)[0]
    return own !== undefined && own < day ? own : day
  }, first)
  return [earliest, ...later]
}

/**
 * Folds the items of one watch that nothing withholds. Looked for first under the complete service, then under the cell;
 * what a swallowed item swallows rides with the outermost. Never folded: what is to be assessed, what was once refused,
 * a cell that gave a sign, a case opened and not tested since. Seals have no letters: they ride with the service or
 * the water check, where their own day is near or the service's window holds them.
 */
export function foldWatch(
  watch: WatchState,
  items: readonly ObligationState[],
  owner: OwnerState,
  setting: NoticeSetting,
  today: Day,
): Bundle[] {
  const plain = items.filter((item) => !toBeAssessed(item) && !refusedOnce(item, setting))
  const of = (kind: ObligationKind) => plain.find((item) => item.kind === kind)
  const service = of('complete-service')
  const cell = of('cell-change')
  const check = of('water-check')
  const seals = of('seals')
  const rules = setting.rules

  const bundle = (head: ObligationState, members: readonly ObligationState[]): Bundle => ({
    watch,
    head,
    members,
    track: trackOf(head, bundleDays(head, members, owner, setting), setting, today),
  })
  const maySwallow = (head: ObligationState, members: readonly ObligationState[]) =>
    !askedEnough(head, today) && bundle(head, members).track.highest < head.letterDays.length
  const after = (head: ObligationState, item: ObligationState) => daysBetween(head.noticesDueOn, item.noticesDueOn)
  const between = (days: number, from: number, to: number) => days >= from && days <= to

  const foldable = (item: ObligationState | undefined): item is ObligationState =>
    item !== undefined && !isCellSign(item) && item.rule !== 'opened-since-test'

  const under = new Map<ObligationState, ObligationState>()
  if (service) {
    const covered = [
      foldable(check) && between(after(service, check), 0, rules.serviceSwallowsAfterDays) ? check : null,
      foldable(cell) &&
      between(after(service, cell), -rules.serviceSwallowsCellBeforeDays, rules.serviceSwallowsAfterDays)
        ? cell
        : null,
      seals && between(after(service, seals), 0, rules.serviceSwallowsAfterDays) ? seals : null,
    ].filter((item) => item !== null)
    if (covered.length > 0 && maySwallow(service, covered)) for (const item of covered) under.set(item, service)
  }
  if (cell && foldable(check) && !under.has(check) && between(after(cell, check), 0, rules.cellSwallowsCheckDays))
    if (maySwallow(cell, [check])) under.set(check, cell)
  if (seals && !under.has(seals) && today >= seals.comingUpFrom) {
    const carrier = check && !askedEnough(check, today) ? check : service
    if (carrier) under.set(seals, carrier)
  }

  const outermost = (item: ObligationState): ObligationState => {
    const head = under.get(item)
    return head === undefined ? item : outermost(head)
  }
  const bundles: Bundle[] = []
  for (const head of plain) {
    if (under.has(head) || head.kind === 'seals') continue
    const members = plain.filter((item) => item !== head && outermost(item) === head)
    bundles.push(bundle(head, members))
  }
  for (const item of items) if (toBeAssessed(item) || refusedOnce(item, setting)) bundles.push(bundle(item, []))
  return bundles
}
