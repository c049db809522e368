import type { PartialDay } from '../../domain/day.ts'
import type { WentOut } from '../../domain/notices/types.ts'
import type { EventRule, ReckonedRule, Standing } from '../../domain/reckoning/answer.ts'
import type { ObligationKind, Source } from '../../domain/reckoning/facts.ts'

/**
 * Every sentence a letter or an owner's page can need. Each language is one record of this type, so that a missing
 * sentence does not compile. Days, spans and amounts come in already written in the language.
 *
 * What no sentence may do: threaten, hurry without cause, count down, state a guess as a fact, promise how long a watch
 * or its water resistance will last, or name what the watch is worth.
 */

/** The changes of any text count as a new version; it is kept with every letter. */
export const TEXT_VERSION = '4'

export const languages = ['en', 'de', 'fr', 'es', 'pt'] as const
export type Language = (typeof languages)[number]

/** The standings a letter can speak of. */
export type SpokenStanding = Exclude<Standing, 'not-yet' | 'asked-enough'>

export type Unit = 'minutes' | 'days' | 'weeks'

export type WhyOf = 'service-mechanical' | 'service-quartz' | 'water-check' | 'cell-change' | 'seals'

export type Caution =
  | 'keep-dry'
  | 'no-water-until-tested'
  | 'radium'
  | 'tritium'
  | 'cell-and-children'
  | 'leaking-cell'
  | 'rechargeable'

/** What an owner can tell us that changes a date. */
export type Telling =
  | 'worn-now-and-then'
  | 'never-in-water'
  | 'maker-says-otherwise'
  | 'done-elsewhere'
  | 'sold'
  | 'stored'

export type LetterSentences = {
  subjectOne: (f: { what: string; watch: string }) => string
  subjectSeveral: (count: number) => string
  /** where the letter holds no date of its own */
  subjectAbout: (watch: string) => string
  greeting: (name: string) => string
  writer: (f: { centre: string; count: number }) => string
  numberEnding: (digits: string) => string

  /** within a sentence, with its article: "the complete service" */
  the: Record<ObligationKind, string>
  /** after "for", where the language changes the article */
  forThe: Record<ObligationKind, string>
  /** as a heading or in a list, without one */
  what: Record<ObligationKind, string>

  lastDone: Record<Source, Record<ObligationKind, (when: string) => string>>
  noRecord: Record<ObligationKind, string>
  soldNew: (when: string) => string
  madeThen: (when: string) => string

  /** by standing and by how many letters of the round went before; `day` is the due day for letters */
  due: Record<SpokenStanding, Record<WentOut, (f: { the: string; day: string }) => string>>
  interval: Record<ReckonedRule, (span: string) => string>
  event: Record<EventRule, Record<WentOut, (f: { when: string | null }) => string>>
  unsure: string
  why: Record<WhyOf, string>
  runsWell: string

  price: (f: { money: string; until: string; takes: string }) => string
  noPrice: string
  folded: (f: { list: string }) => string

  /** `the` is the form after "for" */
  movedLater: (f: { the: string; told: string; day: string }) => string
  guarantee: (f: { lastDay: string }) => string
  caution: Record<Caution, string>

  comeBy: (day: string) => string
  tellUs: string
  telling: Record<Telling, string>
  tellUsByLink: string
  tellUsByReply: string
  deferring: string
  deferringWater: string
  stopByLink: string
  stopByReply: string
  contact: (f: { list: string }) => string
  regards: string

  calendarSummary: (f: { centre: string; watch: string }) => string
}

export type PageSentences = {
  title: string
  /** above what can be said of one watch */
  letters: string
  lettersIntro: string
  choice: Record<'complete-service' | 'water-check' | 'cell-change', string>
  writeToMe: string
  doNotWrite: string
  stopAll: string
  save: string
  sold: string
  soldButton: string
  doneElsewhere: string
  doneWhat: Record<'complete-service' | 'water-check' | 'cell-change', string>
  doneOn: string
  doneButton: string
  neverInWater: string
  neverInWaterButton: string
  nowAndThen: string
  nowAndThenButton: string
  proposeDay: string
  proposeButton: string
  proposedNote: string
  thanks: string
  stopped: string
  saved: string
  soldThanks: string
  doneThanks: string
  wearThanks: string
  proposedThanks: (day: string) => string
  dayMissing: string
  dayInFuture: string
  dayInPast: string
  dayTooFar: string
  back: string
  notFoundTitle: string
  notFound: string
  tooMany: string
  /** the service or its database is not able to answer */
  notNow: string
  noWatch: string
}

export type Texts = {
  /** of Intl */
  locale: string
  /** a whole day without preposition: 15 March 2022 */
  day: (day: string) => string
  /** within a sentence, with its preposition: "on 15 March 2022", "in March 2022", "in 2022" */
  when: (day: PartialDay) => string
  /** "5 years", "18 months" */
  span: (months: number) => string
  takes: (from: number, to: number, unit: Unit) => string
  letter: LetterSentences
  page: PageSentences
}
