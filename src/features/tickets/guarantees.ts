import type { Db } from '../../db/open.ts'
import type { Day, PartialDay } from '../../domain/day.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { coverOf, guaranteeEnd, type Voided } from '../../domain/tickets/guarantee.ts'
import type { Desk } from './desk.ts'
import type { Loaded } from './snapshot.ts'

/** Why a watch came back, as the bench found; one for each line. */
export const comebackCauses = ['part', 'work', 'adjustment', 'lot', 'not-ours', 'wear', 'unclear'] as const

type Row = { line: string; what: string; startsOn: PartialDay; months: number; daysAdded: number }

/** The guarantees a ticket gave, each with its last day, that day included, and whether it runs on a day. */
export async function guaranteesOf(db: Db, ticketId: string, on: Day) {
  const rows = await db.$queryRaw<Row[]>`
    select g.line_id as line, g.what, g.starts_on::text as "startsOn", g.months,
      coalesce((select sum(d.days) from guarantee_days d where d.guarantee_id = g.id), 0)::int as "daysAdded"
    from guarantee g where g.ticket_id = ${ticketId}::uuid order by g.id`
  return rows.map((row) => {
    const lastDay = guaranteeEnd(row.startsOn, row.months, row.daysAdded)
    const { covered, because } = coverOf(lastDay, on, 'no')
    return { ...row, lastDay, running: covered, because }
  })
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
export async function decideComeback(desk: Desk, ticket: Loaded, lines: readonly DecidedLine[]): Promise<void> {
  const earlier = ticket.snapshot.ticket.comebackOf
  if (earlier === null)
    throw new Refusal('record-not-taken', {
      step: ticket.snapshot.ticket.step,
      what: 'a comeback decision',
      cure: 'This ticket is linked to no earlier one.',
    })
  const cameBack = String(ticket.rows.ticket.booked_on) as Day
  const guarantees = new Map((await guaranteesOf(desk.tx, earlier, cameBack)).map((row) => [row.line, row]))
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
