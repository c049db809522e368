import type { Day, PartialDay } from '../day.ts'

/**
 * The facts about one watch, as they are sent and stored. Everything that is not required may be left out or null,
 * which is the same: unknown, or an empty list.
 */
export interface Facts {
  readonly watch: WatchFacts
  readonly wear?: WearFacts | null
  readonly guidance?: readonly GuidanceFact[] | null
  readonly notes?: readonly NoteFact[] | null
  readonly history?: readonly HistoryEvent[] | null
}

export const obligationKinds = ['complete-service', 'water-check', 'cell-change', 'seals'] as const
/** What a watch can be due for; answers keep this order. */
export type ObligationKind = (typeof obligationKinds)[number]

export const watchKinds = [
  'hand-wound',
  'self-winding',
  'quartz',
  'rechargeable-quartz',
  'electric',
  'spring-quartz',
] as const
export type WatchKind = (typeof watchKinds)[number]

export const claimMarks = ['none', 'plain', 'rated', 'unknown'] as const
export type ClaimMark = (typeof claimMarks)[number]

export interface WatchFacts {
  readonly kind: WatchKind
  /** A/h */
  readonly beatsPerHour?: number | null
  /** `bar` only where marked is rated; rated without bar counts as a low rating. */
  readonly waterClaim?: { readonly marked?: ClaimMark | null; readonly bar?: number | null } | null
  readonly made?: PartialDay | null
  readonly sold?: PartialDay | null
  /** The later of the day it was first seen and the day its present owner became known. */
  readonly firstSeen: Day
}

export const yesNoWords = ['yes', 'no', 'unknown'] as const
export type YesNo = (typeof yesNoWords)[number]

export const waterUses = ['never', 'now-and-then', 'often', 'diving', 'in-water', 'unknown'] as const
export type WaterUse = (typeof waterUses)[number]

export interface WearFacts {
  readonly daily?: YesNo | null
  readonly vibration?: YesNo | null
  readonly heat?: YesNo | null
  readonly cold?: YesNo | null
  readonly water?: WaterUse | null
  readonly salt?: YesNo | null
  readonly chlorine?: YesNo | null
  readonly hotWater?: YesNo | null
  /** The day these facts last changed, not the day they were last confirmed. */
  readonly learned?: Day | null
}

/** What the maker says for this model or calibre; whole months, 1–240, upToMonths not below months. */
export interface GuidanceFact {
  readonly obligation: ObligationKind
  readonly months: number
  readonly upToMonths?: number | null
  readonly inForceFrom: Day
  readonly learned?: Day | null
}

/** A watchmaker's note on this watch: bring it back in so many months. */
export interface NoteFact {
  readonly obligation: ObligationKind
  readonly months: number
  readonly on: Day
}

export const sources = ['own-record', 'paper', 'owner-word'] as const
export type Source = (typeof sources)[number]

export const movementConditions = ['new', 'freshly-serviced', 'unknown'] as const
export type MovementCondition = (typeof movementConditions)[number]

export const signs = [
  'stopped',
  'runs-down-early',
  'low-amplitude',
  'loses-time',
  'high-consumption',
  'high-working-voltage',
  'water-inside',
  'heavy-blow',
  'crown-knock',
  'hot-bath',
  'solvent',
  'cell-dead',
  'cell-leaking',
  'cell-end-of-life',
] as const
export type Sign = (typeof signs)[number]

interface Happened {
  readonly on: PartialDay
  readonly source: Source
  readonly learned?: Day | null
}

export interface PlainEvent extends Happened {
  readonly event: 'complete-service' | 'water-claim-withdrawn' | 'case-opened' | 'seals-replaced' | 'cell-removed'
}
export interface MovementFitted extends Happened {
  readonly event: 'movement-fitted'
  readonly condition?: MovementCondition | null
}
export interface WaterTest extends Happened {
  readonly event: 'water-test'
  readonly passed: boolean
  readonly bar?: number | null
}
export interface CellFitted extends Happened {
  readonly event: 'cell-fitted'
  readonly bestBefore?: PartialDay | null
  readonly capacityMah?: number | null
  readonly consumptionMicroamps?: number | null
}
export interface SignSeen extends Happened {
  readonly event: 'sign'
  readonly sign: Sign
}

/** What happened to the watch; the place in the list settles what fell on one day. */
export type HistoryEvent = PlainEvent | MovementFitted | WaterTest | CellFitted | SignSeen
export type EventName = HistoryEvent['event']
