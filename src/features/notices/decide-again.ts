import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { meansReasons, obligationReasons, personReasons, watchReasons } from '../../domain/notices/withhold.ts'
import { rulesInForce } from '../house-rules/house-rules.ts'
import { recallLettersWithheld } from '../recalls/last-look.ts'
import { readOwners } from './decide-read.ts'
import { lookAgainAtFallen } from './look-again.ts'
import { readyLettersWithheld } from './ready-letters.ts'

type Item = { noticeId: string; owner: string; kept: string; watchId: string; kind: string; cycle: string }

/**
 * The last look before letters are handed over: person, right person, watch, refusal and appointment, means. Returns the
 * letters of which any item may not go after all, each with every reason; they are withdrawn whole, their watches are
 * looked at in the next night. Doubt and rhythm were settled when the letter was decided. A recall letter has no items
 * and no choice: it is looked at by the recall it belongs to, one that a watch is ready by its ticket.
 */
export async function stillAllowed(tx: Db, noticeIds: readonly string[], today: Day): Promise<Map<string, string[]>> {
  const items = await tx.$queryRaw<Item[]>`
    select i.notice_id as "noticeId", n.owner_id as owner, coalesce(o.merged_into, o.id) as kept, i.watch_id as "watchId", i.kind, i.cycle
    from notice n join owner o on o.id = n.owner_id join notice_item i on i.notice_id = n.id and i.booked in ('letter', 'rider')
    where n.id = any(${[...noticeIds]}::uuid[])`
  const { rules, notices } = await rulesInForce(tx, today)
  const owners = await readOwners(tx, [...new Set(items.map((item) => item.kept))], [], today, rules)
  const found = new Map<string, Set<string>>()
  for (const item of items) {
    const owner = owners.find((one) => one.ownerId === item.kept)
    const reasons = reasonsFor(item, owner)
    if (reasons.length === 0) continue
    const all = found.get(item.noticeId) ?? new Set<string>()
    for (const reason of reasons) all.add(reason)
    found.set(item.noticeId, all)
  }
  await lookAgainAtFallen(tx, today, [...found.keys()])
  for (const [id, reasons] of await recallLettersWithheld(tx, noticeIds)) found.set(id, new Set(reasons))
  for (const [id, reasons] of await readyLettersWithheld(tx, noticeIds, today)) found.set(id, new Set(reasons))
  return new Map([...found].map(([id, reasons]) => [id, [...reasons]]))

  function reasonsFor(item: Item, owner: (typeof owners)[number] | undefined): string[] {
    if (!owner) return ['owner-unknown']
    if (item.owner !== item.kept) return ['record-merged']
    const kind = item.kind as Parameters<typeof personReasons>[1]
    const person = [...personReasons(owner, kind, notices), ...meansReasons(owner)]
    const watch = owner.watches.find((one) => one.watchId === item.watchId)
    if (!watch) return [...person, 'watch-of-another-owner']
    const reasons = [...person, ...watchReasons(watch, kind)]
    if (kind === 'guarantee') return reasons
    const obligation = watch.obligations.find((one) => one.kind === kind && one.cycle === item.cycle)
    return obligation ? [...reasons, ...obligationReasons(obligation, notices, today)] : [...reasons, 'no-longer-due']
  }
}
