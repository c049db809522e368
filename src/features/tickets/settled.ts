import type { Day } from '../../domain/day.ts'
import { nextFor } from '../../domain/tickets/next.ts'
import type { Act } from '../../http/service.ts'
import { calendarOf, type Desk } from './desk.ts'
import type { Loaded } from './snapshot.ts'

/** What a ticket keeps of its records beside them: set again from the records that stand, after one of them was struck. */
export async function settleTicket({ tx }: Pick<Act, 'tx'>, ticketId: string): Promise<void> {
  await tx.$executeRaw`
    with stands as (
      select r.kind, r.data, r.seq from ticket_record r
      where r.ticket_id = ${ticketId}::uuid and r.kind in ('value', 'promise', 'look')
        and not exists (select from ticket_record s where s.strikes = r.id))
    update ticket set version = version + 1,
      (declared_value, declared_currency) = (
        select (data -> 'value' ->> 'amount')::bigint, data -> 'value' ->> 'currency' from stands where kind = 'value' order by seq desc limit 1),
      promised_on = (select (data ->> 'on')::date from stands where kind = 'promise' order by seq desc limit 1),
      work_class = (select data ->> 'workClass' from stands where kind = 'look' and data ? 'workClass' order by seq desc limit 1)
    where id = ${ticketId}::uuid`
}

/** The day by which a ticket that waits for parts is looked at again, from the list that stands; without one from the day it began to wait. */
export async function settleParts(desk: Desk, { snapshot, records, settings, rules }: Loaded): Promise<void> {
  const { id, step, side } = snapshot.ticket
  if (step !== 'awaiting-parts' || side !== null) return
  const expected = snapshot.parts.flatMap((part) => (part.onHand || part.expectedOn === null ? [] : [part.expectedOn]))
  const since = records.findLast((record) => record.kind === 'move')?.on ?? desk.today
  const { by } = nextFor(step, since as Day, calendarOf(settings), rules, {
    partsExpectedOn: expected.sort().at(-1) ?? null,
  })!
  await desk.tx.$executeRaw`update ticket set next_by = ${by}::date, version = version + 1 where id = ${id}::uuid`
}
