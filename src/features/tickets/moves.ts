import type { Day } from '../../domain/day.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { type GateAnswer, judgeGates, mayOverride } from '../../domain/tickets/gates.ts'
import { checkedByAnother } from '../../domain/tickets/gates-after.ts'
import { daysOfStay, monthsAtHandOver } from '../../domain/tickets/guarantee.ts'
import { settingBehind } from '../../domain/tickets/missing-settings.ts'
import type { Override } from '../../domain/tickets/snapshot.ts'
import { frozen, type GateName, gateNames, gatesOf, type Move, type Step } from '../../domain/tickets/steps.ts'
import { type Decision, decideMove, type ShutGate } from '../../domain/tickets/walk.ts'
import type { Created } from '../../http/creating.ts'
import { closeReadyTask, queueReadyLetter } from '../notices/ready-letters.ts'
import { rewriteObligations } from '../obligations/rewrite.ts'
import { wakeWatch } from '../watches/watches.ts'
import { billedVersion } from './bill.ts'
import { addRecords, type Desk, leaveHouse, openTicket, reopen, setStep } from './desk.ts'
import { closePromiseTask } from './promise-task.ts'
import { type Release, recordRelease } from './release.ts'
import { counter } from './said.ts'
import { shownGate, shownTicket } from './shown.ts'
import type { Loaded } from './snapshot.ts'
import { isWorker } from './standing.ts'

export type MoveInput = { to: Step; reason?: string | undefined; release?: Release | undefined }

/** Moves a ticket, or walks it to a step further on; all or nothing. The gates are asked of the record as it stands now. */
export async function moveTicket(desk: Desk, ref: string, input: MoveInput): Promise<Created> {
  // to compare a watch with its collector and to hand it over is the counter's, by whichever address it is said
  const { role } = desk.who
  if ((input.release || input.to === 'handed-over') && role !== 'counter' && role !== 'manager')
    throw new Refusal('role-refused', { roles: counter, role })
  let ticket = await openTicket(desk, ref)
  const { id } = ticket.snapshot.ticket
  if (input.release) {
    await recordRelease(desk, ticket, input.release)
    ticket = await reopen(desk, id)
  }
  const decision = decideMove(ticket.snapshot, input.to, input.reason ?? null)
  if (!decision.ok) throw refusalOf(decision, ticket, input.to)
  const records = await addRecords(
    desk,
    id,
    decision.moves.map((move) => ({
      kind: 'move',
      data: {
        from: move.from,
        to: move.to,
        reason: input.reason ?? null,
        gates: passedBy(move, ticket, decision.gates),
      },
    })),
  )
  const last = decision.moves.at(-1)!
  await setStep(desk, ticket, last.to, records.at(-1)!.seq)
  if (ticket.snapshot.ticket.step === 'ready') await closeReadyTask(desk, id, `the watch went on to ${last.to}`)
  if (last.to === 'handed-over') await handOver(desk, ticket)
  if (last.to === 'ready') {
    await closePromiseTask(desk, ticket, 'the watch is ready')
    await tellReady(desk, await reopen(desk, id))
  }
  return { status: 200, body: shownTicket(await reopen(desk, id)) }
}

/** What each asked gate said, kept with the move: a later reader sees what was known and who answered for it. */
const passedBy = (move: Move, { snapshot }: Loaded, gates: readonly GateAnswer[]) => {
  const { undone, comebackOf } = snapshot.ticket
  const asked = gatesOf(move, { undone: undone || move.to === 'return-undone', comeback: comebackOf !== null })
  return gates
    .filter((gate) => asked.includes(gate.gate))
    .map((gate) => ({
      gate: gate.gate,
      state: gate.state,
      why: gate.why,
      overridden: gate.parts.flatMap((part) =>
        part.overridden ? [{ part: part.part, by: part.overridden.by, reason: part.overridden.reason }] : [],
      ),
    }))
}

/** Where a gate is shut for want of a local setting, the refusal names it. */
const behind = (gate: GateAnswer, { snapshot }: Loaded): { setting?: string } => {
  const setting = settingBehind(gate, snapshot)
  return setting === null ? {} : { setting }
}

function refusalOf(decision: Exclude<Decision, { ok: true }>, ticket: Loaded, to: Step): Refusal {
  const { step, side, ended } = ticket.snapshot.ticket
  switch (decision.fault) {
    case 'no-such-move':
      return new Refusal('no-such-move', { from: step, to, possible: decision.possible })
    case 'ended':
      return new Refusal('ticket-ended', { ended: ended ?? 'handed-over' })
    case 'frozen':
      return new Refusal('ticket-frozen', { side })
    case 'reason-missing':
      return new Refusal('move-needs-reason', {}, [{ pointer: '/reason', detail: 'is missing' }])
    case 'gate-shut': {
      const { gate, move, alsoShut } = decision
      const overridable = gate.parts
        .filter((part) => !part.open && part.mayOverride !== 'nobody')
        .map((part) => `${part.part}: ${part.mayOverride}`)
      return new Refusal('gate-shut', {
        gate: gate.gate,
        gateTitle: gate.title,
        from: move.from,
        to: move.to,
        why: gate.why,
        opens: gate.opens,
        mayOverride: overridable,
        alsoShut: alsoShut.map(inWords),
        ...behind(gate, ticket),
      })
    }
  }
}

const inWords = ({ gate, move }: ShutGate): string =>
  `${gate.gate} (${gate.title}), before "${move.to}": ${gate.why}. To open it: ${gate.opens.join('; ')}.`

