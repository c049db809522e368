import { dateOf } from '../../db/open.ts'
import type { PartialDay } from '../../domain/day.ts'
import type { HistoryEvent } from '../../domain/reckoning/facts.ts'
import { dayAt } from '../../http/service.ts'
import { recordFacts } from '../facts/facts.ts'
import { rewriteObligations } from '../obligations/rewrite.ts'
import type { Desk } from './desk.ts'
import type { Loaded } from './snapshot.ts'
import { nowSaid } from './standing.ts'

type Without<T, K extends PropertyKey> = T extends unknown ? Omit<T, K> : never

/** What the work on a ticket means for the reckoning, without the day and the source: those are ours. */
export type WorkFact = Without<HistoryEvent, 'on' | 'source' | 'learned'>

/** Writes facts of this ticket's watch when they are recorded, in the order they happened; the dates change at once. */
export async function writeFacts(desk: Desk, ticket: Loaded, at: Date, facts: readonly WorkFact[]): Promise<string[]> {
  if (facts.length === 0) return []
  const on = dayAt(at, desk.zone) as unknown as PartialDay
  const { eventIds } = await recordFacts(desk, {
    events: facts.map((fact) => ({
      ...(fact as HistoryEvent),
      on,
      source: 'own-record' as const,
      watchId: String(ticket.rows.watch.id),
      ticketId: ticket.snapshot.ticket.id,
    })),
  })
  return eventIds
}

/** Facts that no longer count: they stay on file, struck, and the dates are reckoned again. */
export async function strikeFacts(desk: Desk, ticket: Loaded, facts: readonly string[], reason: string): Promise<void> {
  if (facts.length === 0) return
  const watchId = String(ticket.rows.watch.id)
  await desk.tx.strike.createMany({
    data: facts.map((factId) => ({
      factId,
      factTable: 'watch_event',
      watchId,
      reason,
      learned: dateOf(desk.today),
      recordedBy: desk.who.name,
    })),
    skipDuplicates: true,
  })
  await rewriteObligations(desk.tx, [watchId], desk.today)
}

/**
 * A test passed before the case was opened again, on the same ticket, is not given to the reckoning: on one day it would
 * count as settling the very opening that came after it.
 */
export async function withdrawTests(desk: Desk, ticket: Loaded): Promise<void> {
  const passed = ticket.records.filter((record) => record.kind === 'water-test' && record.data.passed === true)
  const facts = passed
    .flatMap((record) => (record.data.facts as string[] | undefined) ?? [])
    .map((id) => nowSaid(ticket.rows, id))
  await strikeFacts(desk, ticket, facts, 'the case was opened again after this test')
}
