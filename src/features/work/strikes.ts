import { faulty, Refusal } from '../../domain/refusals.ts'
import type { WorkClassName } from '../../domain/tickets/classes.ts'
import type { Created } from '../../http/creating.ts'
import { bringBack } from '../facts/restored.ts'
import { strikeOfRecord } from '../facts/strikes.ts'
import { addRecords, type Desk, openTicket, reopen } from '../tickets/desk.ts'
import { closePromiseTask } from '../tickets/promise-task.ts'
import { refuseLesserClass } from '../tickets/records-bench.ts'
import { settleParts, settleTicket } from '../tickets/settled.ts'
import { isStrikable, refuseStriking } from '../tickets/striking.ts'
import { answered } from './work.ts'

/** A mistake is struck by a later record that points to it; what it told the reckoning is struck with it. */
export async function strikeRecord(
  desk: Desk,
  ref: string,
  input: { record: string; reason: string },
): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  const { id } = ticket.snapshot.ticket
  const record = ticket.records.find((one) => one.id === input.record)
  if (!record) throw new Refusal('not-found', { what: 'record of this ticket', id: input.record })
  if (!isStrikable(record.kind))
    throw faulty(['/record', `a record of the kind ${record.kind} is not struck; record what is right after it`])
  refuseStriking(desk, ticket.snapshot.ticket, record)
  // the class before it counts again
  const named = ticket.records.filter((one) => one.kind === 'look' && one.data.workClass !== undefined)
  const before = named.at(-1) === record ? named.at(-2)?.data.workClass : undefined
  if (before !== undefined) await refuseLesserClass(desk, ticket, before as WorkClassName)
  // a line that a later version repeats was done by the same work
  const repeats = ticket.records.filter((one) => one.data.carriedFrom === record.id)
  const restored = await bringBack(desk, String(ticket.rows.watch.id), id, record)
  const [struck] = await addRecords(
    desk,
    id,
    [record, ...repeats].map((one) => ({
      kind: 'struck',
      strikes: one.id,
      data: { reason: input.reason, kind: one.kind, ...(one === record && { restored }) },
    })),
  )
  const { facts = [], entries = [] } = record.data as { facts?: string[]; entries?: string[] }
  await strikeOfRecord(desk, String(ticket.rows.watch.id), { facts, entries }, input.reason)
  if (record.kind === 'promise' && record.data.on === ticket.rows.ticket.promised_on)
    await closePromiseTask(desk, ticket, 'the promise was struck as a mistake')
  if (['value', 'promise', 'look'].includes(record.kind)) await settleTicket(desk, id)
  if (record.kind === 'parts') await settleParts(desk, await reopen(desk, id))
  return answered(desk, ticket, struck!.id)
}
