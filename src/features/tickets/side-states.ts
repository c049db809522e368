import type { Day } from '../../domain/day.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { sideActors } from '../../domain/tickets/next.ts'
import { frozen, type SideState } from '../../domain/tickets/steps.ts'
import {
  type Clock,
  stepBefore,
  stepWords,
  type UnclaimedPlan,
  type UnclaimedStep,
  unclaimedPlan,
  unclaimedStanding,
} from '../../domain/tickets/unclaimed.ts'
import { gatesOnReturn } from '../../domain/tickets/walk.ts'
import type { Created } from '../../http/creating.ts'
import { dayAt } from '../../http/service.ts'
import { addRecords, calendarOf, type Desk, leaveHouse, nextAt, openTicket, reopen, sideOf } from './desk.ts'
import { askToTellInsurer } from './insurer.ts'
import { closePromiseTask } from './promise-task.ts'
import { shownGate, shownTicket } from './shown.ts'
import type { Loaded } from './snapshot.ts'

export type SideInput = {
  state: SideState
  until: Day
  reason: string
  outside?:
    | {
        specialist: string
        slip: string
        insurance: string
        abroad?: boolean | undefined
        strapRemoved?: boolean | undefined
        speciesPapers?: string | undefined
      }
    | undefined
}

/** A strap of a protected species is stopped at the border: it stays here in its bag, or goes with its papers. */
function refuseProtectedStrap({ records }: Loaded, outside: SideInput['outside']): void {
  const condition = records.findLast((record) => record.kind === 'condition')
  if (condition?.data.strapKind !== 'exotic-leather' || outside?.abroad === false) return
  if (outside?.strapRemoved === true || outside?.speciesPapers !== undefined) return
  throw new Refusal('side-state-refused', {
    why: 'The strap is of exotic leather. Take it off into its numbered bag (strapRemoved) or name its papers (speciesPapers) before the watch crosses a border; say "abroad": false where it does not.',
  })
}

/** Puts a ticket into a side state; its step stays. Somebody must move it, by a day. */
export async function enterSide(desk: Desk, ref: string, input: SideInput): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  const { id, ended, side, step } = ticket.snapshot.ticket
  if (ended !== null) throw new Refusal('ticket-ended', { ended })
  if (side !== null && frozen.has(side) && desk.who.role !== 'manager') throw new Refusal('ticket-frozen', { side })
  if (input.until < desk.today)
    throw new Refusal('side-state-refused', {
      why: 'The day by which somebody must act lies in the past; give a later one.',
    })
  if (input.state === 'unclaimed' && step !== 'ready')
    throw new Refusal('side-state-refused', { why: 'Only a watch that is ready can stand unclaimed.' })
  if (input.state === 'sent-out' && input.outside === undefined) {
    throw new Refusal('side-state-refused', {
      why: 'A watch sent out needs the specialist, the custody slip and the insurance, in "outside".',
    })
  }
  if (input.state === 'sent-out') refuseProtectedStrap(ticket, input.outside)
  // missing, dispute and evidence come over another state and leave it as it was
  const over = frozen.has(input.state) && side !== input.state ? sideOf(ticket) : null
  const [, incident] = await addRecords(desk, id, [
    { kind: 'side', data: { ...input, ...(over && { over }) } },
    ...(input.state === 'missing'
      ? [
          {
            kind: 'incident',
            data: {
              what: 'missing',
              lastPlace: ticket.rows.ticket.place,
              lastHolder: ticket.rows.ticket.holder,
              reason: input.reason,
            },
          },
        ]
      : []),
  ])
  if (incident) await askToTellInsurer(desk, { incident: incident.id, number: ticket.snapshot.ticket.number })
  await desk.tx.$executeRaw`
    update ticket set side = ${input.state}, next_actor = ${sideActors[input.state]}, next_by = ${input.until}::date, version = version + 1 where id = ${id}::uuid`
  return { status: 200, body: shownTicket(await reopen(desk, id)) }
}

