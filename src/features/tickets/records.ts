import { Refusal } from '../../domain/refusals.ts'
import { frozen } from '../../domain/tickets/steps.ts'
import type { Created } from '../../http/creating.ts'
import { addRecords, type Desk, openTicket } from './desk.ts'
import { benchSaid } from './records-bench.ts'
import { counterSaid } from './records-counter.ts'
import { type Release, recordRelease } from './release.ts'
import type { Said } from './said.ts'

export const said: readonly Said[] = [...counterSaid, ...benchSaid]

/** Writes one thing said about a ticket. */
export async function say(desk: Desk, entry: Said, ref: string, body: Record<string, unknown>): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  const { id: ticketId, ended, side } = ticket.snapshot.ticket
  if (ended !== null && entry.afterEnd !== true) throw new Refusal('ticket-ended', { ended })
  if (side !== null && frozen.has(side) && entry.whileFrozen !== true) throw new Refusal('ticket-frozen', { side })
  if (entry.kind === 'release') {
    const { id: recordId } = await recordRelease(desk, ticket, body as Release)
    return { location: `/v1/tickets/${ticketId}/records/${recordId}`, body: { id: recordId, kind: entry.kind } }
  }
  const made = entry.make ? await entry.make(desk, ticket, body as never) : { data: body }
  const [record] = await addRecords(desk, ticketId, [{ kind: entry.kind, ...made }])
  const warnings = entry.warn ? await entry.warn(desk, ticket, body as never) : []
  if (entry.after) await entry.after(desk, ticket, body as never)
  return {
    location: `/v1/tickets/${ticketId}/records/${record!.id}`,
    body: { id: record!.id, kind: entry.kind, ...(warnings.length > 0 && { warnings }) },
  }
}
