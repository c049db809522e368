import { z } from 'zod'
import type { Day } from '../../domain/day.ts'
import type { LocalSettings } from '../../domain/local-settings.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { type Next, nextFor } from '../../domain/tickets/next.ts'
import { readTicketNumber } from '../../domain/tickets/number.ts'
import { latest } from '../../domain/tickets/snapshot.ts'
import type { SideState, Step } from '../../domain/tickets/steps.ts'
import { acceptanceOf, frozen, type WorkKind } from '../../domain/tickets/steps.ts'
import type { WorkCalendar } from '../../domain/tickets/working-days.ts'
import { instantIn, readInstant } from '../../http/instants.ts'
import { type Act, dayAt, type Service } from '../../http/service.ts'
import { closeReadyTask } from '../notices/ready-letters.ts'
import { readRows } from './reading.ts'
import { type Loaded, load } from './snapshot.ts'

/** One act at the house's desk: an act, and the currency of the house. */
export type Desk = Act & { readonly currency: string }

export const desk = (service: Service, doing: Act): Desk => ({ ...doing, currency: service.config.centre.currency })

/** A ticket in an address: its id, or its number as people read it. */
export const ticketParam = z.strictObject({ ticket: z.string().min(1).max(60) })

const uuid = /^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$/i

/** A wrong or swapped character in a number is refused here, wherever it is typed. */
export function readRef(ref: string): { id: string } | { number: string } {
  if (uuid.test(ref)) return { id: ref.toLowerCase() }
  const number = readTicketNumber(ref)
  if (number === null) throw new Refusal('ticket-number-wrong', { typed: ref.slice(0, 20) })
  return { number }
}

export async function ticketId(db: Act['tx'], ref: string): Promise<string> {
  const found = readRef(ref)
  const rows =
    'id' in found
      ? await db.$queryRaw<{ id: string }[]>`select id from ticket where id = ${found.id}::uuid`
      : await db.$queryRaw<{ id: string }[]>`select id from ticket where number = ${found.number}`
  const row = rows[0]
  if (!row) throw new Refusal('not-found', { what: 'ticket', id: ref })
  return row.id
}

/** The ticket locked and read whole; whoever comes second decides on what the first has written. */
export async function openTicket(desk: Desk, ref: string): Promise<Loaded> {
  const found = readRef(ref)
  const locked =
    'id' in found
      ? await desk.tx.$queryRaw<{ id: string }[]>`select id from ticket where id = ${found.id}::uuid for no key update`
      : await desk.tx.$queryRaw<
          { id: string }[]
        >`select id from ticket where number = ${found.number} for no key update`
  const id = locked[0]?.id
  const rows = id === undefined ? null : await readRows(desk.tx, id, desk.today)
  if (!rows) throw new Refusal('not-found', { what: 'ticket', id: ref })
  return load(rows, desk.now.getTime(), desk.today, desk.currency)
}

/** Reads again after something was written in this act. */
export async function reopen(desk: Desk, id: string): Promise<Loaded> {
  const rows = await readRows(desk.tx, id, desk.today)
  if (!rows) throw new Refusal('not-found', { what: 'ticket', id })
  return load(rows, desk.now.getTime(), desk.today, desk.currency)
}

export type NewRecord = {
  readonly id?: string | undefined
  readonly kind: string
  readonly data?: object | undefined
  /** when it happened; now where it is not said */
  readonly at?: Date | undefined
  readonly line?: string | null | undefined
  readonly tool?: string | null | undefined
  readonly lot?: string | null | undefined
  readonly strikes?: string | undefined
}

