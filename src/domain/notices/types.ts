import type { Day } from '../day.ts'
import type { BaseFrom, ObligationDates, Rule, Standing } from '../reckoning/answer.ts'
import type { ObligationKind } from '../reckoning/facts.ts'

/**
 * What goes into the decision which letters go, and the plan of a letter that comes out of it. The texts are rendered
 * from the plan alone, plus what is on file of the owner and the watches named in it. All days are days of the centre.
 */

/** What an item of a letter can be about. */
export type NoticeKind = ObligationKind | 'guarantee'
/** The kinds an owner is asked about; seals and guarantee count as service. */
export type ChoiceKind = 'complete-service' | 'water-check' | 'cell-change'

/**
 * `1`, `2`, `3`: the stages of a round. `assess`: the one letter of an item to be assessed. `after-refusal`: the one
 * letter after a refusal has run out. Any of these with `/address-2`, `/address-3` …: the same stage once more, to a new
 * address, because the letter came back. `note`: the guarantee note. `moved/<day>`: the sentence that a date moved later.
 */
export type Stage = string

/** How many letters of the running round went out before this one: the text is chosen by this and by the standing. */
export type WentOut = 'none' | 'one' | 'more'

// ---------------------------------------------------------------- the plan of a letter

/** The plan of one letter to one owner. */
export interface LetterPlan {
  /** to whom: of merged records the kept one */
  readonly ownerId: string
  readonly language: string
  readonly runOn: Day
  /** "please come by": the later of a week from the run day and the earliest due day in the letter */
  readonly comeBy: Day
  /** in the order of the letter */
  readonly parts: readonly LetterPart[]
  /** false where the letter holds nothing but what stands outside the thirty days: it then does not start them */
  readonly reminder: boolean
  /** a letter about a recalled piece and nothing else: its watches, and whether the lot is on record */
  readonly recall?: {
    readonly what?: 'cell' | 'gasket' | 'part'
    readonly watches: readonly { watchId: string; certainty: 'fitted' | 'possible' }[]
  }
  /** a letter that a watch can be collected and nothing else; `undone`: it goes back without the work */
  readonly ready?: {
    readonly ticketId: string
    readonly number: string
    readonly watchId: string
    readonly undone: boolean
    /** the final check was made by somebody who did no work on it */
    readonly checkedByAnother?: boolean
    readonly owed: { readonly amount: number; readonly currency: string } | null
  }
}

export type LetterPart = DuePart | KeepDryPart | MovedLaterPart | GuaranteePart

/** An obligation the owner is written to about. */
export interface DuePart {
  readonly part: 'due'
  readonly watchId: string
  /** the owner record that holds the watch: of merged records not always the one written to */
  readonly recordId: string
  readonly kind: ObligationKind
  readonly rule: Rule
  readonly standing: Standing
  readonly cycle: string
  /** run day of the first letter of the round */
  readonly round: Day
  readonly stage: Stage
  /** false where this stage was booked already, alone: the item is named in the letter, no key is taken */
  readonly books: boolean
  /** stages passed over: booked as skipped with this letter */
  readonly skips: readonly Stage[]
  /** the due day letters name and count from */
  readonly dueOn: Day
  /** the due day of the reckoning; differs where fairness moved the day for letters */
  readonly reckonedDueOn: Day
  readonly baseOn: Day | null
  readonly baseFrom: BaseFrom
  readonly months: number | null
  /** the kind (of the same watch) whose visit covers this one: one visit, one price; null where it stands alone */
  readonly foldedUnder: ObligationKind | null
  /** true where it swallows others or is swallowed */
  readonly bundled: boolean
  readonly wentOut: WentOut
  /** our book is unsure of the base (the fourteen days of doubt are over): careful words */
  readonly unsure: boolean
}

/** "Keep it dry": no water claim, or not resistant, yet used in water. In every letter until acknowledged. */
export interface KeepDryPart {
  readonly part: 'keep-dry'
  readonly watchId: string
}

/** One short sentence: an earlier letter named `toldDueOn`; the day is now `dueOn`, later. */
export interface MovedLaterPart {
  readonly part: 'moved-later'
  readonly watchId: string
  readonly recordId: string
  readonly kind: ObligationKind
  readonly cycle: string
  readonly round: Day
  readonly stage: Stage
  readonly toldDueOn: Day
  readonly dueOn: Day
}

