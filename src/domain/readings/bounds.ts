import { asHalf, type BeatErrorConvention, wholePeriods } from './computed.ts'
import type { ReadingQueries } from './limits.ts'

/** A value or its circumstance that cannot be taken as it stands: the key it stands under, and what to do. */
export type ReadingFault = { readonly key: string; readonly detail: string }

export const positions = ['CH', 'FH', '3H', '6H', '9H', '12H'] as const

/** Accepted range and unit of each measured value; outside it the reading is refused as a slip of the pen. */
export const ranges = {
  rate: { min: -999, max: 999, unit: 's/d' },
  amplitude: { min: 100, max: 360, unit: '°' },
  beatError: { min: 0, max: 9.9, unit: 'ms' },
  integrationTime: { min: 2, max: 120, unit: 's' },
  liftAngle: { min: 30, max: 70, unit: '°' },
  temperature: { min: 18, max: 28, unit: 'C' },
  hoursSinceWound: { min: 0, max: 240, unit: 'h' },
  quartzRate: { min: -99, max: 99, unit: 's/month' },
  consumption: { min: 0.05, max: 50, unit: 'uA' },
  lowerWorkingVoltage: { min: 0.8, max: 3.3, unit: 'V' },
  cellVoltage: { min: 0, max: 3.7, unit: 'V' },
  coilResistance: { min: 0.01, max: 1000, unit: 'kohm' },
  pulseInterval: { min: 0.1, max: 60, unit: 's' },
  pulseWidth: { min: 1, max: 20, unit: 'ms' },
} as const satisfies Record<string, { min: number; max: number; unit: string }>

export type RangeName = keyof typeof ranges

/** A measured value always comes with its unit, and the unit must be the one the record is kept in. */
export type Measured = { readonly value: number; readonly unit: string }

/** Other ways to write a unit that is kept. */
const alsoWritten: Readonly<Record<string, string>> = { µA: 'uA', μA: 'uA', '°C': 'C', kΩ: 'kohm' }
const unitOf = ({ unit }: Measured): string => (Object.hasOwn(alsoWritten, unit) ? alsoWritten[unit]! : unit)

function faultOf(key: string, measured: Measured, name: RangeName): ReadingFault | null {
  const range = ranges[name]
  if (unitOf(measured) !== range.unit) return { key: `${key}/unit`, detail: `the unit must be ${range.unit}` }
  if (measured.value < range.min || measured.value > range.max) {
    return { key: `${key}/value`, detail: `must lie between ${range.min} and ${range.max} ${range.unit}` }
  }
  return null
}

export type MechanicalReading = {
  readonly rate?: Measured | undefined
  readonly amplitude?: Measured | undefined
  readonly beatError?: (Measured & { readonly convention: BeatErrorConvention }) | undefined
  readonly integrationTime?: Measured | undefined
  readonly temperature?: Measured | undefined
  readonly hoursSinceWound?: Measured | undefined
  readonly wind: 'full' | 'after-24' | 'other'
  /** Degrees; null where it is not known for the calibre. */
  readonly liftAngle: number | null
  readonly liftAngleAssumed: boolean
}

/** Faults of one reading of one position at one wind state. An amplitude without a lift angle means nothing. */
export function mechanicalFaults(reading: MechanicalReading, assumedLiftAngle: number): ReadingFault[] {
  const faults: ReadingFault[] = []
  for (const name of ['rate', 'amplitude', 'beatError', 'integrationTime', 'temperature', 'hoursSinceWound'] as const) {
    const measured = reading[name]
    if (measured === undefined) continue
    const fault = faultOf(name, measured, name)
    if (fault) faults.push(fault)
  }
  if (reading.rate === undefined && reading.amplitude === undefined && reading.beatError === undefined) {
    faults.push({ key: 'rate', detail: 'a reading has at least one of rate, amplitude and beat error' })
  }
  if (reading.amplitude !== undefined && reading.liftAngle === null && !reading.liftAngleAssumed) {
    faults.push({
      key: 'amplitude',
      detail: `the lift angle of this calibre is not known: give it, or say that ${assumedLiftAngle}° is assumed`,
    })
  }
  if (
    reading.liftAngle !== null &&
    (reading.liftAngle < ranges.liftAngle.min || reading.liftAngle > ranges.liftAngle.max)
  ) {
    faults.push({ key: 'liftAngle', detail: 'must lie between 30 and 70 degrees' })
  }
  const hours = reading.hoursSinceWound?.value
  if (hours === undefined) {
    faults.push({ key: 'hoursSinceWound', detail: 'say how many hours ago the watch was wound' })
  } else if (hours !== undefined && reading.wind === 'full' && hours < 1) {
    faults.push({
      key: 'hoursSinceWound/value',
      detail: 'a reading at full wind is taken at least one hour after winding',
    })
  } else if (hours !== undefined && reading.wind === 'full' && hours >= 24) {
    faults.push({
      key: 'hoursSinceWound/value',
      detail: 'a day after winding it is at full wind no longer: say "after-24"',
    })
  } else if (hours !== undefined && reading.wind === 'after-24' && hours < 24) {
    faults.push({ key: 'hoursSinceWound/value', detail: 'the twenty-four hours are not over' })
  }
  return faults
}

