import { v7 as uuidv7 } from 'uuid'
import { addDays, type Day } from '../../domain/day.ts'
import { inWords } from '../../domain/money.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import {
  agreedTotal,
  answerFaults,
  type EstimateLine,
  requirementFaults,
  totalsOf,
} from '../../domain/tickets/estimate.ts'
import { judgeGate } from '../../domain/tickets/gates.ts'
import { ceilingStands } from '../../domain/tickets/gates-yes.ts'
import { type GuaranteeKind, usualGuaranteeMonths } from '../../domain/tickets/guarantee.ts'
import type { TicketRules } from '../../domain/tickets/rules.ts'
import { frozen } from '../../domain/tickets/steps.ts'
import type { Created } from '../../http/creating.ts'
import { dayAt } from '../../http/service.ts'
import { priceFor, pricesOn } from '../prices/prices.ts'
import { addRecords, type Desk, instantFrom, openTicket, reopen, setStep } from '../tickets/desk.ts'
import type { EstimateRow, LineRow } from '../tickets/reading.ts'
import { refuseUnentitled } from '../tickets/said.ts'
import type { Loaded } from '../tickets/snapshot.ts'

export type NewLine = {
  code?: string | undefined
  what?: string | undefined
  part?: boolean | undefined
  quantity: number
  unitPrice?: number | null | undefined
  taxClass?: string | null | undefined
  choice: 'must' | 'should' | 'could'
  /** index of the line that cannot be done without this one */
  requiredBy?: number | null | undefined
  /** left out: by the house rule for the kind of work */
  guaranteeMonths?: number | undefined
  guarantee?: GuaranteeKind | undefined
  /** a line of the earlier ticket whose guarantee covers this one: the owner pays nothing, the price is the house's cost */
  underGuaranteeOf?: string | undefined
  opensCase?: boolean | undefined
  pressureTest?: boolean | undefined
  completeService?: boolean | undefined
}

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
  const wanted = await fromPriceList(desk, ticket, input.lines, currency)
  const covered = coveredLines(ticket)
  const lines = wanted.map((line, i) => ({
    ...line,
    ...guaranteeOf(line, i, ticket.rules),
    ...priceOf(line, i, covered),
    id: ids[i]!,
    requiredBy: requirement(line, i, ids),
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
  const after = await reopen(desk, id)
  const inside = ceilingStands(after.snapshot)
  if (step === 'awaiting-yes') {
    const price = judgeGate('G6', after.snapshot)
    if (price.state === 'shut')
      throw new Refusal('gate-shut', { gate: 'G6', title: price.title, why: price.why, opens: price.opens })
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

type FullLine = Omit<NewLine, 'what' | 'unitPrice' | 'taxClass'> & {
  what: string
  unitPrice: number | null
  taxClass: string | null
}

/** What a line leaves out comes from the price list of today, by its code and the class of work; what it says stands. */
async function fromPriceList(
  desk: Desk,
  ticket: Loaded,
  lines: readonly NewLine[],
  currency: string,
): Promise<FullLine[]> {
  const asks = lines.some((line) => line.code !== undefined)
  const list = asks ? await pricesOn(desk.tx, desk.today) : []
  const workClass = (ticket.rows.ticket.work_class as string | null) ?? null
  return lines.map((line, i) => {
    const price = line.code === undefined ? null : priceFor(list, line.code, workClass)
    const { what = price?.what } = line
    const missing = (name: string) =>
      faulty([
        `/lines/${i}/${name}`,
        line.code === undefined
          ? 'is missing'
          : `is missing, and the price list of ${desk.today} has no "${line.code}" for this class of work`,
      ])
    if (what === undefined) throw missing('what')
    if (line.unitPrice === undefined && price === null) throw missing('unitPrice')
    if (line.taxClass === undefined && price === null) throw missing('taxClass')
    if (line.unitPrice === undefined && price !== null && price.currency !== currency)
      throw faulty([
        `/lines/${i}/unitPrice`,
        `is missing: the price list has it in ${price.currency}, not in ${currency}`,
      ])
    const byList = price !== null && line.guaranteeMonths === undefined && line.underGuaranteeOf === undefined
    return {
      ...line,
      what,
      unitPrice: line.unitPrice === undefined ? (price?.amount ?? null) : line.unitPrice,
      taxClass: line.taxClass === undefined ? (price?.taxClass ?? null) : line.taxClass,
      part: line.part ?? price?.part,
      opensCase: line.opensCase ?? price?.opensCase,
      pressureTest: line.pressureTest ?? price?.pressureTest,
      completeService: line.completeService ?? price?.completeService,
      guarantee: line.guarantee ?? (byList ? price.guarantee : undefined),
    }
  })
}

/** The months the owner is told: those the line names, else the house rule of today for its kind of work. */
function guaranteeOf(line: FullLine, i: number, rules: TicketRules) {
  if (line.guaranteeMonths !== undefined) {
    if (line.guarantee !== undefined)
      throw faulty([`/lines/${i}/guarantee`, 'give either the months or the kind of work, not both'])
    return { guaranteeKind: null, guaranteeMonths: line.guaranteeMonths }
  }
  // work under the guarantee of an earlier line lengthens that one by the days in the house
  if (line.underGuaranteeOf !== undefined) return { guaranteeKind: null, guaranteeMonths: 0 }
  const kind =
    line.guarantee ??
    (line.completeService === true ? 'complete-service' : line.pressureTest === true ? 'water-test' : 'repair')
  return { guaranteeKind: kind, guaranteeMonths: usualGuaranteeMonths(kind, rules) }
}

/** Lines of the earlier ticket that were decided to be covered. */
const coveredLines = (ticket: Loaded): ReadonlySet<string> =>
  new Set(
    (
      (ticket.records.findLast((record) => record.kind === 'comeback')?.data.lines ?? []) as {
        line: string
        covered: boolean
      }[]
    ).flatMap((decided) => (decided.covered ? [decided.line] : [])),
  )

/** What the owner pays for a piece, and what it costs the house where a guarantee covers it. */
function priceOf(line: FullLine, i: number, covered: ReadonlySet<string>) {
  if (line.underGuaranteeOf === undefined) return { houseCost: null, underGuaranteeOf: null }
  if (!covered.has(line.underGuaranteeOf))
    throw faulty([
      `/lines/${i}/underGuaranteeOf`,
      'is no line of the earlier ticket that was decided to be covered; record the comeback decision first',
    ])
  if (line.unitPrice === null)
    throw faulty([`/lines/${i}/unitPrice`, 'is missing: say what it costs the house; the owner pays nothing'])
  return { unitPrice: 0, houseCost: line.unitPrice, underGuaranteeOf: line.underGuaranteeOf }
}

function requirement(line: FullLine, i: number, ids: readonly string[]): string | null {
  if (line.requiredBy === null || line.requiredBy === undefined) return null
  const by = ids[line.requiredBy]
  if (by === undefined || line.requiredBy === i)
    throw faulty([`/lines/${i}/requiredBy`, 'must be the index of another line'])
  return by
}

function rateOf(line: FullLine, i: number, rates: Readonly<Record<string, number>>): number | null {
  if (line.taxClass === null) return null
  // a name like "constructor" is found in any object
  const rate = Object.hasOwn(rates, line.taxClass) ? rates[line.taxClass] : undefined
  if (rate === undefined) throw faulty([`/lines/${i}/taxClass`, `must be one of ${Object.keys(rates).join(', ')}`])
  return rate
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

export const asLinesOf = (estimate: EstimateRow): EstimateLine[] =>
  (estimate.lines ?? []).map((line) => ({
    id: line.id,
    quantity: line.quantity,
    unitPrice: line.unit_price ?? 0,
    taxClass: line.tax_class ?? '',
    taxRate: line.tax_rate ?? 0,
    choice: line.choice,
    requiredBy: line.required_by,
  }))

const shownLine = (line: LineRow) => ({
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
  const most = line.quantity * (line.unit_price ?? 0)
  if (input.amount > most) throw faulty(['/amount', `must be at most ${most}, the price of the line without tax`])
  const [record] = await addRecords(desk, id, [
    { kind: 'goodwill', line: input.line, data: { amount: input.amount, reason: input.reason } },
  ])
  return { location: `/v1/tickets/${id}`, body: { id: record!.id, bill: (await reopen(desk, id)).snapshot.bill } }
}
