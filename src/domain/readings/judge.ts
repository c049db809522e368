import { meanOf, runDownOf, spreadOf, yearlyOf } from './computed.ts'
import type { HouseLimits, LimitName } from './limits.ts'

/**
 * Tolerances of one watch: the maker's where they are on file, else those of its house class. A missing limit is not
 * judged. Units as in `limitBounds`.
 */
export type Tolerances = { readonly source: 'maker' | 'house-class' } & {
  readonly [K in LimitName]?: number | null
}

/** The maker's limits first; where he is silent, those of the house class. */
export function tolerancesFor(house: HouseLimits, maker: Partial<Omit<Tolerances, 'source'>> | null): Tolerances {
  const given = Object.fromEntries(
    Object.entries(maker ?? {}).filter(([, value]) => value !== null && value !== undefined),
  )
  return { ...house, ...given, source: Object.keys(given).length > 0 ? 'maker' : 'house-class' }
}

/** The limits of a watch whose cell is of a 3 V system: what is said of the voltage of the 1.55 V systems is not said of it. */
export function underLithium({ workingVoltageMax: _, ...limits }: HouseLimits): HouseLimits {
  return limits.workingVoltageOfLithiumMax === undefined
    ? limits
    : { ...limits, workingVoltageMax: limits.workingVoltageOfLithiumMax }
}

export type Verdict = {
  readonly what: string
  readonly value: number
  readonly within: boolean
  readonly words: string
}

export type Reading = {
  readonly wind: 'full' | 'after-24' | 'other' | 'none'
  readonly position: string | null
  readonly values: Readonly<Record<string, number | null>>
  /** what it was judged by when it was taken; else what counts now */
  readonly limits?: Tolerances
}

const flat = new Set(['CH', 'FH'])

/** Only the last reading of a position and wind state counts. */
const lastOfEach = (readings: readonly Reading[]): Reading[] => [
  ...new Map(readings.map((reading) => [`${reading.wind} ${reading.position}`, reading])).values(),
]

/** What the readings of one state of a watch come to; null where nothing was measured for it. Units as in `ranges`. */
export function sumUp(readings: readonly Reading[]) {
  const counted = lastOfEach(readings)
  const valuesOf = (name: string, wind?: Reading['wind']) =>
    counted.flatMap((r) => {
      const value = r.values[name] ?? null
      return value === null || (wind !== undefined && r.wind !== wind) ? [] : [value]
    })
  const least = (values: readonly number[]) => (values.length === 0 ? null : Math.min(...values))
  const tenth = (value: number | null) => (value === null ? null : Math.round(value * 10) / 10)
  const [full, after] = [valuesOf('rate', 'full'), valuesOf('rate', 'after-24')]
  return {
    meanFull: tenth(meanOf(full)),
    spreadFull: tenth(spreadOf(full)),
    meanAfter24: tenth(meanOf(after)),
    spreadAfter24: tenth(spreadOf(after)),
    runDown: tenth(runDownOf(full, after)),
    amplitudeFullMin: least(valuesOf('amplitude', 'full')),
    amplitudeAfter24Min: least(valuesOf('amplitude', 'after-24')),
    rateOfQuartz: valuesOf('rate', 'none').at(-1) ?? null,
    consumption: valuesOf('consumption', 'none').at(-1) ?? null,
    lowerWorkingVoltage: valuesOf('lowerWorkingVoltage', 'none').at(-1) ?? null,
  }
}

/** Each measured or computed value against its limit. */
export function judgeReadings(
  kind: 'mechanical' | 'quartz',
  readings: readonly Reading[],
  limits: Tolerances,
): readonly Verdict[] {
  const counted = lastOfEach(readings)
  return kind === 'quartz' ? judgeQuartz(counted, limits) : judgeMechanical(counted, limits)
}