/** Writes records in the order given and says what they are called and where they stand in the one order. */
export async function addRecords(
  desk: Desk,
  ticket: string,
  records: readonly NewRecord[],
): Promise<{ id: string; seq: number }[]> {
  const rows = records.map((record) => {
    const at = record.at ?? desk.now
    return {
      id: record.id ?? null,
      kind: record.kind,
      data: record.data ?? {},
      at: at.toISOString(),
      on_day: dayAt(at, desk.zone),
      line_id: record.line ?? null,
      tool_id: record.tool ?? null,
      lot_id: record.lot ?? null,
      strikes: record.strikes ?? null,
    }
  })
  return desk.tx.$queryRaw<{ id: string; seq: number }[]>`
    insert into ticket_record (id, ticket_id, kind, at, on_day, data, line_id, tool_id, lot_id, strikes, recorded_at, by_key, recorded_by)
    select coalesce(r.id, uuid_v7()), ${ticket}::uuid, r.kind, r.at, r.on_day, r.data, r.line_id, r.tool_id, r.lot_id, r.strikes,
      ${desk.now}, ${desk.who.keyId}::uuid, ${desk.who.name}
    from rows from (jsonb_to_recordset(${JSON.stringify(rows)}::jsonb) as (id uuid, kind text, at timestamptz, on_day date, data jsonb, line_id uuid, tool_id uuid,
      lot_id uuid, strikes uuid)) with ordinality as r (id, kind, at, on_day, data, line_id, tool_id, lot_id, strikes, n)
    order by r.n
    returning id, seq::float8 as seq`
}

/** An instant said at the door. */
export const happened = instantIn.optional()

/** What an instant may not lie before, and in words what that was. */
type Floor = { readonly at: number; readonly what: string }

/** When something happened, as it was said: not in the future, and not before what it followed. */
export function instantSaid(
  desk: Desk,
  said: string | undefined,
  pointer: string,
  ...floors: readonly (Floor | null)[]
): Date {
  if (said === undefined) return desk.now
  const instant = readInstant(said)
  if (instant === null) throw faulty([pointer, 'is not an instant that exists'])
  const at = new Date(instant)
  if (at.getTime() > desk.now.getTime())
    throw new Refusal('fact-in-future', { what: 'What happened', today: desk.today }, [
      { pointer, detail: 'lies in the future' },
    ])
  if (at.getUTCFullYear() < 2000) throw faulty([pointer, 'lies before there was a record to keep'])
  for (const floor of floors)
    if (floor !== null && at.getTime() < floor.at)
      throw faulty([pointer, `lies before ${floor.what}, ${new Date(floor.at).toISOString()}`])
  return at
}

/** The same for what was done or said on a ticket: not before it was booked in either. */
export const instantFrom = (
  desk: Desk,
  ticket: Loaded,
  said: string | undefined,
  { pointer = '/at', after = null }: { pointer?: string; after?: Floor | null } = {},
): Date =>
  instantSaid(
    desk,
    said,
    pointer,
    { at: Date.parse(String(ticket.rows.ticket.created_at)), what: 'the ticket was booked in' },
    after,
  )

/** The last opening, closing or water test that stands: what is done to the case after it happened after it. */
export function lastOfCase({ snapshot }: Loaded): Floor | null {
  const last = latest([...snapshot.openings, ...snapshot.closings, ...snapshot.water.tests])
  return last && { at: last.at, what: 'the last opening, closing or water test that stands' }
}

export const calendarOf = (settings: LocalSettings): WorkCalendar => ({
  weekdays: new Set(settings.workingWeekdays ?? [1, 2, 3, 4, 5]),
  holidays: new Set(settings.holidays ?? []),
})

/** Refuses a record at a step that does not take it; says whether the ticket has to go back to the bench with it. */
export function takeWork(ticket: Loaded, kind: WorkKind, what: string): { back: boolean } {
  const { step, side, ended } = ticket.snapshot.ticket
  if (ended !== null) throw new Refusal('ticket-ended', { ended })
  if (side !== null && frozen.has(side)) throw new Refusal('ticket-frozen', { side })
  const acceptance = acceptanceOf(step, side, kind)
  if (acceptance === 'refused') {
    const cure =
      step === 'return-undone'
        ? 'A watch that goes back undone is only closed, sealed and tested.'
        : 'Move the ticket to the bench first.'
    throw new Refusal('record-not-taken', { step, what, cure })
  }
  return { back: acceptance === 'back-to-the-bench' }
}

