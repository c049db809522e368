import type { Db } from '../../db/open.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'

type ForSomething = { watchId?: string | undefined; ticketId?: string | undefined }

/** The watch that pieces are for: the ticket's where only a ticket is named, and the same where both are. */
export async function watchFor(db: Db, { watchId, ticketId }: ForSomething): Promise<string | undefined> {
  if (ticketId === undefined) return watchId
  const ticket = await db.ticket.findUnique({ where: { id: ticketId }, select: { watchId: true } })
  if (!ticket) throw new Refusal('not-found', { what: 'ticket', id: ticketId })
  if (watchId !== undefined && watchId !== ticket.watchId) {
    throw faulty(['/watchId', 'is not the watch of this ticket'])
  }
  return ticket.watchId
}
