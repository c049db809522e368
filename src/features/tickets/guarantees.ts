import type { Db } from '../../db/open.ts'
import type { Day, PartialDay } from '../../domain/day.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import {
  coverOf,
  covers,
  excludes,
  type GuaranteeKind,
  guaranteeEnd,
  type Voided,
} from '../../domain/tickets/guarantee.ts'
import { type Desk, ticketId } from './desk.ts'
import type { Loaded } from './snapshot.ts'

/** Why a watch came back, as the bench found; one for each line. */
export const comebackCauses = ['part', 'work', 'adjustment', 'lot', 'not-ours', 'wear', 'unclear'] as const

type Row = {
  line: string
  what: string
  kind: GuaranteeKind | null
  startsOn: PartialDay
  months: number
  daysAdded: number
  endedEarly: { on: Day; voided: Exclude<Voided, 'no'>; because: string; ticket: string } | null
}

/**
 * The guarantees a ticket gave, each with its last day, that day included, and whether it runs on a day. One that was found
 * voided when the watch came back has ended; `asked` is the ticket whose own decision is just being made.
 */
export async function guaranteesOf(db: Db, ticketId: string, on: Day, asked: string | null = null) {
  const rows = await db.$queryRaw<Row[]>`
    select g.line_id as line, g.what, l.guarantee_kind as kind, g.starts_on::text as "startsOn", g.months,
      coalesce((select sum(d.days) from guarantee_days d where d.guarantee_id = g.id), 0)::int as "daysAdded",
      (select jsonb_build_object('on', r.on_day, 'voided', d ->> 'voided', 'because', d ->> 'because', 'ticket', t.number)
       from ticket t join ticket_record r on r.ticket_id = t.id and r.kind = 'comeback' cross join jsonb_array_elements(r.data -> 'lines') d
       where t.comeback_of = g.ticket_id and t.id is distinct from ${asked}::uuid and d ->> 'line' = g.line_id::text and d ->> 'voided' <> 'no'
         and not exists (select from ticket_record s where s.strikes = r.id)
         and not exists (select from ticket_record n where n.ticket_id = t.id and n.kind = 'comeback' and n.seq > r.seq
           and not exists (select from ticket_record s where s.strikes = n.id))
       order by r.seq limit 1) as "endedEarly"
    from guarantee g join estimate_line l on l.id = g.line_id where g.ticket_id = ${ticketId}::uuid order by g.id`
  return rows.map(({ kind, ...row }) => {
    const lastDay = guaranteeEnd(row.startsOn, row.months, row.daysAdded)
    const voided = row.endedEarly !== null && row.endedEarly.on <= on ? row.endedEarly.voided : 'no'
    const { covered, because } = coverOf(lastDay, on, voided)
    return { ...row, lastDay, running: covered, because, covers, excludes: [...excludes(kind)] }
  })
}

/** Nobody saw at the booking-in that the watch was back under an earlier ticket: said now, it is linked from here on. */
async function linkedLate(desk: Desk, ticket: Loaded, comebackOf: string | undefined): Promise<string> {
  if (comebackOf === undefined)
    throw new Refusal('record-not-taken', {
      step: ticket.snapshot.ticket.step,
      what: 'a comeback decision',
      cure: 'This ticket is linked to no earlier one: name it in "comebackOf".',
    })
  const earlier = await ticketId(desk.tx, comebackOf)
  const [linked] = await desk.tx.$queryRaw<{ id: string }[]>`
    update ticket t set comeback_of = e.id, version = t.version + 1 from ticket e
    where t.id = ${ticket.snapshot.ticket.id}::uuid and e.id = ${earlier}::uuid and e.watch_id = t.watch_id and e.ended is not null returning e.id`
  if (!linked) throw faulty(['/comebackOf', 'is the ticket of another watch, or one that has not ended'])
  return linked.id
}

export type DecidedLine = {
  line: string
  covered: boolean
  voided: Voided
  because: string
  cause: (typeof comebackCauses)[number]
}

/**
 * The guarantee question, line by line, for the day the watch came back. Nobody covers by the guarantee what was voided;
 * past its last day only the manager does, as goodwill.
 */
export async function decideComeback(
  desk: Desk,
  ticket: Loaded,
  { lines, comebackOf }: { lines: readonly DecidedLine[]; comebackOf?: string | undefined },
): Promise<void> {
  const earlier = ticket.snapshot.ticket.comebackOf ?? (await linkedLate(desk, ticket, comebackOf))
  if (comebackOf !== undefined && (await ticketId(desk.tx, comebackOf)) !== earlier)
    throw faulty(['/comebackOf', 'is not the ticket this one is linked to'])
  const cameBack = String(ticket.rows.ticket.booked_on) as Day
  const guarantees = new Map(
    (await guaranteesOf(desk.tx, earlier, cameBack, ticket.snapshot.ticket.id)).map((row) => [row.line, row]),
  )
  for (const [i, decided] of lines.entries()) {
    const guarantee = guarantees.get(decided.line)
    if (!guarantee) throw faulty([`/lines/${i}/line`, 'is no line of the earlier ticket with a guarantee'])
    if (lines.findIndex((other) => other.line === decided.line) !== i)
      throw faulty([`/lines/${i}/line`, 'is decided twice'])
    if (decided.covered && decided.voided !== 'no')
      throw faulty([`/lines/${i}/covered`, `is not so: the guarantee was voided (${decided.voided})`])
    if (decided.covered && !guarantee.running && desk.who.role !== 'manager')
      throw faulty([
        `/lines/${i}/covered`,
        `is not so: the guarantee on "${guarantee.what}" ${guarantee.because}, and the watch came back on ${cameBack}; only the manager covers it as goodwill`,
      ])
  }
}
