import { meanOf, runDownOf, spreadOf } from './computed.ts'

/**
 * Tolerances of one watch: the maker's where they are on file, else those of its house class. A missing limit is not
 * judged. Rates in s/d (quartz s/month), amplitude in degrees, beat error in ms by the half convention, consumption in
 * µA, voltage in V.
 */
export type Tolerances = {
  readonly source: 'maker' | 'house-class'
  readonly meanMin?: number | null
  readonly meanMax?: number | null
  readonly spreadMax?: number | null
  readonly amplitudeFlatMin?: number | null
  readonly amplitudeUprightMin?: number | null
  readonly amplitudeAfter24Min?: number | null
  readonly amplitudeMax?: number | null
  readonly beatErrorMax?: number | null
  readonly runDownMax?: number | null
  readonly rateMin?: number | null
  readonly rateMax?: number | null
  readonly consumptionMax?: number | null
  readonly workingVoltageMax?: number | null
}

/** Usual good values where the maker gives none; trade knowledge, no source. What a centre asks of a calibre it puts on that calibre. */
export const houseClasses = {
  'three-hand': {
    source: 'house-class',
    meanMin: -2,
    meanMax: 8,
    spreadMax: 15,
    amplitudeFlatMin: 270,
    amplitudeUprightMin: 240,
    amplitudeAfter24Min: 200,
    amplitudeMax: 330,
    beatErrorMax: 1,
    runDownMax: 10,
  },
  vintage: {
    source: 'house-class',
    meanMin: -15,
    meanMax: 30,
    spreadMax: 25,
    amplitudeFlatMin: 240,
    amplitudeUprightMin: 210,
    amplitudeAfter24Min: 200,
    amplitudeMax: 330,
    beatErrorMax: 1,
    runDownMax: 20,
  },
  quartz: { source: 'house-class', rateMin: -10, rateMax: 20, workingVoltageMax: 1.3 },
  thermocompensated: { source: 'house-class', rateMin: -1, rateMax: 1, workingVoltageMax: 1.3 },
} as const satisfies Record<string, Tolerances>

export type HouseClass = keyof typeof houseClasses

/** The maker's limits first; where he is silent, those of the house class. */
export function tolerancesFor(houseClass: HouseClass, maker: Partial<Omit<Tolerances, 'source'>> | null): Tolerances {
  const given = Object.fromEntries(
    Object.entries(maker ?? {}).filter(([, value]) => value !== null && value !== undefined),
  )
  return { ...houseClasses[houseClass], ...given, source: Object.keys(given).length > 0 ? 'maker' : 'house-class' }
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
}

const flat = new Set(['CH', 'FH'])

/** Each measured or computed value against its limit. Only the last reading of a position and wind state counts. */
export function judgeReadings(
  kind: 'mechanical' | 'quartz',
  readings: readonly Reading[],
  limits: Tolerances,
): readonly Verdict[] {
  const last = new Map(readings.map((reading) => [`${reading.wind} ${reading.position}`, reading]))
  const counted = [...last.values()]
  return kind === 'quartz' ? judgeQuartz(counted, limits) : judgeMechanical(counted, limits)
}

function judgeMechanical(readings: readonly Reading[], limits: Tolerances): Verdict[] {
  const verdicts: Verdict[] = []
  const ratesAt = (wind: Reading['wind']) =>
    readings.flatMap((r) =>
      r.wind === wind && r.values.rate !== null && r.values.rate !== undefined ? [r.values.rate] : [],
    )
  const full = ratesAt('full')
  const after = ratesAt('after-24')
  for (const [name, rates] of [
    ['at full wind', full],
    ['after 24 h', after],
  ] as const) {
    const mean = meanOf(rates)
    if (mean !== null) check(verdicts, `mean rate ${name}`, mean, 's/d', limits.meanMin, limits.meanMax)
    const spread = spreadOf(rates)
    if (spread !== null) check(verdicts, `spread ${name}`, spread, 's/d', null, limits.spreadMax)
  }
  const runDown = runDownOf(full, after)
  if (runDown !== null) check(verdicts, 'run-down effect', Math.abs(runDown), 's/d', null, limits.runDownMax)
  for (const reading of readings) {
    const place = `in ${reading.position ?? 'no named position'}`
    const amplitude = reading.values.amplitude
    if (amplitude !== null && amplitude !== undefined) {
      if (reading.wind === 'full') {
        const floor = flat.has(reading.position ?? '') ? limits.amplitudeFlatMin : limits.amplitudeUprightMin
        check(verdicts, `amplitude at full wind ${place}`, amplitude, '°', floor, limits.amplitudeMax)
      } else if (reading.wind === 'after-24') {
        check(
          verdicts,
          `amplitude after 24 h ${place}`,
          amplitude,
          '°',
          limits.amplitudeAfter24Min,
          limits.amplitudeMax,
        )
      }
    }
    const beatError = reading.values.beatError
    if (beatError !== null && beatError !== undefined) {
      check(verdicts, `beat error ${place}`, beatError, 'ms', null, limits.beatErrorMax)
    }
  }
  return verdicts
}

function judgeQuartz(readings: readonly Reading[], limits: Tolerances): Verdict[] {
  const verdicts: Verdict[] = []
  for (const { values } of readings) {
    const of = (name: string) => values[name] ?? null
    const rate = of('rate')
    if (rate !== null) check(verdicts, 'rate', rate, 's/month', limits.rateMin, limits.rateMax)
    const consumption = of('consumption')
    if (consumption !== null) check(verdicts, 'consumption', consumption, 'µA', null, limits.consumptionMax)
    const voltage = of('lowerWorkingVoltage')
    if (voltage !== null) check(verdicts, 'lower working voltage', voltage, 'V', null, limits.workingVoltageMax)
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
