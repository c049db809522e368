import { z } from 'zod'
import { type GateAnswer, judgeGates } from '../../domain/tickets/gates.ts'
import { gatesOf, movesFrom } from '../../domain/tickets/steps.ts'
import { dayOut, idOut, instantOut, moneyOut } from '../../http/shapes.ts'
import { accountOf } from './bill.ts'
import { type conditionBody, conditionFields } from './said.ts'
import { type Loaded, peopleOf, stateOfTelling } from './snapshot.ts'

export const gateOut = z.object({
  gate: z.string(),
  title: z.string(),
  state: z.enum(['open', 'shut', 'not-asked']),
  why: z.string(),
  opens: z.array(z.string()),
  evidence: z.array(z.string()),
  parts: z.array(
    z.object({
      part: z.string(),
      open: z.boolean(),
      why: z.string(),
      opens: z.string().nullable(),
      mayOverride: z.enum(['manager', 'final-checker', 'nobody']),
      overriddenBy: z.string().nullable(),
    }),
  ),
})

export const shownGate = (answer: GateAnswer): z.output<typeof gateOut> => ({
  gate: answer.gate,
  title: answer.title,
  state: answer.state,
  why: answer.why,
  opens: [...answer.opens],
  evidence: [...answer.evidence],
  parts: answer.parts.map((part) => ({
    part: part.part,
    open: part.open,
    why: part.why,
    opens: part.opens,
    mayOverride: part.mayOverride,
    overriddenBy: part.overridden?.by ?? null,
  })),
})

export const gatesOut = z.object({
  number: z.string(),
  step: z.string(),
  side: z.string().nullable(),
  gates: z.array(gateOut),
  moves: z.array(z.object({ to: z.string(), reasonNeeded: z.boolean(), shut: z.array(z.string()) })),
})

/** Each gate as it stands now, and for each move from here which gates shut it. */
export function shownGates(ticket: Loaded): z.output<typeof gatesOut> {
  const { snapshot } = ticket
  const gates = judgeGates(snapshot)
  const shut = new Set(gates.filter((gate) => gate.state === 'shut').map((gate) => gate.gate))
  const of = { undone: snapshot.ticket.undone, comeback: snapshot.ticket.comebackOf !== null }
  return {
    number: snapshot.ticket.number,
    step: snapshot.ticket.step,
    side: snapshot.ticket.side,
    gates: gates.map(shownGate),
    moves: movesFrom(snapshot.ticket.step).map((move) => ({
      to: move.to,
      reasonNeeded: move.reason,
      shut: gatesOf(move, { ...of, undone: of.undone || move.to === 'return-undone' }).filter((gate) => shut.has(gate)),
    })),
  }
}

const text = z.string().nullable()
/** A watch of another open ticket that might be taken for this one. */
export const twinOut = z.object({
  number: z.string(),
  maker: z.string(),
  model: text,
  metal: text,
  dial: text,
  place: text,
})

export const ticketOut = z.object({
  id: idOut,
  number: z.string(),
  version: z.number().int(),
  step: z.string(),
  side: z.string().nullable(),
  ended: z.string().nullable(),
  undone: z.boolean(),
  watchId: idOut,
  watch: z.object({ maker: z.string(), model: text, reference: text, serial: text, ownMark: text, kind: z.string() }),
  ownerId: idOut,
  ownerName: z.string(),
  ownerStanding: z.string(),
  ownerDeceased: z.boolean().meta({ description: 'held for the papers of the heirs; the manager alone releases it' }),
  broughtBy: z.string(),
  complaint: z.string(),
  returnWish: z.string().nullable(),
  workClass: z.string().nullable(),
  comebackOf: idOut.nullable(),
  handingIn: idOut.nullable(),
  bookedOn: dayOut,
  endedOn: dayOut.nullable(),
  promisedOn: dayOut.nullable(),
  nextActor: z.string().nullable(),
  nextBy: dayOut.nullable(),
  place: z.string().nullable(),
  holder: z.string().nullable(),
  declaredValue: moneyOut.nullable(),
  mayApprove: z.array(z.string()),
  mayCollect: z.array(z.string()),
  doNot: z.array(z.string()),
  hazards: z.array(z.object({ id: idOut, kind: z.string(), note: z.string().nullable(), on: dayOut })),
  looseItems: z.array(z.object({ bag: z.string(), words: z.string() })),
  condition: z
    .object({ ...conditionFields, on: dayOut, by: z.string() })
    .nullable()
    .meta({ description: 'the newest record of the condition it came in' }),
  pictures: z.array(z.object({ id: idOut, view: z.string(), stage: z.string(), at: instantOut, by: z.string() })),
  estimate: z.object({ version: z.number().int(), total: moneyOut, validUntil: dayOut.nullable() }).nullable(),
  readyLetter: z
    .object({ notice: idOut, state: z.enum(['queued', 'sent', 'delivered', 'returned', 'failed', 'withdrawn']) })
    .nullable()
    .meta({ description: 'the newest letter that it is ready; null where none was written' }),
  bill: moneyOut.nullable(),
  paid: moneyOut.nullable(),
  agreedTotal: moneyOut.nullable().meta({ description: 'what the lines come to that are agreed now, tax included' }),
  balance: moneyOut.nullable().meta({
    description: 'still to be paid: of what is agreed, from "ready" on of the bill; below zero: to be returned',
  }),
  deposits: z
    .object({ received: moneyOut, returned: moneyOut, held: moneyOut, used: moneyOut })
    .nullable()
    .meta({ description: 'used by the bill at the hand-over, held until then' }),
  comebackCost: z
    .array(moneyOut)
    .meta({ description: 'what comebacks under its guarantees have cost the house; not billed' }),
  twins: z.array(twinOut).meta({ description: 'watches in the house it might be taken for: compare before it goes' }),
  createdAt: instantOut,
})