/** "Anything not right, tell us now": the guarantee ends soon. */
export interface GuaranteePart {
  readonly part: 'guarantee'
  readonly watchId: string
  readonly recordId: string
  readonly kind: 'guarantee'
  readonly cycle: string
  readonly round: Day
  readonly stage: Stage
  /** last day, inclusive */
  readonly lastDay: Day
}

// ---------------------------------------------------------------- why a letter does not go

/** In the order of the checks: person, right person, watch, obligation, means, rhythm, doubt. */
export type WithholdingReason =
  | 'owner-deceased'
  | 'owner-erased'
  | 'letters-refused'
  | 'not-asked'
  | 'not-asked-rule-missing'
  | 'lawful-basis-missing'
  | 'owner-in-dispute'
  | 'owner-blocked'
  | 'owner-unknown'
  | 'watch-in-house'
  | 'watch-lost'
  | 'watch-stolen'
  | 'watch-disposed'
  | 'watch-beyond-repair'
  | 'watch-displayed'
  | 'cell-removed'
  | 'appointment'
  | 'declined'
  | 'no-address'
  | 'mail-returned'
  | 'thirty-days'
  | 'year-full'
  | 'base-in-doubt'
  | 'doubtful-pair'

/** What did not go, and every reason why not. */
export interface WithheldItem {
  readonly recordId: string | null
  readonly watchId: string
  readonly kind: NoticeKind
  readonly cycle: string
  readonly stage: Stage
  readonly reasons: readonly WithholdingReason[]
}

// ---------------------------------------------------------------- what the decision is made from

/** One owner with everything a decision needs, all records merged into one taken together. */
export interface OwnerState {
  /** the kept record; null where the present owner is unknown */
  readonly ownerId: string | null
  readonly language: string
  readonly deceased: boolean
  readonly erased: boolean
  readonly lawfulBasisMissing: boolean
  readonly inDispute: boolean
  readonly blocked: boolean
  readonly choices: Readonly<Record<ChoiceKind, 'yes' | 'no' | 'not-asked'>>
  readonly hasAddress: boolean
  /** a letter came back and no newer address is on file */
  readonly mailReturned: boolean
  readonly hasPhone: boolean
  /** run days (of released ones: the day of release) of the reminders whose key is taken, of the last thirteen months at least */
  readonly reminderDays: readonly Day[]
  readonly lastTicketClosedOn: Day | null
  readonly watches: readonly WatchState[]
}

export interface WatchState {
  readonly watchId: string
  readonly recordId: string | null
  /** in-use | stored-running | stored-cell-removed | displayed | lost | stolen | disposed | beyond-repair */
  readonly state: string
  readonly inHouse: boolean
  /** the record holding the watch looks like another, older record of the same person */
  readonly doubtfulPair: boolean
  /** used in water without a claim, or no longer resistant, and not acknowledged */
  readonly keepDry: boolean
  readonly obligations: readonly ObligationState[]
  readonly guarantees: readonly GuaranteeState[]
}

export interface ObligationState extends ObligationDates {
  readonly cycle: string
  /** by the windows, counted from noticesDueOn; empty for seals and for what is to be assessed */
  readonly letterDays: readonly Day[]
  /** the base is under query: dated in the future, or contradictory */
  readonly doubtful: boolean
  /** first night it was held for doubt alone, in this cycle */
  readonly heldSince: Day | null
  /** the task to call about a cell's sign: null where there is none */
  readonly call: 'open' | 'done' | null
  readonly declinedOn: Day | null
  readonly appointmentOn: Day | null
  /** what was booked for this watch, kind and cycle, keys taken only, in the order booked */
  readonly booked: readonly BookedStage[]
}

export interface BookedStage {
  readonly stage: Stage
  readonly round: Day
  readonly runOn: Day
  /** the due day the letter named */
  readonly dueOn: Day
  readonly booked: 'letter' | 'skipped' | 'rider'
  readonly bundled: boolean
  /** came back, and an address recorded since then is on file */
  readonly returned: boolean
}

export interface GuaranteeState {
  /** names the hand-over and its last day */
  readonly cycle: string
  readonly lastDay: Day
  readonly booked: readonly BookedStage[]
}

// ---------------------------------------------------------------- what comes out

export interface NextNotice {
  readonly watchId: string
  readonly kind: ObligationKind
  /** the earliest coming day on which the item must be looked at again; null where only a changed fact can change it */
  readonly nextNoticeOn: Day | null
}

export interface Decision {
  readonly letter: LetterPlan | null
  readonly withheld: readonly WithheldItem[]
  readonly next: readonly NextNotice[]
}