/** Leaves a side state to the same step, or to the state it came over. The gates on its way in are asked anew and shown; a frozen ticket only a manager frees. */
export async function leaveSide(desk: Desk, ref: string, reason: string): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  const { id, side, step } = ticket.snapshot.ticket
  if (side === null) throw new Refusal('side-state-refused', { why: 'This ticket is in no side state.' })
  if (frozen.has(side) && desk.who.role !== 'manager') throw new Refusal('ticket-frozen', { side })
  const back = sideOf(ticket)?.over ?? null
  await addRecords(desk, id, [
    { kind: 'side', data: back ? { ...back, left: side, reason } : { state: null, left: side, reason } },
  ])
  const next = nextAt(desk, ticket, step, back)!
  await desk.tx
    .$executeRaw`update ticket set side = ${back?.state ?? null}, next_actor = ${next.actor}, next_by = ${next.by}::date, version = version + 1 where id = ${id}::uuid`
  const after = await reopen(desk, id)
  return { status: 200, body: { ...shownTicket(after), gatesNow: gatesOnReturn(after.snapshot).map(shownGate) } }
}

/** The unclaimed clock of one ticket; null where no "ready" notice of this stay was delivered. */
export function clockOf(ticket: Loaded, zone: string): Clock | null {
  const { records, snapshot, settings } = ticket
  const here = records.filter((record) => record.seq > snapshot.ticket.steppedSeq)
  if (snapshot.ticket.step !== 'ready') return null
  const deliveries = here.flatMap((record) => {
    if (record.kind !== 'contact' || record.data.about !== 'ready') return []
    const letter = ticket.rows.notices?.find((notice) => notice.record === record.id)
    // what a letter's record says is only that it was queued; it counts from the day its delivery was reported
    if (letter) return letter.deliveredAt === null || letter.returned ? [] : [letter.deliveredAt]
    return record.data.result === 'delivered' ? [record.at] : []
  })
  if (deliveries.length === 0) return null
  const deliveredAt = Math.min(...deliveries)
  const day = (at: number) => dayAt(new Date(at), zone)
  const called = here.findLast(
    (record) => record.kind === 'contact' && record.data.about === 'owner-called' && record.at >= deliveredAt,
  )
  const steps = here.filter((record) => record.kind === 'unclaimed-step')
  const registered = steps.findLast((record) => record.data.step === 'registered')
  const paused = steps
    .filter((record) => record.data.step === 'pause')
    .reduce((sum, record) => sum + Number(record.data.days), 0)
  const owed = snapshot.bill !== null && snapshot.bill.amount > (snapshot.paidTotal?.amount ?? 0)
  return {
    deliveredOn: day(deliveredAt),
    lastContactOn: called ? day(called.at) : null,
    pausedDays: paused,
    moneyOwed: owed,
    registeredOn: registered ? (registered.on as Day) : null,
    taken: steps.flatMap((record) =>
      record.data.step === 'pause' ? [] : [{ step: record.data.step as UnclaimedStep, on: record.on as Day }],
    ),
    law: settings.unclaimedLaw,
  }
}

export function planOf(
  desk: Pick<Desk, 'today' | 'zone'>,
  ticket: Loaded,
): (UnclaimedPlan & { deliveredOn: Day }) | null {
  const clock = clockOf(ticket, desk.zone)
  return clock === null
    ? null
    : { deliveredOn: clock.deliveredOn, ...unclaimedPlan(clock, desk.today, calendarOf(ticket.settings), ticket.rules) }
}

export type UnclaimedInput = {
  step: 'second-means' | 'post' | 'registered' | 'pause'
  days?: number | undefined
  words: string
  proof?: string | undefined
}

/** A watch that is missing, in dispute or evidence, or whose owner has died, is held: nobody writes, nothing is disposed of. */
function refuseHeld(ticket: Loaded): void {
  const { side } = ticket.snapshot.ticket
  if (side !== null && frozen.has(side)) throw new Refusal('ticket-frozen', { side })
  if (ticket.rows.owner.deceased)
    throw new Refusal('side-state-refused', {
      why: 'The owner has died: letters stop, and the watch is held until the heirs show their papers.',
    })
}

