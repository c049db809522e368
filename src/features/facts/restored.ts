import type { PartialDay } from '../../domain/day.ts'
import type { HistoryEvent } from '../../domain/reckoning/facts.ts'
import { isAfter } from '../../domain/tickets/snapshot.ts'
import type { Act } from '../../http/service.ts'
import { readRows } from '../tickets/reading.ts'
import { type Loaded, load } from '../tickets/snapshot.ts'
import { nowSaid } from '../tickets/standing.ts'
import { recordFacts } from './facts.ts'

/** A fact that counts again, and the record that told it first, where a record did. */
export type Restored = { readonly record: string | null; readonly fact: string }

type Row = { readonly id: string; readonly kind: string; readonly data: Record<string, unknown> }

/**
 * What a record took from the reckoning comes back when that record is struck: the tests that an opening withdrew, the
 * signs that an operation cured. Facts are append-only, so each is told anew, of its own day; the strike keeps their ids.
 * Called before the record is struck.
 */
export async function bringBack(act: Act, watchId: string, ticketId: string, record: Row): Promise<Restored[]> {
  const cures = record.kind === 'operation' ? ((record.data.cures as string[] | undefined) ?? []) : []
  const opens = record.kind === 'opening' || (record.kind === 'fitting' && record.data.opening !== undefined)
  if (!opens && cures.length === 0) return []
  const rows = await readRows(act.tx, ticketId, act.today)
  if (!rows) return []
  // the currency matters to nothing that is asked here
  const ticket = load(rows, act.now.getTime(), act.today, '')
  const withdrawn = opens ? await testsWithdrawn(act, ticket, record.id) : await signsCured(act, watchId, record, cures)
  const back: Restored[] = []
  for (const id of withdrawn) {
    const fact = await act.tx.watchEvent.findUniqueOrThrow({ where: { id } })
    const event = {
      event: fact.event,
      on: fact.happened as PartialDay,
      source: fact.source,
      ...(fact.event === 'water-test' && { passed: fact.passed, bar: fact.bar?.toNumber() ?? null }),
      ...(fact.event === 'sign' && { sign: fact.sign }),
    } as HistoryEvent
    const { eventIds } = await recordFacts(act, {
      events: [{ ...event, watchId, ...(fact.ticketId !== null && { ticketId: fact.ticketId }) }],
    })
    const told = ticket.records.find(({ data }) =>
      (data.facts as string[] | undefined)?.some((one) => nowSaid(rows, one) === id),
    )
    back.push({ record: told?.id ?? null, fact: eventIds[0]! })
  }
  return back
}

/** Facts of tests that stand as passed and count no more, though no other opening came after them. */
async function testsWithdrawn({ tx }: Act, { rows, records, snapshot }: Loaded, opening: string): Promise<string[]> {
  const left = snapshot.openings.filter((one) => one.id !== opening)
  const tests = records.filter(
    (one) => one.kind === 'water-test' && one.data.passed === true && !left.some((later) => isAfter(later, one)),
  )
  const facts = tests
    .flatMap(({ data }) => (data.facts as string[] | undefined)?.slice(-1) ?? [])
    .map((id) => nowSaid(rows, id))
  const strikes = await tx.strike.findMany({ where: { factId: { in: facts }, replacedBy: null } })
  return strikes.map((strike) => strike.factId).sort()
}

/** Facts of the signs that this operation struck as cured, where no other operation says the same of them. */
async function signsCured({ tx }: Act, watchId: string, record: Row, cures: readonly string[]): Promise<string[]> {
  const rows = await tx.$queryRaw<{ id: string }[]>`
    select e.id from watch_event e join strike s on s.fact_id = e.id and s.replaced_by is null
      join ticket_record r on r.id = ${record.id}::uuid
    where e.watch_id = ${watchId}::uuid and e.event = 'sign' and e.sign = any(${[...cures]}::text[])
      and s.reason = 'cured: ' || (r.data ->> 'what') and s.learned >= r.on_day
      and not exists (select from ticket_record o where o.ticket_id = r.ticket_id and o.kind = 'operation' and o.id <> r.id and o.strikes is null
        and o.data ->> 'carriedFrom' is distinct from r.id::text
        and o.data -> 'cures' ? e.sign and not exists (select from ticket_record gone where gone.strikes = o.id))
    order by e.id`
  return rows.map((row) => row.id)
}
