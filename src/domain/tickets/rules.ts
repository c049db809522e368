import { defaultsOf, type HouseRuleTable, rule } from '../house-rules.ts'

/** The numbers of the tickets that a centre may change from a day on; the defaults are common practice, no source. */
const guarantee = (value: number, what: string) =>
  rule(value, 0, 120, 'months', `Guarantee on ${what}, from the hand-over on; 0 for none`)
const step = (value: number, what: string) => rule(value, 0, 120, 'working days', `How long ${what} may take`)
const yesOrNo = (value: number, words: string) => rule(value, 0, 1, 'yes or no', `${words}: 1 for yes`)

export const ticketRuleTable = {
  completeServiceGuaranteeMonths: guarantee(24, 'a complete service'),
  repairGuaranteeMonths: guarantee(12, 'a repair'),
  cellGuaranteeMonths: guarantee(12, 'a cell change'),
  sealsGuaranteeMonths: guarantee(12, 'new seals'),
  waterTestGuaranteeMonths: guarantee(0, 'a water test, which speaks of its own day only'),

  unclaimedSecondMeansDays: rule(
    14,
    1,
    365,
    'days',
    'Not fetched: the owner is told by a second means this long after',
  ),
  unclaimedPostDays: rule(45, 1, 730, 'days', 'Not fetched: a letter by post goes this long after'),
  unclaimedRegisteredDays: rule(90, 1, 1825, 'days', 'Not fetched: a registered letter goes this long after'),

  bookedInWorkingDays: step(0, 'the counter to finish the booking-in'),
  awaitingLookWorkingDays: step(2, 'a watch to wait for its look'),
  lookedOverWorkingDays: step(1, 'the bench to price what it found'),
  pricedWorkingDays: step(1, 'the counter to put the estimate to the owner'),
  awaitingYesWorkingDays: step(3, 'the wait for an answer before the owner is asked again'),
  returnUndoneWorkingDays: step(3, 'the closing of a watch that goes back undone'),
  awaitingPartsWorkingDays: step(10, 'the wait for parts of which no day is known'),
  partsGraceWorkingDays: rule(3, 0, 60, 'working days', 'How long past its day a part may be before it is chased'),
  offerUndoneDays: rule(60, 1, 730, 'days', 'Waiting for parts this long, the owner is offered the watch back undone'),
  readyForBenchWorkingDays: step(5, 'a watch to wait for a free bench'),
  onTheBenchWorkingDays: step(5, 'the work at the bench'),
  closedWorkingDays: step(1, 'the water test of a closed case'),
  underObservationWorkingDays: step(3, 'the observation'),
  finalCheckWorkingDays: step(1, 'the final check'),
  readyDays: rule(14, 1, 365, 'days', 'How long a ready watch waits before the counter asks after its owner'),

  toolLeadDays: rule(30, 0, 365, 'days', 'The manager is told of a certificate this long before its last day'),
  readyComeByDays: rule(14, 1, 365, 'days', 'A letter that a watch is ready hopes for its owner within this many days'),

  recallComeByDays: rule(14, 1, 365, 'days', 'A letter of a recall hopes for its owner within this many days'),

  benchMinutesADay: rule(480, 60, 1440, 'minutes', 'Paid minutes of a bench on a working day'),
  productiveSharePercent: rule(80, 1, 100, 'percent', 'Share of the paid minutes that goes into watches'),
  loadAheadWorkingDays: rule(10, 1, 60, 'working days', 'How far ahead the load of the benches is looked at'),
  tightLoadPercent: rule(85, 1, 100, 'percent', 'Above this load a skill is tight'),
  untouchedWorkingDays: rule(
    15,
    1,
    120,
    'working days',
    'A job that could be worked on lies untouched too long after this',
  ),
  openedMovements: rule(6, 1, 100, 'pieces', 'Watches that may lie open at one bench'),
  finalCheckCellMinutes: rule(8, 1, 600, 'minutes', 'A final check after a cell, a strap or seals'),
  finalCheckServiceMinutes: rule(20, 1, 600, 'minutes', 'A final check after any other work'),

  finishWorkingDays: step(1, 'closing, test and final check of a watch that is promised'),
  bufferPercent: rule(10, 0, 100, 'percent', 'Reserve of a promised date: share of the working days of the house'),
  bufferVintagePercent: rule(20, 0, 100, 'percent', 'The same for vintage and high complications'),
  bufferLeastWorkingDays: rule(1, 0, 20, 'working days', 'The least reserve of a promised date'),
  assumedReserveHours: rule(
    42,
    12,
    240,
    'hours',
    'Power reserve taken where that of a calibre is not known: an observation that cannot be read within it begins later',
  ),
  partsArrivedPercent: rule(
    80,
    50,
    100,
    'percent',
    'A part is reckoned to be there when this share of past orders at its supplier had arrived',
  ),
  partsOrdersNeeded: rule(
    10,
    1,
    100,
    'pieces',
    "Past orders at a supplier that must be known before they count for more than the supplier's word",
  ),

  estimateValidDays: rule(30, 1, 365, 'days', 'How long the price of an estimate holds'),
  conditionLineAmount: rule(
    100_000,
    0,
    1_000_000_000,
    'minor units',
    'Up to this declared value, in the currency of the centre, a manager may stand for a missing condition record',
  ),
  depositForSpecialOrders: yesOrNo(0, 'A special order waits for a deposit'),
  sameCheckerNextDay: yesOrNo(0, 'A small house: the same person may check from the next calendar day on'),
  twinMillimetres: rule(1, 0, 10, 'millimetres', 'Watches that differ by no more than this in size look alike'),
  settledMinutes: rule(30, 0, 240, 'minutes', 'A case is left to settle this long before a dry test'),
  assumedLiftAngle: rule(
    52,
    30,
    70,
    'degrees',
    'Lift angle taken where that of a calibre is not known and it is said so',
  ),
  radiumUntilYear: rule(
    1970,
    1900,
    2000,
    'year',
    'Lume of a kind nobody knows, on a watch made before this year, is taken for radium until it is measured',
  ),
  gentleVacuumHundredths: rule(
    30,
    0,
    90,
    'hundredths of a bar',
    'The deepest vacuum for acrylic, unknown and vintage watches, and only with the consent of the owner',
  ),
  gentlePressureHundredths: rule(
    50,
    0,
    200,
    'hundredths of a bar',
    'The highest pressure for acrylic, unknown and vintage watches, and only with the consent of the owner',
  ),
} as const satisfies HouseRuleTable

export type TicketRuleKey = keyof typeof ticketRuleTable
export type TicketRules = Readonly<Record<TicketRuleKey, number>>

export const defaultTicketRules: TicketRules = Object.freeze(defaultsOf<TicketRuleKey>(ticketRuleTable))

/** The rules of a day, from the values stored for it; what the house never changed has its first value. */
export function readTicketRules(stored: Readonly<Record<string, unknown>>): TicketRules {
  const rules = { ...defaultTicketRules }
  for (const key of Object.keys(rules) as TicketRuleKey[]) {
    const value = stored[key]
    if (typeof value === 'number') rules[key] = value
  }
  return rules
}