export async function recordUnclaimed(desk: Desk, ref: string, input: UnclaimedInput): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  if (input.step !== 'pause') refuseHeld(ticket)
  const plan = planOf(desk, ticket)
  if (plan === null)
    throw new Refusal('side-state-refused', {
      why: 'No "ready" notice of this stay was delivered, so the clock has not begun.',
    })
  const step = plan.steps.find((one) => one.step === input.step)
  if (step && step.on > desk.today)
    throw new Refusal('side-state-refused', { why: `This step is not due before ${step.on}.` })
  const taken = (clockOf(ticket, desk.zone)?.taken ?? []).map((one) => one.step)
  const before = input.step === 'pause' ? null : stepBefore(input.step, taken)
  if (before !== null)
    throw new Refusal('side-state-refused', {
      why: `Before this step comes ${stepWords[before]}, which is not on record for this stay; take it and record it first.`,
    })
  if (input.step === 'registered' && input.proof === undefined)
    throw faulty(['/proof', 'is missing: a registered letter is recorded with its proof'])
  if (input.step === 'pause' && (input.days === undefined || desk.who.role !== 'manager')) {
    throw new Refusal('side-state-refused', {
      why: 'Only a manager pauses the ninety days, and says for how many days.',
    })
  }
  const { id } = ticket.snapshot.ticket
  const [record] = await addRecords(desk, id, [{ kind: 'unclaimed-step', data: input }])
  const after = planOf(desk, await reopen(desk, id))
  // whoever acts next acts on the day of the next step; after the registered letter it is the manager
  const { on } = unclaimedStanding(after, desk.today)
  const registered = after !== null && after.after.state !== 'not-yet'
  if (ticket.snapshot.ticket.side === null)
    await desk.tx.$executeRaw`
      update ticket set next_actor = ${registered ? 'manager' : 'counter'}, next_by = ${on ?? desk.today}::date, version = version + 1 where id = ${id}::uuid`
  return { body: { id: record!.id, plan: after } }
}

export type EndingInput = { as: 'lost-and-settled' | 'disposed-of'; words: string }

/** The two other ends: settled after a loss, or disposed of under a named law. Nothing here happens by itself. */
export async function endTicket(desk: Desk, ref: string, input: EndingInput): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  const { id, ended, side } = ticket.snapshot.ticket
  if (ended !== null) throw new Refusal('ticket-ended', { ended })
  if (input.as === 'lost-and-settled' && side !== 'missing')
    throw new Refusal('side-state-refused', { why: 'Only a ticket whose watch is missing is settled as lost.' })
  let law: string | null = null
  if (input.as === 'disposed-of') {
    refuseHeld(ticket)
    const plan = planOf(desk, ticket)
    if (plan === null || plan.after.state === 'not-yet') {
      const next = plan?.next ?? plan?.steps.find((step) => step.on > desk.today)?.step
      throw new Refusal('side-state-refused', {
        why: `The lawful notices of an unclaimed watch have not all been given${next ? `; next is ${stepWords[next]}` : plan ? '' : ': none that it is ready was delivered'}. See GET …/unclaimed-plan for the days.`,
      })
    }
    if (plan.after.state === 'stop') throw new Refusal('setting-missing', { setting: 'unclaimedLaw' })
    if (desk.today <= plan.after.noStepThrough)
      throw new Refusal('side-state-refused', {
        why: `Under ${plan.after.name} no step before ${plan.after.noStepThrough} has passed.`,
      })
    law = plan.after.name
  }
  await addRecords(desk, id, [{ kind: 'ended', data: { ...input, law } }])
  await closePromiseTask(desk, ticket, `the ticket ended as ${input.as}`)
  const watchId = String(ticket.rows.watch.id)
  await desk.tx.$executeRaw`
    with over as (update ticket set ended = ${input.as}, ended_on = ${desk.today}::date, side = null, next_actor = null, next_by = null, version = version + 1 where id = ${id}::uuid)
    update watch set state = ${input.as === 'disposed-of' ? 'disposed' : 'lost'}, state_since = ${desk.today}::date where id = ${watchId}::uuid`
  await leaveHouse(desk, ticket, law === null ? 'lost, and settled' : `disposed of under ${law}`, 'nobody here')
  return { status: 200, body: shownTicket(await reopen(desk, id)) }
}
