import { v7 as uuidv7 } from 'uuid'
import { addDays, type Day } from '../../domain/day.ts'
import { inWords } from '../../domain/money.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import {
  agreedTotal,
  answerFaults,
  type EstimateLine,
  ifRefused,
  requirementFaults,
  totalsOf,
} from '../../domain/tickets/estimate.ts'
import { judgeGate } from '../../domain/tickets/gates.ts'
import { ceilingStands } from '../../domain/tickets/gates-yes.ts'
import { frozen } from '../../domain/tickets/steps.ts'
import type { Created } from '../../http/creating.ts'
import { dayAt } from '../../http/service.ts'
import { asLine, goodwillOn } from '../tickets/bill.ts'
import { addRecords, type Desk, instantFrom, openTicket, reopen, setStep } from '../tickets/desk.ts'
import type { EstimateRow, LineRow } from '../tickets/reading.ts'
import { refuseUnentitled } from '../tickets/said.ts'
import {
  coveredLines,
  doneBefore,
  fromPriceList,
  guaranteeOf,
  type NewLine,
  priceOf,
  rateOf,
  repeatedLine,
  requirement,
  withRepeated,
} from './lines.ts'

export type NewEstimate = {
  kind: 'fixed' | 'up-to' | 'look-first'
  currency?: string | undefined
  validUntil?: Day | null | undefined
  lines: NewLine[]
  reason?: string | undefined
}

const priced = new Set(['looked-over', 'priced', 'awaiting-yes'])
const working = new Set(['awaiting-parts', 'ready-for-bench', 'on-the-bench'])

/**
 * A new version of the estimate. Made while the work waits or runs, it stops the work and goes back to be priced, unless
 * the amount agreed in advance covers it: then the work goes on and the owner is told.
 */
export async function addEstimate(desk: Desk, ref: string, input: NewEstimate): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  const { id, step, ended, side } = ticket.snapshot.ticket
  if (ended !== null) throw new Refusal('ticket-ended', { ended })
  if (side !== null && frozen.has(side)) throw new Refusal('ticket-frozen', { side })
  if (!priced.has(step) && !working.has(step))
    throw new Refusal('record-not-taken', {
      step,
      what: 'an estimate',
      cure: 'It is made after the look and before the work is closed.',
    })
  const { taxRates, rounding } = ticket.settings
  if (rounding === null) throw new Refusal('setting-missing', { setting: 'rounding' })
  if (taxRates === null) throw new Refusal('setting-missing', { setting: 'taxRates' })
  const earlier = ticket.rows.estimates?.at(-1)
  const currency = input.currency ?? earlier?.currency ?? desk.currency
  if (earlier && earlier.currency !== currency)
    throw faulty(['/currency', `must be ${earlier.currency}, as the earlier version`])
  const ids = input.lines.map(() => uuidv7())
  const repeated = input.lines.map((line, i) => repeatedLine(line, i, earlier))
  const wanted = await fromPriceList(
    desk,
    ticket,
    input.lines.map((line, i) => withRepeated(line, repeated[i])),
    currency,
  )
  const done = wanted.map((line, i) => doneBefore(ticket, line, i, repeated[i]))
  const covered = coveredLines(ticket)
  const lines = wanted.map((line, i) => ({
    ...line,
    ...guaranteeOf(line, i, ticket.rules),
    ...priceOf(line, i, covered),
    id: ids[i]!,
    requiredBy: requirement(line, i, ids, repeated),
    rate: rateOf(line, i, taxRates),
  }))
  const asLines: EstimateLine[] = lines.map((line) => ({
    id: line.id,
    quantity: line.quantity,
    unitPrice: line.unitPrice ?? 0,
    taxClass: line.taxClass ?? '',
    taxRate: line.rate ?? 0,
    choice: line.choice,
    requiredBy: line.requiredBy,
  }))
  const circles = requirementFaults(asLines)
  if (circles.length > 0)
    throw faulty(...circles.map((fault) => [`/lines/${ids.indexOf(fault.line)}/requiredBy`, fault.detail] as const))
  // an earlier version froze its rounding; a later one follows the same, so that agreed total and bill agree
  const rule = earlier?.rounding ?? rounding
  const totals = totalsOf(asLines, rule)
  const n = (earlier?.n ?? 0) + 1
  const validUntil =
    input.validUntil === undefined ? addDays(desk.today, ticket.rules.estimateValidDays) : input.validUntil
  if (validUntil !== null && validUntil < desk.today) throw faulty(['/validUntil', `lies before today, ${desk.today}`])
  await desk.tx.$executeRaw`
    with made as (
      insert into estimate (ticket_id, n, kind, currency, rounding, valid_until, net, tax, total, made_on, recorded_at, by_key, recorded_by)
      values (${id}::uuid, ${n}, ${input.kind}, ${currency}, ${rule}, ${validUntil}::date, ${totals.net}, ${totals.tax}, ${totals.total}, ${desk.today}::date, ${desk.now},
        ${desk.who.keyId}::uuid, ${desk.who.name}) returning id)
    insert into estimate_line (id, estimate_id, place, code, what, part, quantity, unit_price, tax_class, tax_rate, choice, required_by, guarantee_months, opens_case,
      pressure_test, complete_service, guarantee_kind, under_guarantee_of, house_cost)
    select l.id, made.id, l.place, l.code, l.what, coalesce(l.part, false), l.quantity, l."unitPrice", l."taxClass", l.rate, l.choice, l."requiredBy",
      coalesce(l."guaranteeMonths", 0), coalesce(l."opensCase", false), coalesce(l."pressureTest", false), coalesce(l."completeService", false),
      l."guaranteeKind", l."underGuaranteeOf", l."houseCost"
    from made, jsonb_to_recordset(${JSON.stringify(lines.map((line, place) => ({ ...line, place })))}::jsonb) as l (id uuid, place int, code text, what text, part boolean,
      quantity int, "unitPrice" bigint, "taxClass" text, rate int, choice text, "requiredBy" uuid, "guaranteeMonths" int, "opensCase" boolean, "pressureTest" boolean,
      "completeService" boolean, "guaranteeKind" text, "underGuaranteeOf" uuid, "houseCost" bigint)`
  await addRecords(
    desk,
    id,
    done.flatMap((record, i) =>
      record === undefined
        ? []
        : [
            {
              kind: 'operation',
              line: ids[i]!,
              at: new Date(record.at),
              data: {
                state: 'done',
                what: lines[i]!.what,
                code: lines[i]!.code ?? null,
                carriedFrom: record.id,
                facts: [],
              },
            },
          ],
    ),
  )
  const after = await reopen(desk, id)
  const inside = ceilingStands(after.snapshot)
  if (step === 'awaiting-yes') {
    const price = judgeGate('G6', after.snapshot)
    if (price.state === 'shut')
      throw new Refusal('gate-shut', { gate: 'G6', gateTitle: price.title, why: price.why, opens: price.opens })
  }
  if (working.has(step) && !inside) {
    const [move] = await addRecords(desk, id, [
      {
        kind: 'move',
        data: { from: step, to: 'priced', reason: input.reason ?? `version ${n} needs a new yes`, byItself: true },
      },
    ])
    await setStep(desk, after, 'priced', move!.seq)
  }
  const made = (await reopen(desk, id)).rows.estimates!.at(-1)!
  return { location: `/v1/tickets/${id}/estimates`, body: { ...shownEstimate(made), insideCeiling: inside } }
}

