import { v7 as uuidv7 } from 'uuid'
import type { Db } from '../../db/open.ts'
import { addDays, type Day } from '../../domain/day.ts'
import { readTicketRules } from '../../domain/tickets/rules.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { TEXT_VERSION } from '../../letters/texts/sentences.ts'
import { storedOn } from '../house-rules/house-rules.ts'
import { addLetterTask } from '../notices/house-tasks.ts'
import { openOne } from './recalls.ts'
import { type ListedWatch, readRecall, showRecall } from './showing.ts'
import { recallTask } from './tasks.ts'

/**
 * Tells whoever is not told yet. One letter to each owner who can be reached by e-mail, with all of that owner's watches
 * in the recall, outside the thirty days and whatever the reminder choice. A watch in the house is a task of the bench;
 * an owner without a mail address a task of the counter; where nobody can be told now, the watch waits for the next
 * sight. The row of the watch keeps its notice, so that asking again writes to nobody twice.
 */
export async function tellOwners(act: Act, id: string): Promise<Created> {
  const { tx, today, who, now } = act
  await openOne(act, id)
  const { what, name } = await readRecall(tx, id)
  const shown = await showRecall(tx, id, today)
  const open = [...shown.fitted.watches, ...shown.possible].filter((row) => row.state === 'to-tell')
  const byOwner = new Map<string, ListedWatch[]>()
  for (const row of open) {
    if (row.reach === 'reachable' && row.byMail && row.ownerId)
      byOwner.set(row.ownerId, [...(byOwner.get(row.ownerId) ?? []), row])
    else await passOn(act, id, `${what} ${name}`, row)
  }
  const comeBy = addDays(today, readTicketRules(await storedOn(tx, today)).recallComeByDays)
  const languages = new Map(
    (await tx.owner.findMany({ where: { id: { in: [...byOwner.keys()] } }, select: { id: true, language: true } })).map(
      (owner) => [owner.id, owner.language],
    ),
  )
  const notices = [...byOwner].map(([ownerId, rows]) => {
    const language = languages.get(ownerId) ?? 'en'
    const watches = rows.map(({ watchId, certainty }) => ({ watchId, certainty }))
    return {
      id: uuidv7(),
      owner_id: ownerId,
      language,
      watches: rows.map((row) => row.watchId),
      plan: { ownerId, language, runOn: today, comeBy, parts: [], reminder: false, recall: { what, watches } },
    }
  })
  await tx.$executeRaw`
    insert into notice (id, owner_id, run_on, language, text_version, come_by, reminder, plan, trace)
    select id, owner_id, ${today}::date, language, ${TEXT_VERSION}, ${comeBy}::date, false, plan, ${JSON.stringify({ recall: id, by: who.name })}::jsonb
    from jsonb_to_recordset(${JSON.stringify(notices)}::jsonb) as r (id uuid, owner_id uuid, language text, plan jsonb)`
  for (const notice of notices) {
    await tx.recallWatch.updateMany({
      where: { recallId: id, watchId: { in: notice.watches } },
      data: { noticeId: notice.id, state: 'letter-queued', changedAt: now, changedBy: who.name },
    })
  }
  return { body: { queued: notices.length, recall: await showRecall(tx, id, today) } }
}

/** Who cannot be written to: the bench changes what is in the house, the counter calls, the rest waits for the next sight. */
async function passOn({ tx, today, now, who }: Act, recallId: string, item: string, row: ListedWatch): Promise<void> {
  const nextSight = row.reach !== 'in-house' && row.reach !== 'reachable'
  if (nextSight)
    await tx.recallWatch.updateMany({
      where: { recallId, watchId: row.watchId },
      data: { state: 'tell-at-next-sight', changedAt: now, changedBy: who.name },
    })
  const sure = row.certainty === 'fitted' ? 'holds' : 'may hold'
  const words: Partial<Record<ListedWatch['reach'], string>> = {
    'in-house': `This watch ${sure} a piece that its supplier called back (${item}): change it free of charge before the watch leaves.`,
    reachable: `The owner has no mail address. Call: the watch ${sure} a piece that its supplier called back (${item}), and it is changed free of charge.`,
    'no-contact': `No way to reach the owner works. Find another, or tell at the next sight: the watch ${sure} a piece that its supplier called back (${item}), changed free of charge.`,
  }
  if (words[row.reach] === undefined) return
  await addLetterTask(tx, today, {
    kind: row.reach === 'in-house' ? 'recall-change' : 'recall-tell',
    role: row.reach === 'in-house' ? 'bench' : 'counter',
    dedupe: recallTask(recallId, row.watchId),
    words: words[row.reach] as string,
    ownerId: row.ownerId,
    watchId: row.watchId,
  })
}

/** One task of the stock for each open recall of which somebody waits for a letter again: it was withdrawn, or failed. */
export async function remindOfRecalls(tx: Db, today: Day): Promise<void> {
  const rows = await tx.$queryRaw<{ id: string; name: string; watches: number }[]>`
    select r.id, i.name, count(*)::int as watches
    from recall r join stock_item i on i.id = r.item_id join recall_watch x on x.recall_id = r.id
    join notice n on n.id = x.notice_id
    where r.closed_on is null and x.state = 'letter-queued' and n.state in ('withdrawn', 'failed') group by r.id, i.name order by r.id`
  for (const { id, name, watches } of rows)
    await addLetterTask(tx, today, {
      kind: 'recall-letters',
      role: 'stock',
      dedupe: `recall-letters/${id}`,
      words: `Recall of ${name}: letters about ${watches} of its watches did not go. Ask for the letters of the recall again.`,
    })
}
