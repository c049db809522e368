import { Refusal } from '../../domain/refusals.ts'
import { sideActors } from '../../domain/tickets/next.ts'
import { readTicketNumber } from '../../domain/tickets/number.ts'
import type { Created } from '../../http/creating.ts'
import { addRecords, type Desk, happened, instantFrom, openTicket } from '../tickets/desk.ts'
import { askToTellInsurer } from '../tickets/insurer.ts'

export { happened }

export type CustodyInput = { from: string; to: string; holder: string; tagNumber: string; at?: string | undefined }

/**
 * Moves a watch from where it is to another place. The tag is read at each move. One statement decides: of two moves at
 * once from the same place, the second finds that the watch has gone.
 */
export async function moveWatch(desk: Desk, ref: string, input: CustodyInput): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  const { id, number, ended } = ticket.snapshot.ticket
  if (ended !== null) throw new Refusal('ticket-ended', { ended })
  const tag = readTicketNumber(input.tagNumber)
  if (tag === null)
    throw new Refusal('ticket-number-wrong', { typed: input.tagNumber.slice(0, 20) }, [
      { pointer: '/tagNumber', detail: 'is not a ticket number' },
    ])
  if (tag !== number)
    throw new Refusal('record-not-taken', {
      step: ticket.snapshot.ticket.step,
      what: 'a move of a watch with another tag',
      cure: `The tag says ${tag}: that is another watch.`,
    })
  const last = ticket.rows.custody?.at(-1)
  const at = instantFrom(desk, ticket, input.at)
  if (last && (last.to !== input.from || at.getTime() < last.at)) {
    throw new Refusal('custody-broken', { place: last.to, holder: last.holder, from: input.from })
  }
  const rows = await desk.tx.$queryRaw<{ id: string }[]>`
    with moved as (
      insert into custody_move (ticket_id, n, prev, from_place, to_place, holder, at, recorded_at, by_key, recorded_by)
      values (${id}::uuid, ${(last?.n ?? 0) + 1}, ${last?.n ?? null}, ${input.from}, ${input.to}, ${input.holder}, ${at}, ${desk.now}, ${desk.who.keyId}::uuid, ${desk.who.name})
      returning id)
    update ticket set place = ${input.to}, holder = ${input.holder}, version = version + 1 from moved where ticket.id = ${id}::uuid returning moved.id`
  return {
    location: `/v1/tickets/${id}`,
    body: { id: rows[0]!.id, from: input.from, to: input.to, holder: input.holder, at: at.toISOString() },
  }
}

export type CountInput = { places: { place: string; numbers: string[] }[] }

/**
 * The evening count: what lies in each place against the book. What the book has in a counted place and nobody found is an
 * incident, and its ticket is frozen; what was found elsewhere than the book says is listed, and nothing is moved. Places
 * that hold watches and were left out are named: nobody has looked there.
 */
export async function countEvening(desk: Desk, input: CountInput): Promise<Created> {
  const faults = input.places.flatMap(({ numbers }, i) =>
    numbers.flatMap((typed, j) =>
      readTicketNumber(typed) === null
        ? [{ pointer: `/places/${i}/numbers/${j}`, detail: 'is not a ticket number' }]
        : [],
    ),
  )
  const found = new Map<string, string>()
  for (const [i, { place, numbers }] of input.places.entries())
    for (const [j, typed] of numbers.entries()) {
      const number = readTicketNumber(typed)
      if (number === null) continue
      const other = found.get(number)
      if (other !== undefined && other !== place)
        faults.push({
          pointer: `/places/${i}/numbers/${j}`,
          detail: `was counted at ${other}, too: a watch lies in one place. Look at both tags, one is on the wrong watch`,
        })
      found.set(number, place)
    }
  if (faults.length > 0) throw new Refusal('faulty-input', {}, faults)
  const places = input.places.map(({ place }) => place)
  const book = await desk.tx.$queryRaw<
    { id: string; number: string; place: string; holder: string; side: string | null; over: object | null }[]
  >`
    select id, number, place, holder, side, case when side is not null then jsonb_strip_nulls(jsonb_build_object('state', side, 'until', next_by, 'over',
      (select r.data -> 'over' from ticket_record r where r.ticket_id = ticket.id and r.kind = 'side' order by r.seq desc limit 1))) end as over from ticket where ended is null and (place = any(${places}) or number = any(${[...found.keys()]})) order by number for no key update`
  const byNumber = new Map(book.map((row) => [row.number, row]))
  // what is with an outside specialist lies in no place of the house
  const missing = book.filter((row) => places.includes(row.place) && !found.has(row.number) && row.side !== 'sent-out')
  const elsewhere = book.filter((row) => found.has(row.number) && found.get(row.number) !== row.place)
  const unknown = [...found.keys()].filter((number) => !byNumber.has(number))
  const notCounted = await desk.tx.$queryRaw<{ place: string; watches: number }[]>`
    select place, count(*)::int as watches from ticket
    where ended is null and (side is null or side not in ('sent-out', 'missing')) and place <> all(${places}) and number <> all(${[...found.keys()]})
    group by place order by place`
  const gone = await desk.tx.$queryRaw<{ number: string; ended: string; on: string }[]>`
    select number, ended, ended_on::text as on from ticket where number = any(${unknown}) and ended is not null order by number`
  const rows = await desk.tx.$queryRaw<{ id: string }[]>`
    insert into evening_count (on_day, places, missing, elsewhere, unknown, not_counted, recorded_at, recorded_by)
    values (${desk.today}::date, ${JSON.stringify(input.places)}::jsonb, ${missing.map((r) => r.number)}::text[], ${elsewhere.map((r) => r.number)}::text[], ${unknown}::text[],
      ${JSON.stringify(notCounted)}::jsonb, ${desk.now}, ${desk.who.name}) returning id`
  const fresh = missing.filter((row) => row.side !== 'missing')
  for (const row of fresh) {
    const [incident] = await addRecords(desk, row.id, [
      {
        kind: 'incident',
        data: {
          what: 'missing at the evening count',
          lastPlace: row.place,
          lastHolder: row.holder,
          count: rows[0]!.id,
        },
      },
      {
        kind: 'side',
        data: {
          state: 'missing',
          until: desk.today,
          reason: `not found at ${row.place}`,
          ...(row.over && { over: row.over }),
        },
      },
    ])
    await askToTellInsurer(desk, { incident: incident!.id, number: row.number })
  }
  if (fresh.length > 0) {
    await desk.tx.$executeRaw`
      update ticket set side = 'missing', next_actor = ${sideActors.missing}, next_by = ${desk.today}::date, version = version + 1
      where id = any(${fresh.map((row) => row.id)}::uuid[])`
  }
  return {
    location: `/v1/evening-counts/${rows[0]!.id}`,
    body: {
      id: rows[0]!.id,
      on: desk.today,
      counted: found.size,
      missing: missing.map(({ number, place, holder }) => ({ number, place, holder })),
      elsewhere: elsewhere.map((row) => ({ number: row.number, place: row.place, foundAt: found.get(row.number)! })),
      unknown,
      gone,
      notCounted,
    },
  }
}