/** The latest day on which a part that is waited for was promised. */
const partsExpectedOn = ({ snapshot }: Loaded): Day | null =>
  snapshot.parts.reduce<Day | null>(
    (latest, part) =>
      !part.onHand && part.expectedOn !== null && (latest === null || part.expectedOn > latest)
        ? part.expectedOn
        : latest,
    null,
  )

/** The side state a ticket stands in, by which day somebody must act, and the one it came over. */
export type Side = { readonly state: SideState; readonly until: Day; readonly over?: Side | undefined }

export function sideOf({ snapshot, records }: Loaded): Side | null {
  const { side } = snapshot.ticket
  if (side === null) return null
  const said = records.findLast((record) => record.kind === 'side')?.data as Side | undefined
  return said ? { state: side, until: said.until, ...(said.over && { over: said.over }) } : null
}

/** Who acts next at a step, and by when; the day of a side state wins over that of the step. */
export const nextAt = (desk: Desk, ticket: Loaded, step: Step, side: Side | null): Next | null =>
  nextFor(step, desk.today, calendarOf(ticket.settings), ticket.rules, {
    side,
    partsExpectedOn: partsExpectedOn(ticket),
  })

/**
 * Sets a ticket to a step with its next actor and day; the move itself is a record written before. A watch that was to go
 * back undone and comes to the bench after all is worked on again, so everything is asked of it.
 */
export async function setStep(desk: Desk, ticket: Loaded, to: Step, seq: number): Promise<void> {
  const stood = sideOf(ticket)
  // what nobody fetches stands ready; at the bench it is work again
  const side = stood?.state === 'unclaimed' && to !== 'ready' ? null : stood
  const next = nextAt(desk, ticket, to, side)
  const ended = to === 'handed-over' ? 'handed-over' : null
  const undone = to === 'return-undone' || (to !== 'on-the-bench' && ticket.snapshot.ticket.undone)
  await desk.tx.$executeRaw`
    update ticket set step = ${to}, stepped_seq = ${seq}, version = version + 1, ended = ${ended}, side = case when ${ended}::text is null then ${side?.state ?? null} end,
      ended_on = case when ${ended}::text is null then null else ${desk.today}::date end,
      next_actor = ${next?.actor ?? null}, next_by = ${next?.by ?? null}::date, undone = ${undone}
    where id = ${ticket.snapshot.ticket.id}::uuid`
}

/** Takes a ticket back to the bench because of what was just recorded. */
export async function backToBench(desk: Desk, ticket: Loaded, because: string): Promise<void> {
  const from = ticket.snapshot.ticket.step
  const [record] = await addRecords(desk, ticket.snapshot.ticket.id, [
    { kind: 'move', data: { from, to: 'on-the-bench', reason: because, byItself: true } },
  ])
  await setStep(desk, ticket, 'on-the-bench', record!.seq)
  if (from === 'ready') await closeReadyTask(desk, ticket.snapshot.ticket.id, 'the watch went back to the bench')
}

/** The last move of a watch: out of the house, to where nobody of the house holds it. */
export async function leaveHouse(desk: Desk, ticket: Loaded, place: string, holder: string): Promise<void> {
  const { id } = ticket.snapshot.ticket
  const from = ticket.rows.custody?.at(-1)
  await desk.tx.$executeRaw`
    with gone as (
      insert into custody_move (ticket_id, n, prev, from_place, to_place, holder, at, recorded_at, by_key, recorded_by)
      values (${id}::uuid, ${(from?.n ?? 0) + 1}, ${from?.n ?? null}, ${from?.to ?? null}, ${place}, ${holder}, ${desk.now}, ${desk.now}, ${desk.who.keyId}::uuid, ${desk.who.name})),
    out as (update ticket set place = ${place}, holder = ${holder} where id = ${id}::uuid)
    update watch set in_house = false where id = ${String(ticket.rows.watch.id)}::uuid`
}
