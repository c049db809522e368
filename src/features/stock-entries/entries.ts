import { v7 as uuidv7 } from 'uuid'
import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { Refusal } from '../../domain/refusals.ts'
import { type EntryKind, effects } from '../../domain/stock/ledger.ts'
import { Prisma } from '../../generated/prisma/client.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { type Lot, lockLot, readLot, refuseSharedPlace, type What } from './lots.ts'
import { watchFor } from './tickets.ts'

export type NewEntry = {
  lotId: string
  kind: EntryKind
  pieces: number
  on: Day
  strikes?: string | undefined
  ticketId?: string | null | undefined
  watchId?: string | null | undefined
  eventId?: string | null | undefined
  wantedId?: string | null | undefined
  stood?: string | null | undefined
  grade?: string | null | undefined
  allowedBy?: string | null | undefined
  reason?: string | null | undefined
}

/** One signed entry; the database moves the balances with it. The lot's item must be locked (lockLots). */
export async function writeEntry({ tx, who }: Pick<Act, 'tx' | 'who'>, entry: NewEntry): Promise<string> {
  const id = uuidv7()
  await tx.$executeRaw`
    insert into stock_entry (id, lot_id, kind, pieces, happened_on, strikes, ticket_id, watch_id, event_id, wanted_id, stood, grade, allowed_by, reason, recorded_by)
    values (${id}::uuid, ${entry.lotId}::uuid, ${entry.kind}, ${entry.pieces}, ${entry.on}::date, ${entry.strikes ?? null}::uuid,
      ${entry.ticketId ?? null}::uuid, ${entry.watchId ?? null}::uuid, ${entry.eventId ?? null}::uuid, ${entry.wantedId ?? null}::uuid,
      ${entry.stood ?? null}, ${entry.grade ?? null}, ${entry.allowedBy ?? null}, ${entry.reason ?? null}, ${who.name})`
  return id
}

/** A day on which pieces of this lot can have moved: from its receipt to today. */
export function refuseDay(lot: Pick<Lot, 'receivedOn'>, on: Day, today: Day, pointer = '/on'): void {
  if (on > today) {
    throw new Refusal('fact-in-future', { what: 'A movement of stock', today }, [
      { pointer, detail: `lies after today, ${today}` },
    ])
  }
  if (on < lot.receivedOn) {
    throw new Refusal('entry-before-receipt', { receivedOn: lot.receivedOn }, [
      { pointer, detail: `lies before ${lot.receivedOn}, when the lot was received` },
    ])
  }
}

/** More than is there: said with the figures, before the database refuses. */
export function refuseMoreThanThere(lot: Lot, kind: EntryKind, pieces: number, pointer = '/pieces'): void {
  const { shelf, bench } = effects[kind]
  const place = shelf * Math.sign(pieces) < 0 ? 'shelf' : bench * Math.sign(pieces) < 0 ? 'bench' : null
  if (place === null) return
  const there = lot[place]
  if (Math.abs(pieces) > there) {
    throw new Refusal('stock-below-zero', { place: place === 'shelf' ? 'on the shelf' : 'out at the bench', there }, [
      { pointer, detail: `there are ${there} pieces` },
    ])
  }
}

/** What holds for a fitting of any kind: the day, pieces enough out at the bench, and no block on the lot. */
export function refuseFitting(lot: Lot, pieces: number, on: Day, today: Day, pointer: string): void {
  refuseDay(lot, on, today)
  refuseMoreThanThere(lot, 'fitted', pieces, pointer)
  if (lot.blocked) throw new Refusal('lot-blocked', { lotId: lot.id, because: lot.blocked })
}

/** Pieces that come back to a lot with none on the shelf: another may lie in its compartment by now. */
async function refusePlaceTaken(tx: Act['tx'], lot: Lot, kind: EntryKind, pieces: number): Promise<void> {
  if (lot.shelf === 0 && effects[kind].shelf * pieces > 0) await refuseSharedPlace(tx, lot.storagePlace, lot.id)
}

/** Kinds a person enters directly; the others are written by receiving, issuing, fitting, selling, counting and writing off. */
export const plainKinds = ['returned-to-shelf', 'damaged-on-shelf', 'damaged-at-bench', 'returned-to-supplier'] as const
export type PlainKind = (typeof plainKinds)[number]

