import { type Db, dateOf } from '../../db/open.ts'
import type { HistoryEvent } from '../../domain/reckoning/facts.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import type { Ending, SideState } from '../../domain/tickets/steps.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { obligationsSummary } from '../obligations/obligations.ts'
import { lockWatches, rewriteObligations } from '../obligations/rewrite.ts'
import { readEntry, writeStrike } from '../stock-entries/entries.ts'
import { lockLots } from '../stock-entries/lots.ts'
import { settleTicket } from '../tickets/settled.ts'
import { refuseStriking } from '../tickets/striking.ts'
import { recordFacts, refuseFuture, settleOwner } from './facts.ts'
import { eventOf, strikeMovement } from './movements.ts'
import { bringBack } from './restored.ts'

/**
 * Facts are struck here and nowhere else. What told a fact goes with it: the pieces of a fitting are out at the bench
 * again, and the record of a ticket no longer stands; and so the other way round.
 */
const strikableTables = ['watch_event', 'wear_statement', 'watchmaker_note', 'ownership', 'movement', 'hazard'] as const
type Strikable = (typeof strikableTables)[number]
type Replacement = HistoryEvent & { note?: string | undefined }

const openingEvents: ReadonlySet<string> = new Set([
  'case-opened',
  'seals-replaced',
  'cell-fitted',
  'cell-removed',
  'movement-fitted',
])

/** Tickets before watches, as wherever both are locked. */
async function lockWithTickets(tx: Db, watchId: string): Promise<void> {
  await tx.$queryRaw`select 1 from ticket where watch_id = ${watchId}::uuid order by id for no key update`
  await lockWatches(tx, [watchId])
}

/**
 * Strikes a fact of a watch: it stays on file and no longer counts. The fact that stands in its place is recorded in
 * the same transaction, where there is one.
 */
export async function strikeFact(
  act: Act,
  watchId: string,
  input: { factId: string; reason: string; replacement?: Replacement | undefined },
): Promise<Created> {
  const { tx, today } = act
  const { factId, reason, replacement } = input
  await lockWithTickets(tx, watchId)
  const found = await tx.$queryRaw<{ t: Strikable; event: string | null }[]>`
    select 'watch_event' as t, event from watch_event where id = ${factId}::uuid and watch_id = ${watchId}::uuid
    union all select 'wear_statement', null from wear_statement where id = ${factId}::uuid and watch_id = ${watchId}::uuid
    union all select 'watchmaker_note', null from watchmaker_note where id = ${factId}::uuid and watch_id = ${watchId}::uuid
    union all select 'ownership', null from ownership where id = ${factId}::uuid and watch_id = ${watchId}::uuid
    union all select 'movement', null from movement where id = ${factId}::uuid and watch_id = ${watchId}::uuid
    union all select 'hazard', null from hazard where id = ${factId}::uuid and watch_id = ${watchId}::uuid`
  const row = found[0]
  if (!row) throw new Refusal('not-found', { what: 'fact of this watch', id: factId })
  if (replacement && row.t !== 'watch_event')
    throw faulty(['/replacement', 'may stand only where an event is struck; record the other fact anew'])
  if (replacement) refuseFuture('What happened', replacement.on, today, '/replacement/on')
  // the same told better is still what the stock and the ticket say
  const still = replacement !== undefined && replacement.event === row.event
  if (row.t === 'movement') {
    const told = await eventOf(tx, watchId, factId)
    const event = told === null ? null : (await standingFactOf(tx, watchId))(told)
    if (event !== null) return strikeFact(act, watchId, { factId: event, reason })
  }
  const telling = row.t === 'watch_event' && !still ? await tellingOf(tx, watchId, factId) : null
  if (!telling?.records.length) await refuseUnmaking(act, watchId, row)
  const replacedBy = await strikeRow(act, watchId, factId, row.t, reason, replacement)
  if (row.event === 'movement-fitted' && !still) await strikeMovement(act, watchId, factId, reason)
  if (row.t === 'ownership') await settleOwner(act, watchId)
  if (telling) await strikeTelling(act, telling, reason)
  await rewriteObligations(tx, [watchId], today, { correcting: replacedBy !== null })
  return {
    location: `/v1/watches/${watchId}/events`,
    body: { factId, replacedBy, ...(await obligationsSummary(tx, watchId, today)) },
  }
}

/** While a watch is in the house its hazards and openings are struck by the manager alone, told by a ticket or not. */
async function refuseUnmaking(act: Act, watchId: string, row: { t: Strikable; event: string | null }): Promise<void> {
  if (act.who.role === 'manager' || (row.t !== 'hazard' && !openingEvents.has(row.event ?? ''))) return
  const here = await act.tx.ticket.count({ where: { watchId, ended: null } })
  if (here > 0) throw new Refusal('role-refused', { roles: ['manager'], role: act.who.role })
}

