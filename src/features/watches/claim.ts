import type { ClaimMark } from '../../domain/reckoning/facts.ts'
import { Refusal } from '../../domain/refusals.ts'
import { judgeGate } from '../../domain/tickets/gates.ts'
import type { Act } from '../../http/service.ts'
import { readRows } from '../tickets/reading.ts'
import { load } from '../tickets/snapshot.ts'

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