function readyLetterOf(rows: Loaded['rows'], records: Loaded['records']) {
  const record = records.findLast((one) => one.kind === 'contact' && one.data.notice !== undefined)
  const letter = rows.notices?.find((notice) => notice.record === record?.id)
  if (!record || !letter) return null
  const state = letter.returned ? 'returned' : letter.state === 'withdrawn' ? 'withdrawn' : stateOfTelling(rows, record)
  return { notice: letter.notice, state } as const
}

export function shownTicket({ rows, records, snapshot, twins }: Loaded): z.output<typeof ticketOut> {
  const t = rows.ticket as Record<string, string | null>
  const people = peopleOf(rows)
  const newest = rows.estimates?.at(-1)
  const doNot = records.findLast((record) => record.kind === 'do-not')?.data.list as string[] | undefined
  const condition = records.findLast((record) => record.kind === 'condition')
  const { maker, model, reference, serial, own_mark: ownMark, kind } = rows.watch as Record<string, string>
  return {
    id: snapshot.ticket.id,
    number: snapshot.ticket.number,
    version: Number(t.version),
    step: snapshot.ticket.step,
    side: snapshot.ticket.side,
    ended: snapshot.ticket.ended,
    undone: snapshot.ticket.undone,
    watchId: t.watch_id!,
    watch: { maker: maker!, model: model!, reference: reference!, serial: serial!, ownMark: ownMark!, kind: kind! },
    ownerId: t.owner_id!,
    ownerName: rows.owner.name,
    ownerStanding: rows.owner.standing,
    ownerDeceased: rows.owner.deceased,
    broughtBy: t.brought_by!,
    complaint: t.complaint!,
    returnWish: t.return_wish!,
    workClass: t.work_class!,
    comebackOf: t.comeback_of!,
    handingIn: t.handing_in!,
    bookedOn: t.booked_on!,
    endedOn: t.ended_on!,
    promisedOn: t.promised_on!,
    nextActor: t.next_actor!,
    nextBy: t.next_by!,
    place: t.place!,
    holder: t.holder!,
    declaredValue: snapshot.declared?.value ?? null,
    mayApprove: [...people.approve],
    mayCollect: [...people.collect],
    doNot: [...new Set([...((rows.watch.do_not as string[] | undefined) ?? []), ...(doNot ?? [])])],
    hazards: (rows.hazards ?? []).map(({ id, kind, note, on }) => ({ id, kind, note, on })),
    looseItems: rows.loose ?? [],
    condition: condition
      ? { ...(condition.data as z.output<typeof conditionBody>), on: condition.on, by: condition.name }
      : null,
    pictures: (rows.pictures ?? []).map(({ id, view, stage, at, by }) => ({
      id,
      view,
      stage,
      at: new Date(Number(at)).toISOString(),
      by,
    })),
    estimate: newest
      ? { version: newest.n, total: { amount: newest.total, currency: newest.currency }, validUntil: newest.validUntil }
      : null,
    readyLetter: readyLetterOf(rows, records),
    bill: snapshot.bill,
    paid: snapshot.paidTotal,
    ...accountOf(rows, snapshot),
    comebackCost: rows.comeback_cost ?? [],
    twins: twins.map(({ diameterMm: _, ...twin }) => twin),
    createdAt: new Date(t.created_at!).toISOString(),
  }
}
