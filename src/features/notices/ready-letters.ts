import { v7 as uuidv7 } from 'uuid'
import type { Db } from '../../db/open.ts'
import { addDays, type Day } from '../../domain/day.ts'
import type { LetterPlan } from '../../domain/notices/types.ts'
import type { Act } from '../../http/service.ts'
import { TEXT_VERSION } from '../../letters/texts/sentences.ts'
import { addLetterTask } from './house-tasks.ts'

/** The one thing to do about a ready watch whose owner could not be written to. */
const readyTask = (ticketId: string) => `ready/${ticketId}`

/**
 * Puts the letter that a watch is ready into the queue, in the transaction of the move. It stands outside the thirty days
 * and whatever the reminder choice. Answers the notice; null where the owner cannot be written to, and then the counter
 * has a task to call. The day within which somebody is hoped for stands in no letter. Nothing is written where the owner has died: the watch is held for the heirs.
 */
export async function queueReadyLetter(
  { tx, today, who }: Act,
  ready: NonNullable<LetterPlan['ready']>,
  comeByDays: number,
): Promise<string | null> {
  const [owner] = await tx.$queryRaw<
    { id: string; language: string; dead: boolean; standing: string; byMail: boolean }[]
  >`
    select o.id, o.language, o.deceased_on is not null or o.erased_on is not null as dead, o.standing,
      exists (select from contact c where c.owner_id = o.id and c.means = 'e-mail' and c.ended_on is null and c.failed_on is null) as "byMail"
    from ticket t join owner held on held.id = t.owner_id join owner o on o.id = coalesce(held.merged_into, held.id) where t.id = ${ready.ticketId}::uuid`
  if (!owner || owner.dead) return null
  if (!owner.byMail || owner.standing === 'in-dispute') {
    await askToTell(tx, today, {
      ticketId: ready.ticketId,
      number: ready.number,
      watchId: ready.watchId,
      ownerId: owner.id,
      why: owner.byMail ? 'the owner is in dispute with the house' : 'the owner has no mail address that works',
    })
    return null
  }
  const id = uuidv7()
  const comeBy = addDays(today, comeByDays)
  const plan: LetterPlan = {
    ownerId: owner.id,
    language: owner.language,
    runOn: today,
    comeBy,
    parts: [],
    reminder: false,
    ready,
  }
  await tx.$executeRaw`
    insert into notice (id, owner_id, run_on, language, text_version, come_by, reminder, plan, trace)
    values (${id}::uuid, ${owner.id}::uuid, ${today}::date, ${owner.language}, ${TEXT_VERSION}, ${comeBy}::date, false, ${JSON.stringify(plan)}::jsonb,
      ${JSON.stringify({ ticket: ready.ticketId, by: who.name })}::jsonb)`
  return id
}

type Untold = { ticketId: string; number: string; watchId: string; ownerId: string; why: string }

const askToTell = (tx: Db, today: Day, { ticketId, number, watchId, ownerId, why }: Untold) =>
  addLetterTask(tx, today, {
    kind: 'ready-tell',
    role: 'counter',
    dedupe: readyTask(ticketId),
    words: `The watch of ticket ${number} is ready and no letter says so: ${why}. Call or write by hand, and record it.`,
    ownerId,
    watchId,
  })

/** The owner was told, or the watch is no longer ready: nothing is left to do. */
export async function closeReadyTask({ tx, now, who }: Act, ticketId: string, how: string): Promise<void> {
  await tx.task.updateMany({
    where: { dedupe: readyTask(ticketId), doneAt: null },
    data: { doneAt: now, doneBy: who.name, doneHow: how },
  })
}

/**
 * The last look at letters that say a watch is ready. One that is no longer true goes nowhere: the watch was handed over,
 * went back to the bench, or stands aside. Where the person is what changed, the counter is asked to tell the owner.
 */
export async function readyLettersWithheld(
  tx: Db,
  noticeIds: readonly string[],
  today: Day,
): Promise<Map<string, string[]>> {
  const rows = await tx.$queryRaw<(Omit<Untold, 'why'> & { noticeId: string; stale: boolean; reasons: string[] })[]>`
    select n.id as "noticeId", t.id as "ticketId", t.number, t.watch_id as "watchId", coalesce(held.merged_into, held.id) as "ownerId",
      t.ended is not null or t.step <> 'ready' or t.side in ('dispute', 'missing', 'evidence')
        or not exists (select from ticket_record r where r.ticket_id = t.id and r.seq > t.stepped_seq and r.kind = 'contact' and r.data ->> 'notice' = n.id::text) as stale,
      array_remove(array[
        case when coalesce(held.merged_into, held.id) <> n.owner_id then 'record-merged' end,
        case when o.erased_on is not null then 'owner-erased' end,
        case when o.deceased_on is not null then 'owner-deceased' end,
        case when o.standing = 'in-dispute' then 'in-dispute' end,
        case when not exists (select from contact k where k.owner_id = o.id and k.means = 'e-mail' and k.ended_on is null and k.failed_on is null)
          then 'no-address' end], null) as reasons
    from notice n join ticket t on t.id = (n.plan -> 'ready' ->> 'ticketId')::uuid join owner held on held.id = t.owner_id join owner o on o.id = n.owner_id
    where n.id = any(${[...noticeIds]}::uuid[]) and n.plan -> 'ready' is not null`
  const found = new Map<string, string[]>()
  for (const { noticeId, stale, reasons, ...ticket } of rows) {
    if (stale) found.set(noticeId, ['no-longer-ready'])
    else if (reasons.length > 0) {
      found.set(noticeId, reasons)
      if (!reasons.includes('owner-deceased') && !reasons.includes('owner-erased'))
        await askToTell(tx, today, { ...ticket, why: `the letter was held back (${reasons.join(', ')})` })
    }
  }
  return found
}
