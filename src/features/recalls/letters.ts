import { v7 as uuidv7 } from 'uuid'
import { addDays } from '../../domain/day.ts'
import { Refusal } from '../../domain/refusals.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { showRecall } from './showing.ts'

type Reached = { watchId: string; certainty: 'fitted' | 'possible'; ownerId: string; language: string }

/** Days in which an owner is asked to come by. */
const COME_WITHIN = 14

/**
 * One letter to each owner who can be reached by e-mail, with all of that owner's watches in the recall. It goes
 * outside the thirty days and whatever the reminder choice; watches in the house are the bench's, and whoever cannot be
 * reached stays on the list to be told at the next sight. The row of the watch keeps its notice, so that asking again
 * writes only to those who came to the list since.
 */
export async function queueRecallLetters(act: Act, id: string): Promise<Created> {
  const { tx, today, who, now } = act
  const [recall] = await tx.$queryRaw<{ closed: boolean }[]>`
    select closed_on is not null as closed from recall where id = ${id}::uuid for no key update`
  if (!recall) throw new Refusal('not-found', { what: 'recall', id })
  if (recall.closed) throw new Refusal('recall-closed')
  const shown = await showRecall(tx, id, today)
  const open = [...shown.fitted.watches, ...shown.possible].filter((row) => row.state === 'to-tell')
  const reached = await tx.$queryRaw<Reached[]>`
    select r.watch_id as "watchId", r.certainty, o.id as "ownerId", o.language
    from recall_watch r join watch w on w.id = r.watch_id and not w.in_house
    join owner held on held.id = w.owner_id
    join owner o on o.id = coalesce(held.merged_into, held.id) and o.erased_on is null and o.deceased_on is null
    where r.recall_id = ${id}::uuid and r.notice_id is null and r.watch_id = any(${open.map((row) => row.watchId)}::uuid[])
      and exists (select from contact c where c.owner_id = o.id and c.means = 'e-mail' and c.ended_on is null and c.failed_on is null)
    order by o.id, r.certainty, r.watch_id`
  const byOwner = new Map<string, Reached[]>()
  for (const row of reached) byOwner.set(row.ownerId, [...(byOwner.get(row.ownerId) ?? []), row])
  const comeBy = addDays(today, COME_WITHIN)
  const notices = [...byOwner].map(([ownerId, rows]) => {
    const language = rows[0]?.language ?? 'en'
    const watches = rows.map(({ watchId, certainty }) => ({ watchId, certainty }))
    return {
      id: uuidv7(),
      owner_id: ownerId,
      language,
      watches: rows.map((row) => row.watchId),
      plan: { ownerId, language, runOn: today, comeBy, parts: [], reminder: false, recall: { watches } },
    }
  })
  await tx.$executeRaw`
    insert into notice (id, owner_id, run_on, language, text_version, come_by, reminder, plan, trace)
    select id, owner_id, ${today}::date, language, '1', ${comeBy}::date, false, plan, ${JSON.stringify({ recall: id, by: who.name })}::jsonb
    from jsonb_to_recordset(${JSON.stringify(notices)}::jsonb) as r (id uuid, owner_id uuid, language text, plan jsonb)`
  for (const notice of notices) {
    await tx.recallWatch.updateMany({
      where: { recallId: id, watchId: { in: notice.watches } },
      data: { noticeId: notice.id, state: 'letter-queued', changedAt: now, changedBy: who.name },
    })
  }
  return { body: { queued: notices.length, recall: await showRecall(tx, id, today) } }
}