/** Another fact of the same kind in the place of one; the watch is locked. Answers with the id of the new one. */
export async function replaceEvent(
  act: Act,
  watchId: string,
  factId: string,
  replacement: Replacement,
  reason: string,
): Promise<string> {
  return (await strikeRow(act, watchId, factId, 'watch_event', reason, replacement)) as string
}

async function strikeRow(
  act: Act,
  watchId: string,
  factId: string,
  factTable: Strikable,
  reason: string,
  replacement?: Replacement,
): Promise<string | null> {
  const { eventIds } = replacement
    ? await recordFacts(act, { events: [{ ...replacement, watchId }] }, { correcting: true })
    : { eventIds: [] }
  const replacedBy = eventIds[0] ?? null
  await act.tx.strike.create({
    data: { factId, factTable, watchId, reason, replacedBy, learned: dateOf(act.today), recordedBy: act.who.name },
  })
  if (replacedBy) await rewriteObligations(act.tx, [watchId], act.today, { correcting: true })
  return replacedBy
}

/** What stands in the place of a fact of the watch: itself, the last that replaced it, or nothing. */
type Standing = (factId: string) => string | null

async function standingFactOf(tx: Db, watchId: string): Promise<Standing> {
  const strikes = await tx.strike.findMany({ where: { watchId }, select: { factId: true, replacedBy: true } })
  const struck = new Map(strikes.map(({ factId, replacedBy }) => [factId, replacedBy]))
  return (factId) => {
    let now: string | null = factId
    while (now !== null && struck.has(now)) now = struck.get(now) ?? null
    return now
  }
}

type TellingData = Record<string, unknown> & { facts: string[]; entries?: string[] }
type Telling = {
  entries: { id: string; eventId: string }[]
  records: {
    id: string
    ticketId: string
    ended: Ending | null
    side: SideState | null
    watchId: string
    kind: string
    data: TellingData
  }[]
}

/** What still says a fact, or one that it replaced: entries of stock, and records of tickets of which no other fact stands. */
async function tellingOf(tx: Db, watchId: string, factId: string): Promise<Telling> {
  const standing = await standingFactOf(tx, watchId)
  const entries = await tx.$queryRaw<Telling['entries']>`
    select e.id, e.event_id as "eventId" from stock_entry e
    where e.watch_id = ${watchId}::uuid and e.event_id is not null and e.strikes is null
      and not exists (select from stock_entry s where s.strikes = e.id) order by e.id`
  const records = await tx.$queryRaw<Telling['records']>`
    select r.id, r.ticket_id as "ticketId", t.watch_id as "watchId", r.kind, t.ended, t.side, jsonb_set(r.data, '{facts}', (r.data -> 'facts') || coalesce((
      select jsonb_agg(back -> 'fact') from ticket_record s, jsonb_array_elements(s.data -> 'restored') back
      where s.ticket_id = t.id and s.strikes is not null and back ->> 'record' = r.id::text), '[]')) as data
    from ticket t join ticket_record r on r.ticket_id = t.id
    where t.watch_id = ${watchId}::uuid and jsonb_array_length(coalesce(r.data -> 'facts', '[]')) > 0
      and not exists (select from ticket_record s where s.strikes = r.id) order by r.seq`
  return {
    entries: entries.filter((entry) => standing(entry.eventId) === factId || entry.eventId === factId),
    records: records.filter(({ data }) => {
      const now = data.facts.map(standing)
      return now.includes(factId) && now.every((one) => one === factId || one === null)
    }),
  }
}

/** Pieces that were not fitted: each entry by its opposite, the items locked in the order of their ids. */
async function strikeEntries(act: Act, ids: readonly string[], reason: string): Promise<void> {
  const entries = []
  for (const id of ids) entries.push(await readEntry(act.tx, id))
  const standing = entries.filter((entry) => entry.struckBy === null)
  await lockLots(
    act.tx,
    standing.map((entry) => entry.lotId),
  )
  for (const entry of standing) await writeStrike(act, entry, reason)
}

