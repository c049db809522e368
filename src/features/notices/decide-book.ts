import { randomFillSync } from 'node:crypto'
import { v7 as uuidv7 } from 'uuid'
import type { Sql } from '../../db/sql.ts'
import type { Day } from '../../domain/day.ts'
import type { Decision, LetterPlan, OwnerState, WithheldItem } from '../../domain/notices/types.ts'
import { TEXT_VERSION } from '../../letters/texts/sentences.ts'
import type { RulesInForce } from '../house-rules/house-rules.ts'
import { askForSetting } from '../house-rules/missing.ts'

/** One item row of a letter: what its keys are made of. */
export type ItemRow = {
  owner_id: string
  watch_id: string
  kind: string
  cycle: string
  round: Day
  stage: string
  rule: string
  booked: 'letter' | 'skipped' | 'rider'
  bundled: boolean
  due_on: Day
  standing: string
}

/** The rows a letter books: the stages that go, those passed over, and what rides. */
export function itemsOf(letter: LetterPlan): ItemRow[] {
  return letter.parts.flatMap((part): ItemRow[] => {
    if (part.part === 'keep-dry') return []
    const key = {
      owner_id: part.recordId,
      watch_id: part.watchId,
      kind: part.kind,
      cycle: part.cycle,
      round: part.round,
    }
    if (part.part !== 'due') {
      const due_on = part.part === 'guarantee' ? part.lastDay : part.dueOn
      return [
        { ...key, stage: part.stage, rule: part.part, booked: 'rider', bundled: false, due_on, standing: 'not-yet' },
      ]
    }
    const rest = { rule: part.rule, bundled: part.bundled, due_on: part.dueOn, standing: part.standing }
    return [
      ...part.skips.map((stage): ItemRow => ({ ...key, stage, booked: 'skipped', ...rest })),
      ...(part.books ? [{ ...key, stage: part.stage, booked: 'letter' as const, ...rest }] : []),
    ]
  })
}

/** What each item rested on, and the house rules that were in force: it stays as it was, whatever the rules become. */
const traceOf = (letter: LetterPlan, inForce: RulesInForce) => ({
  rulesChangedOn: inForce.changedOn,
  rulesFrom: inForce.rulesFrom,
  items: letter.parts.flatMap((part) =>
    part.part === 'due'
      ? [
          {
            watchId: part.watchId,
            kind: part.kind,
            rule: part.rule,
            baseOn: part.baseOn,
            baseFrom: part.baseFrom,
            months: part.months,
            reckonedDueOn: part.reckonedDueOn,
            dueOn: part.dueOn,
          },
        ]
      : [],
  ),
})

export type Booked = {
  letters: number
  items: number
  skipped: number
  withheld: number
  reasons: Record<string, number>
}

/** Ids in the order asked for, within one millisecond, too; random bytes are drawn in one go, since there are many. */
function idsInOrder(): () => string {
  const random = randomFillSync(new Uint8Array(16 * 256))
  const msecs = Date.now()
  let seq = 0
  return () => {
    const at = (seq % 256) * 16
    if (at === 0 && seq > 0) randomFillSync(random)
    return uuidv7({ msecs, seq: seq++, random: random.slice(at, at + 16) })
  }
}

/** What a batch comes to, ready to be sent: text and arrays, so that nothing of the owners is held while it is written. */
export type ToBook = {
  notices: string | null
  items: string | null
  withheld: string | null
  /** every item that was looked at, and the day to look again */
  watchIds: string[]
  kinds: string[]
  days: (Day | null)[]
  counts: Booked
  looked: number
}

