import { v7 as uuidv7 } from 'uuid'
import { dateOf } from '../../db/open.ts'
import { type Day, numberOfDay, type PartialDay, spanOf } from '../../domain/day.ts'
import type { HistoryEvent, NoteFact, Source, WearFacts } from '../../domain/reckoning/facts.ts'
import { Refusal } from '../../domain/refusals.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { obligationsSummary } from '../obligations/obligations.ts'
import { lockWatches, rewriteObligations } from '../obligations/rewrite.ts'

/**
 * Facts are recorded here and nowhere else: the fact and what the reckoning makes of it are one transaction. Other
 * features (tickets, stock, owners' pages) call these with their own transaction.
 */
export type NewEvent = HistoryEvent & { watchId: string; note?: string | undefined; ticketId?: string | undefined }
export type NewWear = Omit<WearFacts, 'learned'> & {
  watchId: string
  source: Source
  magnets?: string | undefined
  learned?: Day | undefined
}
export type NewNote = NoteFact & { watchId: string; reason: string }
export type NewFacts = { events?: readonly NewEvent[]; wear?: readonly NewWear[]; notes?: readonly NewNote[] }

/** At the counter nothing has happened in the future; imports may hold such a row, which the reckoning then sets aside. */
export function refuseFuture(
  what: string,
  day: PartialDay | Day | null | undefined,
  today: Day,
  pointer: string,
): void {
  if (day && spanOf(day).first > numberOfDay(today))
    throw new Refusal('fact-in-future', { what, today }, [{ pointer, detail: `lies after today, ${today}` }])
}

/** Writes facts of any number of watches and rewrites their obligations. Unknown watches: 404, nothing written. */
export async function recordFacts(
  act: Act,
  facts: NewFacts,
  options: { correcting?: boolean } = {},
): Promise<{ eventIds: string[] }> {
  const { tx, today, who } = act
  const { events = [], wear = [], notes = [] } = facts
  const watchIds = [...new Set([...events, ...wear, ...notes].map((fact) => fact.watchId))]
  const locked = await lockWatches(tx, watchIds)
  const unknown = watchIds.find((id) => !locked.has(id))
  if (unknown) throw new Refusal('not-found', { what: 'watch', id: unknown })

  // ids in the order given: the order of recording settles what fell on one day
  const eventRows = events.map((event) => {
    const fitted = event.event === 'cell-fitted' ? event : null
    return {
      id: uuidv7(),
      watch_id: event.watchId,
      event: event.event,
      happened: event.on,
      source: event.source,
      learned: event.learned ?? today,
      condition: event.event === 'movement-fitted' ? (event.condition ?? 'unknown') : null,
      passed: event.event === 'water-test' ? event.passed : null,
      bar: event.event === 'water-test' ? (event.bar ?? null) : null,
      sign: event.event === 'sign' ? event.sign : null,
      best_before: fitted?.bestBefore ?? null,
      capacity_mah: fitted?.capacityMah ?? null,
      consumption_microamps: fitted?.consumptionMicroamps ?? null,
      note: event.note ?? null,
      ticket_id: event.ticketId ?? null,
    }
  })
  if (eventRows.length > 0)
    await tx.$executeRaw`
      insert into watch_event (id, watch_id, event, happened, source, learned, condition, passed, bar, sign, best_before, capacity_mah,
        consumption_microamps, note, ticket_id, recorded_by)
      select id, watch_id, event, happened, source, learned, condition, passed, bar, sign, best_before, capacity_mah, consumption_microamps,
        note, ticket_id, ${who.name}
      from jsonb_to_recordset(${JSON.stringify(eventRows)}::jsonb) as r (id uuid, watch_id uuid, event text, happened text, source text,
        learned date, condition text, passed boolean, bar numeric, sign text, best_before text, capacity_mah numeric,
        consumption_microamps numeric, note text, ticket_id uuid)`
  if (wear.length > 0)
    await tx.$executeRaw`
      insert into wear_statement (id, watch_id, owner_id, daily, vibration, heat, cold, water, salt, chlorine, hot_water, magnets, learned, source, recorded_by)
      select r.id, r.watch_id, watch.owner_id, coalesce(daily, 'unknown'), coalesce(vibration, 'unknown'), coalesce(heat, 'unknown'), coalesce(cold, 'unknown'),
        coalesce(water, 'unknown'), coalesce(salt, 'unknown'), coalesce(chlorine, 'unknown'), coalesce("hotWater", 'unknown'), coalesce(magnets, 'unknown'),
        coalesce(learned, ${today}::date), source, ${who.name}
      from jsonb_to_recordset(${JSON.stringify(wear.map(({ watchId, ...statement }) => ({ id: uuidv7(), watch_id: watchId, ...statement })))}::jsonb)
        as r (id uuid, watch_id uuid, daily text, vibration text, heat text, cold text, water text, salt text, chlorine text, "hotWater" text, magnets text,
          learned date, source text)
      join watch on watch.id = r.watch_id`
  if (notes.length > 0)
    await tx.watchmakerNote.createMany({
      data: notes.map((note) => ({
        id: uuidv7(),
        watchId: note.watchId,
        obligation: note.obligation,
        months: note.months,
        notedOn: dateOf(note.on),
        reason: note.reason,
        recordedBy: who.name,
      })),
    })
  await rewriteObligations(tx, watchIds, today, options)
  return { eventIds: eventRows.map((row) => row.id) }
}

/** Something that happened to one watch, recorded at the counter or the bench. */
export async function recordEvent(
  act: Act,
  watchId: string,
  event: HistoryEvent & { note?: string | undefined },
): Promise<Created> {
  refuseFuture('What happened', event.on, act.today, '/on')
  refuseFuture('The day it was learned', event.learned, act.today, '/learned')
  const { eventIds } = await recordFacts(act, { events: [{ ...event, watchId }] })
  return {
    location: `/v1/watches/${watchId}/events`,
    body: { id: eventIds[0], ...(await obligationsSummary(act.tx, watchId, act.today)) },
  }
}

export async function recordWear(act: Act, watchId: string, statement: Omit<NewWear, 'watchId'>): Promise<Created> {
  refuseFuture('The day it was learned', statement.learned, act.today, '/learned')
  await recordFacts(act, { wear: [{ ...statement, watchId }] })
  return { location: `/v1/watches/${watchId}/wear`, body: await obligationsSummary(act.tx, watchId, act.today) }
}

export async function recordNote(act: Act, watchId: string, note: Omit<NewNote, 'watchId'>): Promise<Created> {
  refuseFuture('A note', note.on, act.today, '/on')
  await recordFacts(act, { notes: [{ ...note, watchId }] })
  return { location: `/v1/watches/${watchId}/notes`, body: await obligationsSummary(act.tx, watchId, act.today) }
}

/** The present owner as the ownership rows say it, kept on the watch for the nightly run. */
export async function settleOwner({ tx }: Pick<Act, 'tx'>, watchId: string): Promise<void> {
  await tx.$executeRaw`
    update watch set owner_id = present.owner_id, owner_known_on = coalesce(present.learned, watch.first_seen)
    from (select 1) as one
    left join lateral (
      select owner_id, learned from ownership
      where watch_id = ${watchId}::uuid and not exists (select from strike where fact_id = ownership.id)
      order by from_day desc, id desc limit 1
    ) present on true
    where watch.id = ${watchId}::uuid`
}