export type PlainEntry = {
  kind: PlainKind
  pieces: number
  on?: Day | undefined
  reason: string
  ticketId?: string | undefined
  untouched?: boolean | undefined
}

export async function recordPlainEntry(act: Act, what: What, lotId: string, input: PlainEntry): Promise<Created> {
  await watchFor(act.tx, { ticketId: input.ticketId })
  const lot = await lockLot(act.tx, lotId, what)
  const on = input.on ?? act.today
  refuseDay(lot, on, act.today)
  if (input.kind === 'returned-to-shelf' && input.untouched !== true) {
    throw new Refusal('faulty-input', {}, [
      { pointer: '/untouched', detail: 'only untouched pieces go back to the shelf; others are damaged-at-bench' },
    ])
  }
  refuseMoreThanThere(lot, input.kind, input.pieces)
  await refusePlaceTaken(act.tx, lot, input.kind, input.pieces)
  const id = await writeEntry(act, {
    lotId,
    kind: input.kind,
    pieces: input.pieces,
    on,
    reason: input.reason,
    ticketId: input.ticketId,
  })
  return { location: `/v1/stock-entries/${id}`, body: await readEntry(act.tx, id) }
}

type EntryRow = {
  id: string
  lotId: string
  name: string
  kind: EntryKind
  pieces: number
  on: Day
  strikes: string | null
  struckBy: string | null
  ticketId: string | null
  watchId: string | null
  grade: string | null
  allowedBy: string | null
  reason: string | null
  recordedAt: string
  recordedBy: string
}

const entryRows = Prisma.sql`e.id, e.lot_id as "lotId", i.name, e.kind, e.pieces, e.happened_on::text as "on", e.strikes, s.id as "struckBy",
      e.ticket_id as "ticketId", e.watch_id as "watchId", e.grade, e.allowed_by as "allowedBy", e.reason,
      to_char(e.recorded_at at time zone 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.MS"Z"') as "recordedAt", e.recorded_by as "recordedBy"
    from stock_entry e join stock_lot l on l.id = e.lot_id join stock_item i on i.id = l.item_id
    left join stock_entry s on s.strikes = e.id`

export async function readEntry(db: Db, id: string): Promise<EntryRow> {
  const [row] = await db.$queryRaw<EntryRow[]>`
    select ${entryRows}
    where e.id = ${id}::uuid`
  if (!row) throw new Refusal('not-found', { what: 'stock entry', id })
  return row
}

/** A page of a lot's entries in the order they were written. */
export async function listEntries(
  db: Db,
  what: What,
  lotId: string,
  after: string | null,
  limit: number,
): Promise<EntryRow[]> {
  await readLot(db, lotId, what)
  return db.$queryRaw<EntryRow[]>`
    select ${entryRows}
    where e.lot_id = ${lotId}::uuid and i.what = ${what} and (${after}::uuid is null or e.id > ${after}::uuid)
    order by e.id limit ${limit + 1}`
}

/**
 * Strikes a mistaken entry by its opposite, on the day of the mistake, so that every later day is right again. A fitting
 * is struck with the fact it wrote on the watch, by the use case that knows both.
 */
export async function strikeEntry(act: Act, id: string, reason: string): Promise<Created> {
  const entry = await readEntry(act.tx, id)
  if (entry.kind === 'fitted' && entry.watchId !== null)
    throw new Refusal('strike-the-fitting', { watchId: entry.watchId })
  return { body: await readEntry(act.tx, await writeStrike(act, entry, reason)) }
}

export async function writeStrike(act: Act, entry: EntryRow, reason: string): Promise<string> {
  if (entry.strikes !== null || entry.struckBy !== null) throw new Refusal('already-struck')
  const lot = await lockLot(act.tx, entry.lotId)
  refuseMoreThanThere(lot, entry.kind, -entry.pieces, '/reason')
  await refusePlaceTaken(act.tx, lot, entry.kind, -entry.pieces)
  const id = uuidv7()
  // all that the demand is counted by goes with it, so that the mistake counts nowhere
  await act.tx.$executeRaw`
    insert into stock_entry (id, lot_id, kind, pieces, happened_on, strikes, ticket_id, watch_id, event_id, wanted_id, stood, reason, recorded_by)
    select ${id}::uuid, lot_id, kind, -pieces, happened_on, id, ticket_id, watch_id, event_id, wanted_id, stood, ${reason}, ${act.who.name}
    from stock_entry where id = ${entry.id}::uuid`
  return id
}
