import { Refusal } from '../../domain/refusals.ts'
import type { Created } from '../../http/creating.ts'
import { bookIn } from '../tickets/booking.ts'
import type { Desk } from '../tickets/desk.ts'
import { openOne } from './recalls.ts'
import { readRecall, showRecall } from './showing.ts'
import { closeRecallTasks } from './tasks.ts'

export type FreeChange = { place: string; broughtBy?: string | undefined }

/**
 * The ticket on which a recalled piece is changed: booked for the present owner with a ceiling of nothing, so that only
 * lines without a price are agreed by it. A watch that is in the house has a ticket; that one is noted instead.
 */
export async function openFreeChange(
  desk: Desk,
  recallId: string,
  watchId: string,
  input: FreeChange,
  country: string,
): Promise<Created> {
  const { tx, today, now, who, currency } = desk
  await openOne(desk, recallId)
  const recall = await readRecall(tx, recallId)
  const row = (await showRecall(tx, recallId, today)).fitted.watches.find((one) => one.watchId === watchId)
  const listed = row ?? (await tx.recallWatch.findFirst({ where: { recallId, watchId } }))
  if (!listed) throw new Refusal('not-found', { what: 'watch of this recall', id: watchId })
  if (row?.state === 'settled') throw new Refusal('recall-watch-settled')
  const inside = await tx.ticket.findFirst({ where: { watchId, ended: null }, select: { id: true } })
  const ticketId = inside?.id ?? (await book())
  await tx.recallWatch.updateMany({
    where: { recallId, watchId },
    data: { ticketId, state: 'told', changedAt: now, changedBy: who.name },
  })
  await closeRecallTasks(desk, recallId, watchId, 'the free change has its ticket')
  return { location: `/v1/tickets/${ticketId}`, body: { ticketId, recall: await showRecall(tx, recallId, today) } }

  async function book(): Promise<string> {
    const [held] = await tx.$queryRaw<{ ownerId: string | null }[]>`
      select coalesce(o.merged_into, o.id) as "ownerId" from watch w left join owner o on o.id = w.owner_id where w.id = ${watchId}::uuid`
    if (!held?.ownerId) throw new Refusal('recall-owner-unknown')
    const lot = recall.lotNumber === null ? '' : `, lot ${recall.lotNumber}`
    const booked = await bookIn(
      desk,
      {
        owner: { id: held.ownerId },
        watch: { id: watchId },
        complaint: `Recall by the supplier: ${recall.what} ${recall.name}${lot}. Change it free of charge. ${recall.reason}`,
        place: input.place,
        broughtBy: input.broughtBy,
        ceiling: { amount: 0, currency },
      },
      country,
    )
    return (booked.body as { id: string }).id
  }
}