export type NewAnswer = {
  person: string
  how: 'in-person' | 'signed' | 'e-mail' | 'phone'
  total: { amount: number; currency: string }
  textShown?: string | undefined
  lines: { line: string; answer: 'yes' | 'no' }[]
  at?: string | undefined
}

/** What somebody entitled answered to each line of the newest version, with the total that was shown. */
export async function answerEstimate(desk: Desk, ref: string, version: number, input: NewAnswer): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  const { id, step, ended } = ticket.snapshot.ticket
  if (ended !== null) throw new Refusal('ticket-ended', { ended })
  const estimate = ticket.rows.estimates?.at(-1)
  const asked = ticket.rows.estimates?.find((row) => row.n === version)
  if (!asked || !estimate) throw new Refusal('not-found', { what: 'version of this estimate', id: String(version) })
  if (estimate.n !== version) throw new Refusal('version-not-newest', { version, newest: estimate.n })
  if (!['priced', 'awaiting-yes', ...working].includes(step))
    throw new Refusal('record-not-taken', { step, what: 'an answer to an estimate' })
  refuseUnentitled(ticket, input.person, 'approve')
  if (input.how === 'phone' && ticket.settings.phoneYesUpTo === null)
    throw new Refusal('setting-missing', { setting: 'phoneYesUpTo' })
  const at = instantFrom(desk, ticket, input.at, {
    after: { at: estimate.at, what: `version ${version} was made` },
  })
  const lines = asLinesOf(estimate)
  const given = new Map(input.lines.map(({ line, answer }) => [line, answer] as const))
  if (given.size !== input.lines.length) throw faulty(['/lines', 'answers a line twice'])
  const revoked = ticket.snapshot.revoked?.seq ?? 0
  const standing = new Map<string, 'yes' | 'no'>()
  for (const answer of ticket.snapshot.answers)
    if (answer.version === version && answer.seq > revoked) standing.set(answer.line, answer.answer)
  const whole = new Map([...standing, ...given])
  const faults = answerFaults(lines, whole)
  if (faults.length > 0) {
    throw faulty(
      ...faults.map(
        (fault) =>
          [
            `/lines/${Math.max(
              0,
              input.lines.findIndex((line) => line.line === fault.line),
            )}/answer`,
            `"${nameOf(estimate, fault.line)}" ${fault.detail}${fault.by === undefined ? '' : `, "${nameOf(estimate, fault.by)}"`}`,
          ] as const,
      ),
    )
  }
  const done = new Set(ticket.snapshot.work.filter((work) => work.state === 'done').map((work) => work.line))
  const payable = input.lines.findIndex((one) => one.answer === 'no' && done.has(one.line))
  if (payable >= 0)
    throw faulty([
      `/lines/${payable}/answer`,
      `"${nameOf(estimate, input.lines[payable]!.line)}" was done under the yes before, and is payable`,
    ])
  const yes = new Set([...whole].filter(([, answer]) => answer === 'yes').map(([line]) => line))
  const total = { amount: agreedTotal(lines, yes, estimate.rounding).total, currency: estimate.currency }
  if (input.total.amount !== total.amount || input.total.currency !== total.currency)
    throw faulty(['/total', `the lines said yes to come to ${inWords(total)}`])
  const on = dayAt(at, desk.zone)
  await desk.tx.$executeRaw`
    insert into estimate_answer (ticket_id, version, line_id, answer, person, how, on_day, at, total, text_shown, recorded_at, by_key, recorded_by)
    select ${id}::uuid, ${version}, a.line, a.answer, ${input.person}, ${input.how}, ${on}::date, ${at}, ${total.amount}, ${input.textShown ?? null}, ${desk.now},
      ${desk.who.keyId}::uuid, ${desk.who.name}
    from jsonb_to_recordset(${JSON.stringify(input.lines)}::jsonb) as a (line uuid, answer text)`
  const after = await reopen(desk, id)
  const gate = judgeGate('G7', after.snapshot)
  return {
    location: `/v1/tickets/${id}/estimates`,
    body: { version, agreedTotal: total, gate: { state: gate.state, why: gate.why, opens: [...gate.opens] } },
  }
}