function judgeMechanical(readings: readonly Reading[], limits: Tolerances): Verdict[] {
  const verdicts: Verdict[] = []
  const ratesAt = (wind: Reading['wind']) =>
    readings.flatMap((r) =>
      r.wind === wind && r.values.rate !== null && r.values.rate !== undefined ? [r.values.rate] : [],
    )
  // what is worked out of several readings is judged by the limits of the newest of them
  const limitsOf = (...winds: Reading['wind'][]) =>
    readings.findLast((r) => winds.includes(r.wind) && (r.values.rate ?? null) !== null)?.limits ?? limits
  const full = ratesAt('full')
  const after = ratesAt('after-24')
  for (const [name, wind, rates] of [
    ['at full wind', 'full', full],
    ['after 24 h', 'after-24', after],
  ] as const) {
    const { meanMin, meanMax, spreadMax } = limitsOf(wind)
    const mean = meanOf(rates)
    if (mean !== null) check(verdicts, `mean rate ${name}`, mean, 's/d', meanMin, meanMax)
    const spread = spreadOf(rates)
    if (spread !== null) check(verdicts, `spread ${name}`, spread, 's/d', null, spreadMax)
  }
  const runDown = runDownOf(full, after)
  if (runDown !== null) {
    const most = limitsOf('full', 'after-24').runDownMax ?? null
    check(verdicts, 'run-down effect', runDown, 's/d', most === null ? null : -most, most)
  }
  for (const reading of readings) verdicts.push(...judgeMechanicalOne(reading, limits))
  return verdicts
}

/** The measured values of one reading, each against its limit; what only several readings tell together is not among them. */
export function judgeReading(kind: 'mechanical' | 'quartz', reading: Reading, limits: Tolerances): readonly Verdict[] {
  return kind === 'quartz' ? judgeQuartz([reading], limits) : judgeMechanicalOne(reading, limits)
}

function judgeMechanicalOne(reading: Reading, limits: Tolerances): Verdict[] {
  const verdicts: Verdict[] = []
  const by = reading.limits ?? limits
  const place = `in ${reading.position ?? 'no named position'}`
  const amplitude = reading.values.amplitude
  if (amplitude !== null && amplitude !== undefined) {
    const lies = flat.has(reading.position ?? '')
    if (reading.wind === 'full') {
      const floor = lies ? by.amplitudeFlatMin : by.amplitudeUprightMin
      const top = by.amplitudeMax ?? (lies ? by.amplitudeFlatMax : by.amplitudeUprightMax)
      check(verdicts, `amplitude at full wind ${place}`, amplitude, '°', floor, top)
    } else if (reading.wind === 'after-24') {
      check(verdicts, `amplitude after 24 h ${place}`, amplitude, '°', by.amplitudeAfter24Min, by.amplitudeMax)
    }
  }
  const beatError = reading.values.beatError
  if (beatError !== null && beatError !== undefined)
    check(verdicts, `beat error ${place}`, beatError, 'ms', null, by.beatErrorMax)
  return verdicts
}

function judgeQuartz(readings: readonly Reading[], limits: Tolerances): Verdict[] {
  const verdicts: Verdict[] = []
  for (const { values, limits: own } of readings) {
    const by = own ?? limits
    const of = (name: string) => values[name] ?? null
    const rate = of('rate')
    if (rate !== null) {
      check(verdicts, 'rate', rate, 's/month', by.rateMin, by.rateMax)
      const most = by.yearlyRateMax ?? null
      check(verdicts, 'rate over a year', yearlyOf(rate), 's/year', most === null ? null : -most, most)
    }
    const consumption = of('consumption')
    if (consumption !== null) check(verdicts, 'consumption', consumption, 'µA', null, by.consumptionMax)
    const coil = of('coilResistance')
    if (coil !== null) check(verdicts, 'coil resistance', coil, 'kohm', by.coilResistanceMin, by.coilResistanceMax)
    const voltage = of('lowerWorkingVoltage')
    if (voltage !== null) check(verdicts, 'lower working voltage', voltage, 'V', null, by.workingVoltageMax)
  }
  return verdicts
}

/** Values are shown to two decimals; the comparison is on the measured value, limits inclusive. */
function check(
  verdicts: Verdict[],
  what: string,
  value: number,
  unit: string,
  min?: number | null,
  max?: number | null,
) {
  const low = min ?? null
  const high = max ?? null
  if (low === null && high === null) return
  const within = (low === null || value >= low - 1e-9) && (high === null || value <= high + 1e-9)
  const range = low === null ? `at most ${high}` : high === null ? `at least ${low}` : `${low} to ${high}`
  verdicts.push({ what, value, within, words: `${what} ${Math.round(value * 100) / 100} ${unit} (${range})` })
}