/** The letter that it is ready goes into the queue; what becomes of it is seen on the notice, never on this record. */
async function tellReady(desk: Desk, { snapshot, rows, rules }: Loaded): Promise<void> {
  const { id, number, undone } = snapshot.ticket
  const { bill, paidTotal } = snapshot
  const owed = bill === null ? 0 : bill.amount - (paidTotal?.amount ?? 0)
  const notice = await queueReadyLetter(
    desk,
    {
      ticketId: id,
      number,
      watchId: String(rows.watch.id),
      undone,
      checkedByAnother: checkedByAnother(snapshot),
      owed: bill !== null && owed > 0 ? { amount: owed, currency: bill.currency } : null,
    },
    rules.readyComeByDays,
  )
  if (notice !== null)
    await addRecords(desk, id, [
      { kind: 'contact', data: { about: 'ready', means: 'e-mail', result: 'queued', notice } },
    ])
}

/** The watch leaves the house: guarantees start, a covered stay adds its days, the place is the owner's. */
async function handOver(desk: Desk, ticket: Loaded): Promise<void> {
  const { rows, snapshot } = ticket
  const { id, comebackOf } = snapshot.ticket
  const watchId = String(rows.watch.id)
  const lines = billedVersion(rows, snapshot)?.lines ?? []
  const done = new Set(snapshot.work.filter((work) => work.state === 'done').map((work) => work.line))
  const guaranteed = lines
    .filter((line) => done.has(line.id))
    .map((line) => ({
      id: line.id,
      what: line.what,
      months: monthsAtHandOver(line.guarantee_months, line.guarantee_kind, ticket.rules),
    }))
    .filter((line) => line.months > 0)
  const stay = daysOfStay(String(rows.ticket.booked_on) as Day, desk.today)
  await desk.tx.$executeRaw`
    insert into guarantee (ticket_id, watch_id, line_id, what, starts_on, months, recorded_by)
    select ${id}::uuid, ${watchId}::uuid, g.id, g.what, ${desk.today}::date, g.months, ${desk.who.name}
    from jsonb_to_recordset(${JSON.stringify(guaranteed)}::jsonb) as g (id uuid, what text, months int)`
  // who it was is said once, in the comparison before the hand-over, from which a person can be taken out
  await leaveHouse(desk, ticket, 'with the owner', 'the collector')
  const decided = ticket.records.findLast((record) => record.kind === 'comeback')?.data.lines ?? []
  const covered = (decided as { line: string; covered: boolean }[]).flatMap((one) => (one.covered ? [one.line] : []))
  if (comebackOf !== null && covered.length > 0 && stay > 0) {
    await desk.tx.$executeRaw`
      insert into guarantee_days (guarantee_id, ticket_id, days, recorded_by)
      select g.id, ${id}::uuid, ${stay}, ${desk.who.name} from guarantee g where g.ticket_id = ${comebackOf}::uuid and g.line_id = any(${covered}::uuid[])
      on conflict do nothing`
  }
  await rewriteObligations(desk.tx, [watchId], desk.today)
  await wakeWatch(desk.tx, watchId, desk.today)
}

export type OverrideInput = { gate: string; part: string; reason: string }

/** Records an override by a named person of a named part of a gate that is shut, with the record it looked at. */
export async function overrideGate(desk: Desk, ref: string, input: OverrideInput): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  const { ended, side } = ticket.snapshot.ticket
  if (ended !== null) throw new Refusal('ticket-ended', { ended })
  if (side !== null && frozen.has(side)) throw new Refusal('ticket-frozen', { side })
  if (!gateNames.includes(input.gate as GateName)) throw faulty(['/gate', `must be one of ${gateNames.join(', ')}`])
  const role = await overridingRole(desk, ticket)
  const allowed = mayOverride(ticket.snapshot, input.gate as GateName, input.part, role)
  if (!allowed.ok) throw new Refusal('override-refused', { gate: input.gate, part: input.part, why: allowed.why })
  const [record] = await addRecords(desk, ticket.snapshot.ticket.id, [
    { kind: 'override', data: { ...input, role, lookedAt: allowed.evidence.at(-1) ?? null } },
  ])
  const after = await reopen(desk, ticket.snapshot.ticket.id)
  return {
    location: `/v1/tickets/${ticket.snapshot.ticket.id}/gates`,
    body: {
      id: record!.id,
      by: desk.who.name,
      gate: shownGate(judgeGates(after.snapshot).find((gate) => gate.gate === input.gate)!),
    },
  }
}

/** A manager, or a bench signer who may check and did no work on this ticket. */
async function overridingRole(desk: Desk, ticket: Loaded): Promise<Override['role']> {
  if (desk.who.role === 'manager') return 'manager'
  if (!(await mayCheck(desk)))
    throw new Refusal('override-refused', {
      why: 'only a manager, or a final checker with the skill to check, may override',
    })
  if (isWorker(ticket.snapshot, desk.who.name)) {
    throw new Refusal('override-refused', { why: 'a worker of this ticket is not its final checker' })
  }
  return 'final-checker'
}

export async function mayCheck(desk: Desk): Promise<boolean> {
  if (desk.who.role !== 'bench' || desk.who.keyId === null) return false
  const rows = await desk.tx.$queryRaw<{ level: string }[]>`
    select distinct on (skill) level from staff_skill where staff_key_id = ${desk.who.keyId}::uuid and from_day <= ${desk.today}::date
    order by skill, from_day desc, id desc`
  return rows.some((row) => row.level === 'may-check')
}
