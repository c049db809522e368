import type { ClaimMark } from '../../domain/reckoning/facts.ts'
import { Refusal } from '../../domain/refusals.ts'
import { serialKey } from '../../domain/searching.ts'
import { judgeGate } from '../../domain/tickets/gates.ts'
import type { Act } from '../../http/service.ts'
import { readRows } from '../tickets/reading.ts'
import { load, lumeMayBeRadium } from '../tickets/snapshot.ts'

type Claim = { marked: string; bar: number | null }

/** How much a mark promises, bar; a plain mark counts as two, and nobody knows how much an unknown one does. */
const promise = ({ marked, bar }: Claim): number =>
  marked === 'none' ? 0 : marked === 'plain' ? 2 : marked === 'rated' ? (bar ?? 2) : Number.POSITIVE_INFINITY

/**
 * While a watch stands here opened and not tested, its claim is what the test is made for: only a manager makes less of
 * it, and says why. The edit keeps what the mark was before.
 */
export async function refuseLesserClaim(
  act: Act,
  watchId: string,
  before: Claim,
  after: { marked: ClaimMark; bar?: number | undefined },
  reason: string | undefined,
): Promise<void> {
  if (promise({ marked: after.marked, bar: after.bar ?? null }) >= promise(before)) return
  const ticket = await act.tx.ticket.findFirst({ where: { watchId, ended: null }, select: { id: true, number: true } })
  const rows = ticket && (await readRows(act.tx, ticket.id, act.today))
  if (!ticket || !rows) return
  // the currency matters to no gate of the water
  const { snapshot } = load(rows, act.now.getTime(), act.today, '')
  if (judgeGate('G11', snapshot).state !== 'shut') return
  if (act.who.role !== 'manager' || reason === undefined)
    throw new Refusal('claim-under-test', { number: ticket.number })
}

type Marks = { luminous: string; made: string | null; serial: string | null }

/**
 * While a watch is in the house its gates look at its lume and its serial: only a manager makes it harmless on paper, or
 * another watch than was booked in.
 */
export async function refuseOtherWatch(act: Act, watchId: string, before: Marks, after: Marks): Promise<void> {
  if (act.who.role === 'manager') return
  const ticket = await act.tx.ticket.findFirst({ where: { watchId, ended: null }, select: { id: true } })
  const rows = ticket && (await readRows(act.tx, ticket.id, act.today))
  if (!rows) return
  const { radiumUntilYear } = load(rows, act.now.getTime(), act.today, '').rules
  const mayBe = ({ luminous, made }: Marks) => lumeMayBeRadium(luminous, made, radiumUntilYear)
  const other =
    before.serial !== null && (after.serial === null || serialKey(after.serial) !== serialKey(before.serial))
  if (other || (mayBe(before) && !mayBe(after)))
    throw new Refusal('role-refused', { roles: ['manager'], role: act.who.role })
}
