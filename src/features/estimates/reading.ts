import type { Db } from '../../db/open.ts'
import { Refusal } from '../../domain/refusals.ts'
import { agreedTotal, answerFaults } from '../../domain/tickets/estimate.ts'
import { agreedLines } from '../../domain/tickets/gates-yes.ts'
import type { Loaded } from '../tickets/snapshot.ts'
import { asLinesOf, shownEstimate } from './estimates.ts'

type AnswerRow = {
  seq: number
  version: number
  line: string
  answer: 'yes' | 'no'
  person: string
  how: string
  on: string
  at: Date
  total: number
  textShown: string | null
  by: string
}

/**
 * The versions of the estimate with every answer to each line. Agreed is what may be worked on: lines of the newest version
 * said yes to, by answers, by the amount agreed in advance or by goodwill.
 */
export async function readEstimates(
  db: Db,
  ticket: Loaded,
  wanted: { version?: number | undefined; agreedOnly: boolean },
) {
  const answers = await db.$queryRaw<AnswerRow[]>`
    select seq::float8 as seq, version, line_id as line, answer, person, how, on_day::text as on, at, total::float8 as total, text_shown as "textShown", recorded_by as by
    from estimate_answer where ticket_id = ${ticket.snapshot.ticket.id}::uuid order by seq`
  const confirmed = new Set(ticket.snapshot.answers.filter((one) => one.confirmedInWriting).map((one) => one.seq))
  const agreed = new Set(agreedLines(ticket.snapshot))
  const newest = ticket.rows.estimates?.at(-1)?.n
  return (ticket.rows.estimates ?? [])
    .filter(
      (row) => (wanted.version === undefined || row.n === wanted.version) && (!wanted.agreedOnly || row.n === newest),
    )
    .map((row) => {
      const standing = standingAnswers(ticket, row.n)
      const { lines, ...version } = shownEstimate(row)
      return {
        ...version,
        agreedTotal:
          row.n === newest && agreed.size > 0
            ? { amount: agreedTotal(asLinesOf(row), agreed, row.rounding).total, currency: row.currency }
            : null,
        lines: lines
          .map((line) => ({
            ...line,
            agreed: row.n === newest && agreed.has(line.id),
            answer: standing.get(line.id) ?? null,
            answers: answers
              .filter((one) => one.version === row.n && one.line === line.id)
              .map(({ seq, version: _, line: __, at, total, ...one }) => ({
                ...one,
                at: at.toISOString(),
                total: { amount: total, currency: row.currency },
                confirmedInWriting: confirmed.has(seq),
              })),
          }))
          .filter((line) => !wanted.agreedOnly || line.agreed),
      }
    })
}

/** The answers to a version that no revocation has ended, the last one to each line. */
function standingAnswers(ticket: Loaded, version: number): Map<string, 'yes' | 'no'> {
  const revoked = ticket.snapshot.revoked?.seq ?? 0
  return new Map(
    ticket.snapshot.answers
      .filter((answer) => answer.version === version && answer.seq > revoked)
      .map((answer) => [answer.line, answer.answer] as const),
  )
}

export type Choice = { line: string; answer: 'yes' | 'no' }[]

/**
 * What answers to lines of a version would come to, with those that stand already: the very total that the answer must
 * repeat. Nothing is recorded. Where the answers do not go together, the total is of the yes all the same, and why not is said.
 */
export function totalsOfChoice(ticket: Loaded, version: number, choice: Choice) {
  const estimate = ticket.rows.estimates?.find((row) => row.n === version)
  if (!estimate) throw new Refusal('not-found', { what: 'version of this estimate', id: String(version) })
  const lines = asLinesOf(estimate)
  const whole = new Map([
    ...standingAnswers(ticket, version),
    ...choice.map(({ line, answer }) => [line, answer] as const),
  ])
  const nameOf = (id: string) => estimate.lines?.find((line) => line.id === id)?.what ?? id
  const faults = answerFaults(lines, whole)
  const unknown = faults.filter((fault) => !lines.some((line) => line.id === fault.line))
  if (unknown.length > 0)
    throw new Refusal(
      'faulty-input',
      {},
      unknown.map((fault) => ({
        pointer: `/lines/${choice.findIndex((one) => one.line === fault.line)}/line`,
        detail: fault.detail,
      })),
    )
  const yes = new Set([...whole].flatMap(([line, answer]) => (answer === 'yes' ? [line] : [])))
  const { net, tax, total } = agreedTotal(lines, yes, estimate.rounding)
  const money = (amount: number) => ({ amount, currency: estimate.currency })
  return {
    version,
    newest: version === ticket.rows.estimates?.at(-1)?.n,
    net: money(net),
    tax: money(tax),
    total: money(total),
    yes: lines.filter((line) => yes.has(line.id)).map((line) => line.id),
    unanswered: lines.filter((line) => !whole.has(line.id)).map((line) => line.id),
    faults: faults.map((fault) => ({
      line: fault.line,
      words: `"${nameOf(fault.line)}" ${fault.detail}${fault.by === undefined ? '' : `, "${nameOf(fault.by)}"`}`,
    })),
  }
}
