import type { Day } from '../day.ts'
import type { Money } from '../money.ts'
import type { Tolerances } from '../readings/judge.ts'
import type { Ending, GateName, SideState, Step } from './steps.ts'

/**
 * Everything about a ticket that its gates look at, as one reading of the record. Each entry says when it was written
 * down (`seq`, one rising order for all of them), when it happened (`at`, milliseconds of UTC) and who said so.
 */
export type Mark = { readonly id: string; readonly seq: number; readonly at: number; readonly by: string }

export type View = 'dial' | 'back' | 'crown-side' | 'opposite-side' | 'lugs' | 'clasp' | 'inside-bracelet' | 'other'

export type HazardKind = 'radium' | 'may-be-radium' | 'unknown-old-lume' | 'leaking-cell' | 'water-inside' | 'other'

/** The three things that ask for the right bench before a case is opened. */
export const gatedHazards: ReadonlySet<HazardKind> = new Set([
  'radium',
  'may-be-radium',
  'unknown-old-lume',
  'leaking-cell',
  'water-inside',
])

export const radiumHazards: ReadonlySet<HazardKind> = new Set(['radium', 'may-be-radium', 'unknown-old-lume'])

export type TestKind = 'vacuum-dry' | 'overpressure-dry' | 'overpressure-wet' | 'immersion' | 'condensation'

export type OpeningKind = 'case-opened' | 'seals-replaced' | 'cell-fitted' | 'cell-removed' | 'movement-fitted'

export const sealConditions = ['supple', 'set', 'flattened', 'hard', 'cracked', 'swollen', 'missing'] as const
export type SealCondition = (typeof sealConditions)[number]

export type WaterClaim = 'none' | 'plain' | 'rated' | 'unknown'

export type VersionLine = {
  readonly id: string
  readonly what: string
  /** a part, which has to be on hand and in the kit */
  readonly part: boolean
  readonly priced: boolean
  readonly taxClassKnown: boolean
  readonly opensCase: boolean
  readonly pressureTest: boolean
  /** The line that cannot be done without this one. */
  readonly requiredBy: string | null
}

export type Version = Mark & {
  readonly n: number
  readonly total: Money
  readonly validUntil: Day | null
  readonly lines: readonly VersionLine[]
}

export type Answer = Mark & {
  readonly version: number
  readonly line: string
  readonly answer: 'yes' | 'no'
  readonly on: Day
  readonly entitled: boolean
  readonly how: 'in-person' | 'signed' | 'e-mail' | 'phone'
  /** Total of the yes lines of this answer, by the version's own rounding. */
  readonly total: Money
  readonly confirmedInWriting: boolean
}

export type Readings = {
  readonly kind: 'mechanical' | 'quartz'
  readonly list: readonly (Mark & {
    readonly wind: 'full' | 'after-24' | 'other' | 'none'
    readonly position: string | null
    readonly hoursSinceWound: number | null
    readonly values: Readonly<Record<string, number | null>>
    readonly toolInDate: boolean
    readonly toolDoubtful: boolean
    /** the limits of the day it was taken; what counts now where none were kept with it */
    readonly limits?: Tolerances
  })[]
}

