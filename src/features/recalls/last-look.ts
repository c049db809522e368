import type { Db } from '../../db/open.ts'
import { fittedBy } from './fitted.ts'

/**
 * Recall letters are looked at once more before they are handed over, by what withholds a warning and nothing else: not
 * the rhythm, not the choice, not a dispute. Returns the letters that may not go, with every reason: the owner is another
 * or cannot be told, no address works, or no watch of the letter asks for it any more (it is in the house, or settled).
 */
export async function recallLettersWithheld(tx: Db, noticeIds: readonly string[]): Promise<Map<string, string[]>> {
  const rows = await tx.$queryRaw<
    { noticeId: string; recallId: string; watchId: string; fitted: boolean; reasons: string[]; idle: boolean }[]
  >`
    select n.id as "noticeId", r.recall_id as "recallId", r.watch_id as "watchId", r.certainty = 'fitted' as fitted, r.state = 'settled' or w.in_house or c.closed_on is not null as idle, array_remove(array[
      case when w.owner_id is null or coalesce(holds.merged_into, holds.id) <> n.owner_id then 'watch-of-another-owner' end,
      case when o.merged_into is not null then 'record-merged' end,
      case when o.erased_on is not null then 'owner-erased' end,
      case when o.deceased_on is not null then 'owner-deceased' end,
      case when not exists (select from contact k where k.owner_id = o.id and k.means = 'e-mail' and k.ended_on is null and k.failed_on is null)
        then 'no-address' end], null) as reasons
    from recall_watch r join recall c on c.id = r.recall_id join notice n on n.id = r.notice_id join owner o on o.id = n.owner_id
    join watch w on w.id = r.watch_id left join owner holds on holds.id = w.owner_id
    where r.notice_id = any(${[...noticeIds]}::uuid[])`
  if (rows.length === 0) return new Map()
  const lots = await tx.recallLot.findMany({ where: { recallId: { in: rows.map((row) => row.recallId) } } })
  const recallOf = new Map(lots.map((lot) => [lot.lotId, lot.recallId]))
  const stillIn = new Set(
    (await fittedBy(tx, [...recallOf.keys()])).flatMap((row) =>
      row.stillIn ? [`${recallOf.get(row.lotId)}/${row.watchId}`] : [],
    ),
  )
  const asks = (row: (typeof rows)[number]) =>
    !row.idle && (!row.fitted || stillIn.has(`${row.recallId}/${row.watchId}`))
  const found = new Map<string, Set<string>>()
  const asked = new Set(rows.filter(asks).map((row) => row.noticeId))
  for (const { noticeId, reasons } of rows) {
    const all = found.get(noticeId) ?? new Set<string>()
    for (const reason of asked.has(noticeId) ? reasons : [...reasons, 'recall-settled']) all.add(reason)
    if (all.size > 0) found.set(noticeId, all)
  }
  return new Map([...found].map(([noticeId, reasons]) => [noticeId, [...reasons]]))
}