/** Decides about one owner after another and lays out what is to be written. */
export function toBook(
  states: readonly OwnerState[],
  decide: (state: OwnerState) => Decision,
  inForce: RulesInForce,
): ToBook {
  const nextId = idsInOrder()
  const [notices, items, withheld]: [string[], string[], string[]] = [[], [], []]
  const [watchIds, kinds, days]: [string[], string[], (Day | null)[]] = [[], [], []]
  const counts = countsOf([], 0, [])
  for (const state of states) {
    const { letter, withheld: held, next } = decide(state)
    for (const { watchId, obligations } of state.watches)
      for (const { kind } of obligations) {
        watchIds.push(watchId)
        kinds.push(kind)
        days.push(next.find((row) => row.watchId === watchId && row.kind === kind)?.nextNoticeOn ?? null)
      }
    for (const item of held) withheld.push(JSON.stringify(item))
    const rows = letter === null ? [] : itemsOf(letter)
    add(counts, countsOf(rows, letter === null ? 0 : 1, held))
    if (letter === null) continue
    const { ownerId, language, comeBy, reminder } = letter
    const id = nextId()
    const trace = traceOf(letter, inForce)
    notices.push(JSON.stringify({ id, owner_id: ownerId, language, come_by: comeBy, reminder, plan: letter, trace }))
    for (const item of rows) items.push(JSON.stringify({ ...item, id: nextId(), notice_id: id }))
  }
  const json = (list: readonly string[]) => (list.length === 0 ? null : `[${list.join()}]`)
  return {
    notices: json(notices),
    items: json(items),
    withheld: json(withheld),
    watchIds,
    kinds,
    days,
    counts,
    looked: states.length,
  }
}

function add(sum: Booked, more: Booked): void {
  for (const key of ['letters', 'items', 'skipped', 'withheld'] as const) sum[key] += more[key]
  for (const [reason, n] of Object.entries(more.reasons)) sum.reasons[reason] = (sum.reasons[reason] ?? 0) + n
}

/**
 * Books the decisions of a batch: letters, keys, what was held back, and the next day to look, each in one statement. A key
 * that somebody else has taken meanwhile makes the whole batch fail and be decided again.
 */
export async function book(tx: Sql, batch: ToBook, today: Day): Promise<void> {
  if (batch.notices !== null)
    await tx.$executeRaw`
      insert into notice (id, owner_id, run_on, language, text_version, come_by, reminder, plan, trace)
      select id, owner_id, ${today}::date, language, ${TEXT_VERSION}, come_by, reminder, plan, trace
      from jsonb_to_recordset(${batch.notices}::jsonb)
        as r (id uuid, owner_id uuid, language text, come_by date, reminder boolean, plan jsonb, trace jsonb)`
  if (batch.items !== null)
    await tx.$executeRaw`
      insert into notice_item (id, notice_id, owner_id, watch_id, kind, cycle, round, stage, rule, booked, bundled, run_on, due_on, standing)
      select id, notice_id, owner_id, watch_id, kind, cycle, round, stage, rule, booked, bundled, ${today}::date, due_on, standing
      from jsonb_to_recordset(${batch.items}::jsonb) as r (id uuid, notice_id uuid, owner_id uuid, watch_id uuid, kind text, cycle text,
        round date, stage text, rule text, booked text, bundled boolean, due_on date, standing text)`
  if (batch.withheld !== null)
    await tx.$executeRaw`
      insert into withheld_item (run_on, owner_id, watch_id, kind, cycle, stage, reasons)
      select ${today}::date, "recordId", "watchId", kind, cycle, stage, reasons
      from jsonb_to_recordset(${batch.withheld}::jsonb) as r ("recordId" uuid, "watchId" uuid, kind text, cycle text, stage text, reasons text[])
      on conflict on constraint withheld_item_once do nothing`
  // whatever was looked at and has no day of its own waits for a fact
  // (arrays and not JSON: of an array the planner knows the length)
  await tx.$executeRaw`
    update obligation o set next_notice_on = r.day
    from unnest(${batch.watchIds}::uuid[], ${batch.kinds}::text[], ${batch.days}::date[]) as r (watch_id, kind, day)
    where o.watch_id = r.watch_id and o.kind = r.kind and o.next_notice_on is distinct from r.day`
  if (batch.counts.reasons['not-asked-rule-missing']) await askForSetting(tx, 'notAsked', today)
}

export function countsOf(items: readonly ItemRow[], letters: number, withheld: readonly WithheldItem[]): Booked {
  const reasons: Record<string, number> = {}
  for (const item of withheld) for (const reason of item.reasons) reasons[reason] = (reasons[reason] ?? 0) + 1
  return {
    letters,
    items: items.filter((item) => item.booked === 'letter').length,
    skipped: items.filter((item) => item.booked === 'skipped').length,
    withheld: withheld.length,
    reasons,
  }
}