export type Snapshot = {
  readonly now: number
  readonly today: Day
  readonly ticket: {
    readonly id: string
    readonly number: string
    readonly step: Step
    readonly side: SideState | null
    readonly ended: Ending | null
    readonly undone: boolean
    readonly comebackOf: string | null
    /** Order of the record that brought it into the present step. */
    readonly steppedSeq: number
  }
  readonly owner: Mark & {
    readonly known: boolean
    readonly reach: 'yes' | 'no' | 'will-call-in'
    readonly deceased: boolean
  }
  readonly watch: Mark & {
    readonly serial: string | null
    readonly sizeMm: number | null
    readonly claim: WaterClaim
    readonly lumeMayBeRadium: boolean
  }
  readonly pictures: readonly (Mark & { readonly view: View })[]
  /** the same views taken again at the final check: a new scratch shows between the two */
  readonly finalPictures: readonly (Mark & { readonly view: View })[]
  readonly condition:
    | (Mark & {
        readonly marks: number | null
        readonly clasp: 'there' | 'not-there'
        readonly agreed: 'owner' | 'opened-before-witness' | 'opened-before-camera' | null
      })
    | null
  readonly declared: (Mark & { readonly value: Money | null }) | null
  readonly coverArranged: Mark | null
  readonly custody: readonly (Mark & {
    readonly from: string | null
    readonly to: string | null
    readonly holder: string | null
  })[]
  readonly hazards: readonly (Mark & { readonly kind: HazardKind; readonly over: boolean })[]
  /** The handling note was shown and confirmed for work at a bench. */
  readonly hazardConfirmed: (Mark & { readonly benchMay: boolean }) | null
  readonly versions: readonly Version[]
  readonly answers: readonly Answer[]
  readonly revoked: Mark | null
  readonly ceiling: (Mark & { readonly amount: Money }) | null
  readonly parts: readonly (Mark & {
    /** the line of the estimate it is for, where that was said */
    readonly line: string | null
    readonly what: string
    readonly onHand: boolean
    readonly special: boolean
    readonly deposit: 'not-asked' | 'awaited' | 'received'
    readonly expectedOn: Day | null
  })[]
  readonly kit:
    | (Mark & {
        /** lines of the estimate whose part lies in it */
        readonly lines: readonly string[]
        readonly designationRight: boolean
        /** Grade of the cell on the fitting day; none where no cell is fitted. */
        readonly cell: 'none' | 'full' | 'short' | 'not-to-be-fitted'
        readonly shortLifeNote: boolean
        readonly gasketsInLife: boolean
        readonly toolsInDate: boolean
        readonly benchHasSkill: boolean
      })
    | null
  readonly work: readonly (Mark & {
    readonly line: string | null
    readonly state: 'done' | 'struck'
    readonly reason: string | null
    readonly endedAt: number
  })[]
  readonly fitted: readonly (Mark & {
    readonly what: string
    readonly lotKnown: boolean
    readonly because: string | null
    /** its lot was called back by the supplier, and nothing was fitted in its place since */
    readonly recalled: boolean
  })[]
  readonly openings: readonly (Mark & { readonly kind: OpeningKind })[]
  readonly closings: readonly Mark[]
  /** What was seen of the seals and which were replaced, by position; `seen` null: replaced. */
  readonly seals: readonly (Mark & { readonly position: string; readonly seen: SealCondition | null })[]
  readonly water: {
    readonly needed: readonly TestKind[]
    readonly agreedBar: number | null
    readonly withdrawn: (Mark & { readonly ownerSigned: boolean; readonly managerSigned: boolean }) | null
    readonly tests: readonly (Mark & {
      readonly kind: TestKind
      readonly passed: boolean
      readonly bar: number | null
      /** The test was made as the kind asks (settled, long enough); otherwise it opens nothing. */
      readonly counts: boolean
      readonly toolInDate: boolean
      readonly toolDoubtful: boolean
    })[]
  }
  readonly observation: {
    /** A class of work was named, at the look; without one nobody knows what it asks for. */
    readonly classKnown: boolean
    readonly classSaid: Mark | null
    /** A complete service was done, or another movement fitted. */
    readonly movementWorked: boolean
    /** What the class of work asks for; null: nothing. */
    readonly asked: ObservationRule | null
    readonly started: { readonly at: number; readonly seq: number } | null
    readonly readings: Readings
    readonly tolerances: Tolerances
    readonly powerReserveHours: number | null
    readonly accepted: (Mark & { readonly reason: string }) | null
  }
  readonly finalCheck: (Mark & { readonly passed: boolean; readonly on: Day; readonly mayCheck: boolean }) | null
  /** Names of those who did an operation, opening, fitting or test on this ticket, struck or not, and the last day they did. */
  readonly workers: ReadonlyMap<string, Day>
  /** Strikes of records, by the kind of what they struck: each bears on the gates that look at that kind. */
  readonly struck: readonly { readonly seq: number; readonly kind: string }[]
  readonly notices: readonly (Mark & {
    readonly kind: 'ready'
    readonly state: 'queued' | 'sent' | 'delivered' | 'failed'
  })[]
  readonly atCounter: Mark | null
  readonly release:
    | (Mark & {
        readonly tagNumber: string | null
        readonly watchMatches: boolean
        readonly picturesMatch: boolean
        readonly collectorEntitled: boolean
        readonly slip: 'shown' | 'lost' | 'not-shown'
        readonly twinAnswered: boolean
        readonly looseReturned: readonly string[]
        readonly papersShown: boolean
      })
    | null
  readonly twins: number
  readonly loose: readonly string[]
  readonly bill: Money | null
  readonly paid: readonly Mark[]
  readonly paidTotal: Money | null
  readonly creditAllowed: boolean
  readonly comeback:
    | (Mark & { readonly linesDecided: number; readonly linesAsked: number; readonly reasonsGiven: boolean })
    | null
  readonly overrides: readonly Override[]
  readonly settings: {
    /** House line up to which a manager may stand for a missing condition record. */
    readonly conditionLine: Money | null
    readonly coverPerItem: Money | null
    readonly phoneYesUpTo: Money | null
    readonly radiationRules: boolean
    readonly depositForSpecialOrders: boolean
    readonly sameCheckerNextDay: boolean
  }
}

export type Override = Mark & {
  readonly gate: GateName
  readonly part: string
  readonly reason: string
  readonly role: 'manager' | 'final-checker'
  /** The record that was looked at when it was given. */
  readonly lookedAt: string | null
}

export type ObservationRule =
  | {
      readonly kind: 'mechanical'
      readonly positions: readonly string[]
      readonly winds: readonly ('full' | 'after-24')[]
      readonly hours: number | null
    }
  | { readonly kind: 'quartz'; readonly values: readonly string[]; readonly hours: number | null }

/** Later by the instant it happened, then by the order it was written down. */
export const isAfter = (a: { at: number; seq: number }, b: { at: number; seq: number }): boolean =>
  a.at > b.at || (a.at === b.at && a.seq > b.seq)

export function latest<T extends { at: number; seq: number }>(list: readonly T[]): T | null {
  let found: T | null = null
  for (const item of list) if (found === null || isAfter(item, found)) found = item
  return found
}
