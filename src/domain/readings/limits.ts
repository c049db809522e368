import { type Bounds, type HouseTable, numbers, rowsOfNumbers } from '../house-tables.ts'

/** Limits of readings: rates in s/d (quartz s/month), amplitude in degrees, beat error in ms by the half convention, consumption in µA, voltage in V. */
const degrees = { min: 100, max: 360, unit: 'degrees' }
const kiloohms = { min: 0.01, max: 1000, unit: 'kohm' }
const volts = { min: 0.8, max: 3.7, unit: 'V' }
const seconds = (unit: string, min = -999) => ({ min, max: 999, unit })

export const limitBounds = {
  meanMin: seconds('s/d'),
  meanMax: seconds('s/d'),
  spreadMax: seconds('s/d', 0),
  amplitudeFlatMin: degrees,
  amplitudeFlatMax: degrees,
  amplitudeUprightMin: degrees,
  amplitudeUprightMax: degrees,
  amplitudeAfter24Min: degrees,
  amplitudeMax: degrees,
  beatErrorMax: { min: 0, max: 9.9, unit: 'ms' },
  runDownMax: seconds('s/d', 0),
  rateMin: seconds('s/month'),
  rateMax: seconds('s/month'),
  yearlyRateMax: seconds('s/year', 0),
  consumptionMax: { min: 0.05, max: 50, unit: 'µA' },
  coilResistanceMin: kiloohms,
  coilResistanceMax: kiloohms,
  workingVoltageMax: volts,
  workingVoltageOfLithiumMax: volts,
} as const satisfies Record<string, Bounds>

export type LimitName = keyof typeof limitBounds

/** The least and the most of one value, in this order. */
export const limitPairs = [
  ['meanMin', 'meanMax'],
  ['rateMin', 'rateMax'],
  ['amplitudeFlatMin', 'amplitudeFlatMax'],
  ['amplitudeUprightMin', 'amplitudeUprightMax'],
  ['coilResistanceMin', 'coilResistanceMax'],
] as const satisfies readonly (readonly [LimitName, LimitName])[]

export type HouseLimits = Readonly<Partial<Record<LimitName, number>>>

const amplitudes = {
  amplitudeFlatMin: 270,
  amplitudeFlatMax: 315,
  amplitudeUprightMin: 240,
  amplitudeUprightMax: 290,
  amplitudeAfter24Min: 200,
}
const quartz = { rateMin: -10, rateMax: 20, consumptionMax: 2.5, workingVoltageMax: 1.3 }

const firstLimits = {
  'three-hand': { meanMin: -2, meanMax: 8, spreadMax: 15, ...amplitudes, beatErrorMax: 1, runDownMax: 10 },
  vintage: { meanMin: -15, meanMax: 30, spreadMax: 25, ...amplitudes, beatErrorMax: 1, runDownMax: 10 },
  quartz,
  'quartz-chronograph': { ...quartz, consumptionMax: 4 },
  thermocompensated: { ...quartz, rateMin: -1, rateMax: 1 },
}

export const houseClassNames = Object.keys(firstLimits) as HouseClass[]
export type HouseClass = keyof typeof firstLimits
export type HouseClassLimits = Readonly<Record<HouseClass, HouseLimits>>

const source = 'usual good values of the trade; amplitude ranges also in glossaries of the trade press; no standard'

/** Usual good values where the maker gives none. What a centre asks of one calibre it puts on that calibre. */
export const houseClassTable: HouseTable<HouseClassLimits> = {
  default: firstLimits,
  shape: `{ class: { limit: number } }; classes: ${Object.keys(firstLimits).join(', ')}; limits: ${Object.entries(
    limitBounds,
  )
    .map(([name, { unit }]) => `${name} (${unit})`)
    .join(', ')}; a class left out keeps its first limits, a limit left out is not judged`,
  words: 'What readings are judged by where the maker gives no tolerance; a reading keeps the limits of its day',
  source,
  read: rowsOfNumbers<HouseClass, LimitName>(firstLimits, limitBounds, limitPairs),
}

const firstQueries = { amplitudeBelow: 180, amplitudeAbove: 330, beatErrorAbove: 0.6, silverCellBelow: 1.5 }
export type ReadingQueries = Readonly<Record<keyof typeof firstQueries, number>>

/** Values that are taken but asked about again. */
export const readingQueryTable: HouseTable<ReadingQueries> = {
  default: firstQueries,
  shape:
    '{ amplitudeBelow, amplitudeAbove: 100 to 360 degrees, beatErrorAbove: 0 to 9.9 ms, silverCellBelow: 0 to 3.7 V }; what is left out keeps its first value',
  words: 'Readings that are taken but ask for a second look; below the voltage a silver oxide cell is spent',
  source: 'common practice of the trade, no source',
  read: numbers(firstQueries, {
    amplitudeBelow: degrees,
    amplitudeAbove: degrees,
    beatErrorAbove: { min: 0, max: 9.9, unit: 'ms' },
    silverCellBelow: { min: 0, max: 3.7, unit: 'V' },
  }),
}
