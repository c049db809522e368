import { Refusal } from '../../domain/refusals.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { ticketId } from './desk.ts'
import { readRowsFast } from './reading.ts'
import { type Loaded, load } from './snapshot.ts'

/** A ticket by its id or number, read whole outside a transaction, as it stands today. */
export async function readTicket(service: Service, ref: string): Promise<Loaded> {
  const today = todayAt(service)
  const { prisma, pool } = service.database
  const rows = await readRowsFast(pool, await ticketId(prisma, ref), today)
  if (!rows) throw new Refusal('not-found', { what: 'ticket', id: ref })
  return load(rows, service.clock.now().getTime(), today, service.config.centre.currency)
}
