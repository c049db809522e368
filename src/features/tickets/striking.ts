import { Refusal } from '../../domain/refusals.ts'
import { type Ending, frozen, type SideState } from '../../domain/tickets/steps.ts'
import type { Act, Role } from '../../http/service.ts'

type Struck = { readonly kind: string; readonly data: Record<string, unknown> }

const byCounter = ['counter', 'manager'] as const
const byBench = ['bench', 'manager'] as const
const byBoth = ['counter', 'bench', 'manager'] as const
const byManager = ['manager'] as const

/** What may be struck, and by whom: each kind by those who record it. */
const strikableBy: Readonly<Record<string, readonly Role[]>> = {
  condition: byCounter,
  value: byCounter,
  'do-not': byCounter,
  contact: byCounter,
  'at-counter': byCounter,
  payment: byCounter,
  promise: byCounter,
  comeback: byBoth,
  look: byBench,
  parts: ['bench', 'stock', 'manager'],
  kit: ['bench', 'stock', 'manager'],
  closing: byBench,
  operation: byBench,
  reading: byBench,
  'readings-accepted': byBench,
  'hazard-confirmed': byBench,
  'hazard-over': byBench,
  'seals-seen': byBench,
  'water-test': byBench,
  'water-not-tested': byBench,
  'final-check': byBench,
  // with a list that took a name away the name would come back on nobody's word
  people: byManager,
  'claim-withdrawn': byManager,
  // without these a test that was passed before counts again, or less is asked of the next one
  opening: byManager,
  fitting: byManager,
  'water-agreement': byManager,
}

/** What was found wrong with a watch is struck by the manager alone: whoever found it inconvenient is not the one to. */
const foundWrong = ({ kind, data }: Struck): boolean =>
  kind === 'water-test' || kind === 'final-check'
    ? data.passed !== true
    : kind === 'look'
      ? ((data.signs as string[] | undefined) ?? []).length > 0
      : kind === 'seals-seen' && (data.seals as { condition: string }[]).some((seal) => seal.condition !== 'supple')

export const isStrikable = (kind: string): boolean => strikableBy[kind] !== undefined

/** The same at whichever door a record is struck, its own or that of the fact it told. */
export function refuseStriking(
  { who }: Pick<Act, 'who'>,
  ticket: { readonly ended: Ending | null; readonly side: SideState | null },
  record: Struck,
): void {
  if (who.role === 'manager') return
  if (ticket.ended !== null) throw new Refusal('ticket-ended', { ended: ticket.ended })
  if (ticket.side !== null && frozen.has(ticket.side)) throw new Refusal('ticket-frozen', { side: ticket.side })
  const by = foundWrong(record) ? byManager : (strikableBy[record.kind] ?? byManager)
  if (!by.includes(who.role as Role)) throw new Refusal('role-refused', { roles: by, role: who.role })
}