/** Readings that are taken but ask for a second look, in words. */
export function mechanicalQueries(reading: MechanicalReading, asked: ReadingQueries): string[] {
  const amplitude = reading.amplitude?.value
  const beatError = reading.beatError && keptBeatError(reading.beatError)
  const queries: string[] = []
  if (amplitude !== undefined && amplitude < asked.amplitudeBelow)
    queries.push(`an amplitude of ${amplitude}° is very low: is the watch wound and the lift angle right?`)
  if (amplitude !== undefined && amplitude > asked.amplitudeAbove)
    queries.push(`an amplitude of ${amplitude}° is near knocking: is the lift angle right?`)
  if (beatError !== undefined && beatError > asked.beatErrorAbove)
    queries.push(`a beat error of ${beatError} ms is more than usual: can it be set in beat?`)
  return queries
}

export type QuartzReading = {
  readonly rate?: Measured | undefined
  readonly measuringTime?: Measured | undefined
  readonly consumption?: Measured | undefined
  readonly consumptionInReset?: Measured | undefined
  readonly lowerWorkingVoltage?: Measured | undefined
  readonly cellVoltageOpen?: Measured | undefined
  readonly cellVoltageUnderLoad?: Measured | undefined
  readonly loadKiloohm?: number | undefined
  readonly coilResistance?: Measured | undefined
  readonly pulseInterval?: Measured | undefined
  readonly pulseWidth?: Measured | undefined
  /** Seconds; null where it is not known for the calibre. */
  readonly inhibitionPeriod: number | null
  readonly thermocompensated?: boolean | undefined
}

const quartzRanges = {
  rate: 'quartzRate',
  consumption: 'consumption',
  consumptionInReset: 'consumption',
  lowerWorkingVoltage: 'lowerWorkingVoltage',
  cellVoltageOpen: 'cellVoltage',
  cellVoltageUnderLoad: 'cellVoltage',
  coilResistance: 'coilResistance',
  pulseInterval: 'pulseInterval',
  pulseWidth: 'pulseWidth',
} as const satisfies Record<string, RangeName>

/** A silver oxide cell below its voltage is spent; of the 3 V systems it says nothing. */
export const quartzQueries = (open: number | null, lithium: boolean, { silverCellBelow }: ReadingQueries): string[] =>
  !lithium && open !== null && open < silverCellBelow
    ? [`below ${silverCellBelow.toFixed(2)} V a silver oxide cell is spent`]
    : []

export function quartzFaults(reading: QuartzReading): ReadingFault[] {
  const faults: ReadingFault[] = []
  let any = false
  for (const [name, range] of Object.entries(quartzRanges) as [keyof typeof quartzRanges, RangeName][]) {
    const measured = reading[name]
    if (measured === undefined) continue
    any = true
    const fault = faultOf(name, measured, range)
    if (fault) faults.push(fault)
  }
  if (!any) faults.push({ key: 'rate', detail: 'a reading has at least one measured value' })
  if (reading.cellVoltageUnderLoad !== undefined && reading.loadKiloohm === undefined)
    faults.push({ key: 'loadKiloohm', detail: 'is missing: a voltage under load says nothing without its load' })
  const { rate, measuringTime, inhibitionPeriod } = reading
  if (measuringTime !== undefined && measuringTime.unit !== 's')
    faults.push({ key: 'measuringTime/unit', detail: 'the unit must be s' })
  else if (measuringTime !== undefined && (measuringTime.value <= 0 || measuringTime.value > 86_400)) {
    faults.push({ key: 'measuringTime/value', detail: 'must lie between 1 and 86400 s' })
  } else if (rate !== undefined && measuringTime === undefined) {
    faults.push({ key: 'measuringTime', detail: 'a rate needs the seconds over which it was measured' })
  } else if (rate !== undefined && measuringTime !== undefined) {
    if (inhibitionPeriod === null) {
      faults.push({ key: 'measuringTime', detail: 'the inhibition period of this calibre is not known: give it' })
    } else if (!wholePeriods(measuringTime.value, inhibitionPeriod)) {
      faults.push({
        key: 'measuringTime/value',
        detail: `must be a whole number of inhibition periods of ${inhibitionPeriod} s`,
      })
    } else if (reading.thermocompensated && measuringTime.value <= 60) {
      faults.push({
        key: 'measuringTime/value',
        detail: 'a minute proves nothing of a thermocompensated movement: measure over a whole compensation cycle',
      })
    }
  }
  return faults
}

/** The beat error as it is kept: by the half convention. */
export const keptBeatError = (measured: { value: number; convention: BeatErrorConvention }): number =>
  asHalf(measured.value, measured.convention)
