/** Where a ticket stands. The order of the list is the way through the house; `return-undone` stands beside it. */
export const steps = [
  'booked-in',
  'awaiting-look',
  'looked-over',
  'priced',
  'awaiting-yes',
  'return-undone',
  'awaiting-parts',
  'ready-for-bench',
  'on-the-bench',
  'closed',
  'under-observation',
  'final-check',
  'ready',
  'handed-over',
] as const
export type Step = (typeof steps)[number]

export const sideStates = ['on-hold', 'sent-out', 'unclaimed', 'dispute', 'missing', 'evidence'] as const
export type SideState = (typeof sideStates)[number]

/** How a ticket ends: an ended ticket needs no next actor. */
export const endings = ['handed-over', 'lost-and-settled', 'disposed-of'] as const
export type Ending = (typeof endings)[number]

export const gateNames = [
  'G1',
  'G2',
  'G3',
  'G4',
  'G5',
  'G6',
  'G7',
  'G8',
  'G9',
  'G10',
  'G11',
  'G12',
  'G13',
  'G14',
  'G15',
  'G16',
] as const
export type GateName = (typeof gateNames)[number]

export const gateTitles: Readonly<Record<GateName, string>> = {
  G1: 'identity',
  G2: 'condition',
  G3: 'value',
  G4: 'custody',
  G5: 'hazard',
  G6: 'price',
  G7: 'the yes',
  G8: 'parts',
  G9: 'kit',
  G10: 'done',
  G11: 'water',
  G12: 'keeps time',
  G13: 'second pair of eyes',
  G14: 'told',
  G15: 'hand-over',
  G16: 'comeback',
}

export type Move = {
  readonly from: Step
  readonly to: Step
  readonly gates: readonly GateName[]
  /** The move has to say why. */
  readonly reason: boolean
  /** A way back or aside; the rest are the way through the house and may be walked in one call. */
  readonly back: boolean
}

const forward = (from: Step, to: Step, ...gates: GateName[]): Move => ({
  from,
  to,
  gates: [...gates, 'G4'],
  reason: false,
  back: false,
})
const withReason = (from: Step, to: Step): Move => ({ from, to, gates: ['G4'], reason: true, back: true })

/**
 * Every move there is. Each also asks G4. The last one, to handed-over, asks all gates again on one snapshot; what it
 * leaves out for a watch that goes back undone is in `gatesOf`.
 */
export const moves: readonly Move[] = [
  forward('booked-in', 'awaiting-look', 'G1', 'G2', 'G3'),
  forward('awaiting-look', 'looked-over', 'G5'),
  forward('looked-over', 'priced'),
  forward('priced', 'awaiting-yes', 'G6'),
  forward('awaiting-yes', 'awaiting-parts', 'G7'),
  forward('awaiting-yes', 'ready-for-bench', 'G7'),
  forward('awaiting-parts', 'ready-for-bench', 'G8'),
  forward('ready-for-bench', 'on-the-bench', 'G9'),
  forward('on-the-bench', 'closed', 'G10'),
  forward('closed', 'under-observation', 'G11'),
  forward('under-observation', 'final-check', 'G12'),
  forward('final-check', 'ready', 'G13'),
  forward('ready', 'handed-over', 'G1', 'G2', 'G3', 'G5', 'G7', 'G10', 'G11', 'G12', 'G13', 'G14', 'G15'),
  withReason('awaiting-look', 'return-undone'),
  withReason('looked-over', 'return-undone'),
  withReason('awaiting-yes', 'return-undone'),
  withReason('awaiting-parts', 'return-undone'),
  withReason('ready-for-bench', 'return-undone'),
  withReason('on-the-bench', 'return-undone'),
  forward('return-undone', 'ready', 'G11', 'G13'),
  withReason('awaiting-parts', 'priced'),
  withReason('ready-for-bench', 'priced'),
  withReason('on-the-bench', 'priced'),
  withReason('closed', 'on-the-bench'),
  withReason('under-observation', 'on-the-bench'),
  withReason('final-check', 'on-the-bench'),
  withReason('ready', 'on-the-bench'),
]

const moveByEnds = new Map(moves.map((move) => [`${move.from}>${move.to}`, move]))

export const moveBetween = (from: Step, to: Step): Move | null => moveByEnds.get(`${from}>${to}`) ?? null

export const movesFrom = (from: Step): readonly Move[] => moves.filter((move) => move.from === from)

const notAskedWhenUndone: ReadonlySet<GateName> = new Set(['G7', 'G10', 'G12'])

/**
 * The gates that a move asks of one ticket. A watch that goes back undone is not asked for the yes, the work and the
 * readings at the hand-over; one that came back under an earlier ticket is asked G16 before it is priced.
 */
export function gatesOf(
  move: Move,
  ticket: { readonly undone: boolean; readonly comeback: boolean },
): readonly GateName[] {
  if (move.to === 'handed-over' && ticket.undone) return move.gates.filter((gate) => !notAskedWhenUndone.has(gate))
  if (move.from === 'looked-over' && move.to === 'priced' && ticket.comeback) return [...move.gates, 'G16']
  return move.gates
}

/**
 * The moves between two steps that one call may walk through: forward only, never through `return-undone`, and past the
 * wait for parts only where parts are awaited. Null where the target does not lie ahead.
 */
export function wayBetween(from: Step, to: Step, partsAwaited: boolean): readonly Move[] | null {
  const direct = moveBetween(from, to)
  if (direct) return [direct]
  const way: Move[] = []
  let at = from
  while (at !== to) {
    const next = movesFrom(at).find(
      (move) =>
        !move.back &&
        (move.from !== 'awaiting-yes' ||
          move.to === (partsAwaited || to === 'awaiting-parts' ? 'awaiting-parts' : 'ready-for-bench')),
    )
    if (!next) return null
    way.push(next)
    at = next.to
  }
  return way
}

/** States in which nothing moves but the watch's place and the incident itself. */
export const frozen: ReadonlySet<SideState> = new Set(['missing', 'evidence', 'dispute'])

/** Records of work, as far as the step decides whether they are taken. */
export const workKinds = [
  'opening',
  'closing',
  'sealing',
  'fitting',
  'operation',
  'test',
  'failed-test',
  'reading',
] as const
export type WorkKind = (typeof workKinds)[number]

export type Acceptance = 'taken' | 'back-to-the-bench' | 'refused'

const afterTheBench: ReadonlySet<Step> = new Set(['closed', 'under-observation', 'final-check', 'ready'])
const looking: ReadonlySet<Step> = new Set([
  'looked-over',
  'priced',
  'awaiting-yes',
  'awaiting-parts',
  'ready-for-bench',
])

/**
 * Whether a record of work is taken at a step. From closing to collecting an opening, a failed test or work takes the
 * ticket back to the bench in the same transaction; a watch that goes back undone is only closed, sealed and tested.
 */
export function acceptanceOf(step: Step, side: SideState | null, kind: WorkKind): Acceptance {
  if (side !== null && frozen.has(side)) return 'refused'
  if (step === 'on-the-bench') return 'taken'
  if (afterTheBench.has(step)) {
    return kind === 'test' || kind === 'reading' || kind === 'closing' ? 'taken' : 'back-to-the-bench'
  }
  if (step === 'return-undone') {
    return kind === 'closing' || kind === 'sealing' || kind === 'test' || kind === 'failed-test' ? 'taken' : 'refused'
  }
  if (looking.has(step)) return kind === 'operation' || kind === 'fitting' || kind === 'sealing' ? 'refused' : 'taken'
  return 'refused'
}
