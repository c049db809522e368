import { type GateAnswer, judgeGate } from './gates.ts'
import type { Snapshot } from './snapshot.ts'
import { frozen, gatesOf, type Move, moveBetween, movesFrom, type Step, wayBetween } from './steps.ts'

/** What stands in the way of a move, or the moves to make. Nothing is made unless all of it may be made. */
export type Decision =
  | { readonly ok: true; readonly moves: readonly Move[]; readonly gates: readonly GateAnswer[] }
  | { readonly ok: false; readonly fault: 'no-such-move'; readonly possible: readonly Step[] }
  | { readonly ok: false; readonly fault: 'ended' | 'frozen' | 'reason-missing' }
  | ({ readonly ok: false; readonly fault: 'gate-shut'; readonly alsoShut: readonly ShutGate[] } & ShutGate)

/** A shut gate and the move that first meets it. */
export type ShutGate = { readonly gate: GateAnswer; readonly move: Move }

/**
 * Decides a move, or the walk to a step further on ("while you wait"), on one snapshot. A walk is all or nothing; the
 * refusal names the first gate that is shut, and with it every other one on the way. From a ticket that is missing, in dispute or kept as evidence nothing moves.
 */
export function decideMove(ticket: Snapshot, to: Step, reason: string | null): Decision {
  const { step, side, ended, undone, comebackOf } = ticket.ticket
  if (ended !== null || step === 'handed-over') return { ok: false, fault: 'ended' }
  if (side !== null && frozen.has(side)) return { ok: false, fault: 'frozen' }
  const way = wayBetween(
    step,
    to,
    ticket.parts.some((part) => !part.onHand),
  )
  if (way === null || way.length === 0)
    return { ok: false, fault: 'no-such-move', possible: movesFrom(step).map((m) => m.to) }
  if (way.some((move) => move.reason) && (reason ?? '').trim() === '') return { ok: false, fault: 'reason-missing' }
  const asked = new Map<string, GateAnswer>()
  const shut: ShutGate[] = []
  for (const move of way) {
    for (const gate of gatesOf(move, {
      undone: undone || move.to === 'return-undone',
      comeback: comebackOf !== null,
    })) {
      if (asked.has(gate)) continue
      const answer = judgeGate(gate, ticket)
      asked.set(gate, answer)
      if (answer.state === 'shut') shut.push({ gate: answer, move })
    }
  }
  const [first, ...alsoShut] = shut
  if (first) return { ok: false, fault: 'gate-shut', ...first, alsoShut }
  return { ok: true, moves: way, gates: [...asked.values()] }
}

/** Leaving a side state returns to the same step; its way in is asked again, so a gate that shut meanwhile shows. */
export function gatesOnReturn(ticket: Snapshot): readonly GateAnswer[] {
  const waysIn = wayInto(ticket.ticket.step)
  const names = new Set(
    waysIn.flatMap((move) =>
      gatesOf(move, { undone: ticket.ticket.undone, comeback: ticket.ticket.comebackOf !== null }),
    ),
  )
  return [...names].map((gate) => judgeGate(gate, ticket))
}

const lastForward: Partial<Record<Step, Step>> = {
  'awaiting-look': 'booked-in',
  'looked-over': 'awaiting-look',
  priced: 'looked-over',
  'awaiting-yes': 'priced',
  'awaiting-parts': 'awaiting-yes',
  'ready-for-bench': 'awaiting-yes',
  'on-the-bench': 'ready-for-bench',
  closed: 'on-the-bench',
  'under-observation': 'closed',
  'final-check': 'under-observation',
  ready: 'final-check',
}

function wayInto(step: Step): readonly Move[] {
  const from = lastForward[step]
  const move = from === undefined ? null : moveBetween(from, step)
  return move ? [move] : []
}