async function strikeTelling(act: Act, { entries, records }: Telling, reason: string): Promise<void> {
  const { tx, who } = act
  await strikeEntries(
    act,
    entries.map((entry) => entry.id),
    reason,
  )
  for (const record of records) {
    refuseStriking(act, record, record)
    const restored = await bringBack(act, record.watchId, record.ticketId, record)
    // and what a later version repeats of it
    await tx.$executeRaw`
      insert into ticket_record (ticket_id, kind, at, on_day, data, strikes, recorded_at, by_key, recorded_by)
      select r.ticket_id, 'struck', ${act.now}, ${act.today}::date, jsonb_build_object('reason', ${reason}::text, 'kind', r.kind,
          'restored', case when r.id = ${record.id}::uuid then ${JSON.stringify(restored)}::jsonb else '[]' end),
        r.id, ${act.now}, ${who.keyId}::uuid, ${who.name}
      from ticket_record r where r.ticket_id = ${record.ticketId}::uuid and (r.id = ${record.id}::uuid or r.data ->> 'carriedFrom' = ${record.id})
        and not exists (select from ticket_record s where s.strikes = r.id) order by r.seq`
    if (record.kind === 'look') await settleTicket(act, record.ticketId)
  }
}

/**
 * A record of a ticket that is struck already: the pieces it fitted are out at the bench again, and its facts no longer
 * count, but for what other fittings have said with it on the same day.
 */
export async function strikeOfRecord(
  act: Act,
  watchId: string,
  record: { facts: readonly string[]; entries: readonly string[] },
  reason: string,
): Promise<void> {
  const { tx, today } = act
  await lockWatches(tx, [watchId])
  await strikeEntries(act, record.entries, reason)
  const standing = await standingFactOf(tx, watchId)
  const facts = new Set(record.facts.map(standing).filter((id) => id !== null))
  for (const factId of facts) {
    const left = await tellingOf(tx, watchId, factId)
    if (left.entries.length + left.records.length === 0) {
      await strikeRow(act, watchId, factId, 'watch_event', reason)
      await strikeMovement(act, watchId, factId, reason)
    } else await sayWhatIsLeft(act, watchId, factId, left, reason)
  }
  if (facts.size > 0) await rewriteObligations(tx, [watchId], today)
}

/** More cells of one day are one fact: it is told anew by those that stay. Of other facts the one that stands is right. */
async function sayWhatIsLeft(act: Act, watchId: string, factId: string, left: Telling, reason: string): Promise<void> {
  const { tx } = act
  const fact = await tx.watchEvent.findUniqueOrThrow({ where: { id: factId } })
  if (fact.event !== 'cell-fitted') return
  const entries = left.entries.map((entry) => entry.id)
  const told = left.records.flatMap(({ data }) => (data.entries?.length ? [] : data.facts))
  const [rest] = await tx.$queryRaw<{ bestBefore: string | null; capacityMah: number | null }[]>`
    select min(ends) as "bestBefore", case when count(*) = count(mah) then min(mah)::float8 end as "capacityMah" from (
      select l.good_through::text as ends, coalesce(l.capacity_mah, i.capacity_mah) as mah
      from stock_entry e join stock_lot l on l.id = e.lot_id join stock_item i on i.id = l.item_id where e.id = any(${entries}::uuid[])
      union all select v.best_before, v.capacity_mah from watch_event v where v.id = any(${told}::uuid[])) cells`
  const { bestBefore, capacityMah } = rest!
  const consumption = fact.consumptionMicroamps?.toNumber()
  const event = {
    event: 'cell-fitted',
    on: fact.happened,
    source: fact.source,
    ...(bestBefore !== null && { bestBefore }),
    ...(capacityMah !== null && { capacityMah }),
    ...(consumption !== undefined && { consumptionMicroamps: consumption }),
  }
  await replaceEvent(act, watchId, factId, event as Replacement, reason)
}

/** A fitting that did not happen: the fact, its entries and the records of it; the pieces are out at the bench again. */
export async function strikeFitting(act: Act, eventId: string, reason: string): Promise<Created> {
  const { tx } = act
  const [fitted] = await tx.$queryRaw<{ watchId: string }[]>`
    with recursive told as (
      select ${eventId}::uuid as id
      union select s.fact_id from strike s join told on s.replaced_by = told.id)
    select e.watch_id as "watchId" from stock_entry e join told on told.id = e.event_id
    where e.strikes is null and not exists (select from stock_entry s where s.strikes = e.id) limit 1`
  if (!fitted) throw new Refusal('not-found', { what: 'fitting from stock', id: eventId })
  const { watchId } = fitted
  await lockWithTickets(tx, watchId)
  const factId = (await standingFactOf(tx, watchId))(eventId)
  if (factId !== null) return { body: (await strikeFact(act, watchId, { factId, reason })).body }
  // the fact was struck alone, before that took the pieces with it
  const { entries } = await tellingOf(tx, watchId, eventId)
  await strikeTelling(act, { entries, records: [] }, reason)
  return { body: { factId: eventId, replacedBy: null, ...(await obligationsSummary(tx, watchId, act.today)) } }
}
