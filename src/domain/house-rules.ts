/**
 * Every number the reckoning uses, as a dated house rule: key → default, bounds, unit and a plain sentence.
 * Nothing in src/domain/reckoning holds such a number itself. All values are whole. The defaults are common practice
 * of the trade, no source, unless the words say more; a centre may change each of them from a day on.
 */
export interface HouseRule {
  readonly default: number
  readonly min: number
  readonly max: number
  readonly unit:
    | 'months'
    | 'weeks'
    | 'days'
    | 'beats per hour'
    | 'bar'
    | 'percent'
    | 'thousandths'
    | 'degrees Celsius'
    | 'pieces'
    | 'cycles'
    | 'minor units'
    | 'working days'
    | 'minutes'
    | 'hours'
    | 'millimetres'
    | 'hundredths of a bar'
    | 'degrees'
    | 'year'
    | 'yes or no'
  readonly words: string
}

/** A table of house rules; tables of other parts of the service are concatenated with this one by spreading. */
export type HouseRuleTable = Readonly<Record<string, HouseRule>>

const months = (value: number, words: string, min = 1, max = 240): HouseRule => ({
  default: value,
  min,
  max,
  unit: 'months',
  words,
})
const days = (value: number, words: string, min = 0, max = 365): HouseRule => ({
  default: value,
  min,
  max,
  unit: 'days',
  words,
})
const lead = (value: number, what: string) => days(value, `${what}: coming up from this many days before the due day`)
const overdue = (value: number, what: string) => days(value, `${what}: overdue from this many days after the due day`)
const stop = (value: number, what: string) =>
  months(value, `${what}: asked enough this many months after the due day`, 1, 60)
const letter = (value: number, what: string, which: string) =>
  days(value, `${what}: ${which} letter, days from the due day`, -365, 730)

export const houseRuleTable = {
  quartzServiceMonths: months(84, 'Complete service of quartz and rechargeable quartz'),
  highBeatServiceMonths: months(36, 'Complete service above the high-beat limit'),
  rarelyWornServiceMonths: months(84, 'Complete service where known not worn daily and known unexposed'),
  exposedServiceMonths: months(48, 'Complete service under vibration, heat or cold'),
  usualServiceMonths: months(60, 'Complete service in all other cases, and where nothing is known of the wear'),
  highBeatLimit: {
    default: 28_800,
    min: 1,
    max: 1_000_000,
    unit: 'beats per hour',
    words: 'A movement above this rate is high-beat; at it, not yet',
  },
  madeSoldMonths: months(24, 'A watch sold later than this after it was made counts from made plus this', 0),

  hardUseCheckMonths: months(12, 'Water check: often, diving, or with salt, chlorine or hot water'),
  nowAndThenCheckMonths: months(24, 'Water check: in water now and then'),
  frequencyUnknownCheckMonths: months(12, 'Water check: in water, how often unknown'),
  useUnknownCheckMonths: months(24, 'Water check: use unknown, high rating'),
  useUnknownBar: {
    default: 10,
    min: 1,
    max: 1000,
    unit: 'bar',
    words: 'From this rating a watch of unknown use has a water check',
  },
  sealsMonths: months(48, 'Seals of a watch used in water'),
  cellMonths: months(24, 'Cell change, whether or not the watch runs'),
  lifeSharePercent: {
    default: 90,
    min: 1,
    max: 100,
    unit: 'percent',
    words: 'Share of the predicted life of a cell after which it is changed',
  },
  fairnessDays: days(90, 'A date moved into the past is asked about this many days after the reason was learned'),

  completeServiceLeadDays: lead(60, 'Complete service'),
  completeServiceOverdueDays: overdue(61, 'Complete service'),
  completeServiceStopMonths: stop(12, 'Complete service'),
  completeServiceLetter1Days: letter(-60, 'Complete service', 'first'),
  completeServiceLetter2Days: letter(30, 'Complete service', 'second'),
  completeServiceLetter3Days: letter(180, 'Complete service', 'third'),

  waterCheckLeadDays: lead(30, 'Water check and seals'),
  waterCheckOverdueDays: overdue(15, 'Water check and seals'),
  waterCheckStopMonths: stop(6, 'Water check and seals'),
  waterCheckLetter1Days: letter(-30, 'Water check', 'first'),
  waterCheckLetter2Days: letter(7, 'Water check', 'second'),
  waterCheckLetter3Days: letter(60, 'Water check', 'third'),

  cellChangeLeadDays: lead(45, 'Cell change'),
  cellChangeOverdueDays: overdue(31, 'Cell change'),
  cellChangeStopMonths: stop(6, 'Cell change'),
  cellChangeLetter1Days: letter(-45, 'Cell change', 'first'),
  cellChangeLetter2Days: letter(14, 'Cell change', 'second'),
  cellChangeLetter3Days: letter(60, 'Cell change', 'third'),

  leakingLeadDays: lead(0, 'Leaking cell'),
  leakingOverdueDays: overdue(1, 'Leaking cell'),
  leakingStopMonths: stop(2, 'Leaking cell'),
  leakingLetter1Days: letter(0, 'Leaking cell', 'first'),
  leakingLetter2Days: letter(7, 'Leaking cell', 'second'),
  leakingLetter3Days: letter(21, 'Leaking cell', 'third'),

  spentLeadDays: lead(0, 'Spent cell'),
  spentOverdueDays: overdue(8, 'Spent cell'),
  spentStopMonths: stop(2, 'Spent cell'),
  spentLetter1Days: letter(0, 'Spent cell', 'first'),
  spentLetter2Days: letter(7, 'Spent cell', 'second'),
  spentLetter3Days: letter(21, 'Spent cell', 'third'),

  endOfLifeLeadDays: lead(0, 'End-of-life sign of a cell'),
  endOfLifeOverdueDays: overdue(15, 'End-of-life sign of a cell'),
  endOfLifeStopMonths: stop(2, 'End-of-life sign of a cell'),
  endOfLifeLetter1Days: letter(0, 'End-of-life sign of a cell', 'first'),
  endOfLifeLetter2Days: letter(7, 'End-of-life sign of a cell', 'second'),
  endOfLifeLetter3Days: letter(21, 'End-of-life sign of a cell', 'third'),

  troubleLeadDays: lead(0, 'Trouble, opened since the test, not resistant'),
  troubleLetter1Days: letter(0, 'Trouble, opened since the test, not resistant', 'first'),
} as const satisfies HouseRuleTable

export type HouseRuleKey = keyof typeof houseRuleTable
export type HouseRules = Readonly<Record<HouseRuleKey, number>>

/** One number a centre may change: its first value, its bounds and unit, and what it says. */
export const rule = (value: number, min: number, max: number, unit: HouseRule['unit'], words: string): HouseRule => ({
  default: value,
  min,
  max,
  unit,
  words,
})

/** The first value of every rule of a table. */
export function defaultsOf<Key extends string>(table: Readonly<Record<Key, HouseRule>>): Record<Key, number> {
  const values = {} as Record<Key, number>
  for (const key of Object.keys(table) as Key[]) values[key] = table[key].default
  return values
}

export const defaultHouseRules: HouseRules = Object.freeze(defaultsOf(houseRuleTable))