const nameOf = (estimate: EstimateRow, line: string) => estimate.lines?.find((one) => one.id === line)?.what ?? line

export const asLinesOf = (estimate: EstimateRow): EstimateLine[] => (estimate.lines ?? []).map(asLine)

const shownLine = (line: LineRow, _place: number, all: readonly LineRow[]) => ({
  id: line.id,
  code: line.code,
  what: line.what,
  part: line.part,
  quantity: line.quantity,
  unitPrice: line.unit_price,
  taxClass: line.tax_class,
  taxRate: line.tax_rate,
  choice: line.choice,
  requiredBy: line.required_by,
  ifRefused: ifRefused(
    all.map((one) => ({ id: one.id, what: one.what, requiredBy: one.required_by, pressureTest: one.pressure_test })),
    line.id,
  ),
  guaranteeMonths: line.guarantee_months,
  guarantee: line.guarantee_kind,
  underGuaranteeOf: line.under_guarantee_of,
  houseCost: line.house_cost,
  opensCase: line.opens_case,
  pressureTest: line.pressure_test,
  completeService: line.complete_service,
})

export const shownEstimate = (row: EstimateRow) => ({
  version: row.n,
  kind: row.kind,
  currency: row.currency,
  rounding: row.rounding,
  validUntil: row.validUntil,
  madeOn: row.madeOn,
  by: row.by,
  net: row.net,
  tax: row.tax,
  total: row.total,
  lines: (row.lines ?? []).map(shownLine),
})

/** Goodwill on one line: the price goes down, never up, and never below nothing. */
export async function giveGoodwill(
  desk: Desk,
  ref: string,
  input: { line: string; amount: number; reason: string },
): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  const { id, ended } = ticket.snapshot.ticket
  if (ended !== null) throw new Refusal('ticket-ended', { ended })
  const line = ticket.rows.estimates?.at(-1)?.lines?.find((one) => one.id === input.line)
  if (!line) throw faulty(['/line', 'is no line of the newest version'])
  const given = goodwillOn(ticket.records, input.line)
  const most = line.quantity * (line.unit_price ?? 0) - given
  if (input.amount > most)
    throw faulty([
      '/amount',
      `must be at most ${most}, the price of the line without tax${given > 0 ? ' less what was taken off before' : ''}`,
    ])
  const [record] = await addRecords(desk, id, [
    { kind: 'goodwill', line: input.line, data: { amount: input.amount, reason: input.reason } },
  ])
  return { location: `/v1/tickets/${id}`, body: { id: record!.id, bill: (await reopen(desk, id)).snapshot.bill } }
}
