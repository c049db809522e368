import { type HouseTable, isRecord, member, type TableFault } from '../house-tables.ts'
import { positions } from '../readings/bounds.ts'
import { type HouseClass, houseClassNames } from '../readings/limits.ts'
import type { ObservationRule } from './snapshot.ts'

/**
 * Classes of work: what has to be read before the final check, and the house class whose tolerances count where the maker
 * gives none. The hours of observation are a local setting by class; a class without readings needs none.
 */
const workClasses = {
  cell: 'cell change',
  strap: 'strap or bracelet',
  seals: 'seals and water test',
  case: 'case and bracelet',
  quartz: 'quartz, complete service or repair',
  'quartz-chronograph': 'quartz chronograph, complete service or repair',
  thermocompensated: 'thermocompensated quartz',
  'three-hand': 'three-hand mechanical',
  chronograph: 'mechanical chronograph',
  vintage: 'vintage or high complication',
} as const

export type WorkClassName = keyof typeof workClasses
export const workClassNames = Object.keys(workClasses) as WorkClassName[]

const winds = ['full', 'after-24'] as const
const quartzValues = [
  'rate',
  'consumption',
  'consumptionInReset',
  'lowerWorkingVoltage',
  'cellVoltageOpen',
  'cellVoltageUnderLoad',
] as const

/** What a class reads: positions at states of wind, or values of a quartz movement, or nothing. */
export type ClassReadings = {
  readonly houseClass: HouseClass
  readonly positions?: readonly (typeof positions)[number][]
  readonly winds?: readonly (typeof winds)[number][]
  readonly values?: readonly (typeof quartzValues)[number][]
}
export type ReadingsByClass = Readonly<Record<WorkClassName, ClassReadings>>

const mechanical = (...at: (typeof positions)[number][]) => ({ positions: at, winds })
const usual = { values: ['rate', 'consumption', 'lowerWorkingVoltage'] } as const

const firstReadings: ReadingsByClass = {
  cell: { houseClass: 'quartz' },
  strap: { houseClass: 'quartz' },
  seals: { houseClass: 'quartz' },
  case: { houseClass: 'three-hand' },
  quartz: { houseClass: 'quartz', ...usual },
  'quartz-chronograph': { houseClass: 'quartz-chronograph', ...usual },
  thermocompensated: { houseClass: 'thermocompensated', ...usual },
  'three-hand': { houseClass: 'three-hand', ...mechanical('CH', 'FH', '6H') },
  chronograph: { houseClass: 'three-hand', ...mechanical('CH', 'FH', '3H', '6H', '9H') },
  vintage: { houseClass: 'vintage', ...mechanical('CH', 'FH', '6H') },
}

/** A list without repeats of what is allowed, or what is wrong with it. */
function listFault(list: unknown, allowed: readonly string[], pointer: string): TableFault | null {
  if (
    Array.isArray(list) &&
    list.length > 0 &&
    new Set(list).size === list.length &&
    list.every((n) => allowed.includes(n))
  )
    return null
  return { pointer, detail: `must be a list of some of: ${allowed.join(', ')}` }
}

function rowFault(name: string, row: unknown): TableFault | null {
  const at = member(name)
  if (!Object.hasOwn(firstReadings, name)) return { pointer: at, detail: `is not one of: ${workClassNames.join(', ')}` }
  if (!isRecord(row)) return { pointer: at, detail: 'must be an object' }
  const { houseClass, positions: places, winds: states, values, ...rest } = row
  const unknown = Object.keys(rest)[0]
  if (unknown !== undefined) return { pointer: at + member(unknown), detail: 'is not a member of a class' }
  if (!houseClassNames.some((known) => known === houseClass))
    return { pointer: `${at}/houseClass`, detail: `must be one of: ${houseClassNames.join(', ')}` }
  if ((places === undefined) !== (states === undefined))
    return {
      pointer: `${at}/${places === undefined ? 'positions' : 'winds'}`,
      detail: 'is missing: positions are read at states of wind',
    }
  if (places !== undefined && values !== undefined)
    return { pointer: `${at}/values`, detail: 'stands beside positions: a class is read as a balance or as quartz' }
  return (
    (places === undefined ? null : listFault(places, positions, `${at}/positions`)) ??
    (states === undefined ? null : listFault(states, winds, `${at}/winds`)) ??
    (values === undefined ? null : listFault(values, quartzValues, `${at}/values`))
  )
}

export const classReadingTable: HouseTable<ReadingsByClass> = {
  default: firstReadings,
  shape: `{ class: { "houseClass": …, "positions": [${positions.join(', ')}], "winds": [${winds.join(', ')}] } } or { class: { "houseClass": …, "values": [${quartzValues.join(', ')}] } } or { class: { "houseClass": … } } for a class without readings; classes: ${workClassNames.join(', ')}; a class left out keeps its first row`,
  words: 'What is read before the final check, and by which house class it is judged, by class of work',
  source: 'common practice of the trade (three to six positions by class), no source',
  read: (value) => {
    if (!isRecord(value)) return { pointer: '', detail: 'must be an object' }
    for (const [name, row] of Object.entries(value)) {
      const fault = rowFault(name, row)
      if (fault) return fault
    }
    return { value: { ...firstReadings, ...value } as ReadingsByClass }
  },
}

/** Whether a class asks everything that another asks, for as long. */
export function asksAsMuch(rule: ObservationRule | null, as: ObservationRule): boolean {
  if (rule === null || (as.hours ?? 0) > (rule.hours ?? Number.POSITIVE_INFINITY)) return false
  if (rule.kind === 'quartz') return as.kind === 'quartz' && as.values.every((value) => rule.values.includes(value))
  return (
    as.kind === 'mechanical' &&
    as.positions.every((position) => rule.positions.includes(position)) &&
    as.winds.every((wind) => rule.winds.includes(wind))
  )
}

/** What a class asks before its final check; without a class yet, nothing. Hours null: the centre has not set them. */
export function observationOf(
  name: WorkClassName | null,
  table: ReadingsByClass,
  hours: Readonly<Record<string, number>> | null,
): ObservationRule | null {
  if (name === null) return null
  const { positions: places, winds: states, values } = table[name]
  if (values) return { kind: 'quartz', values, hours: hours?.[name] ?? null }
  if (!places || !states) return null
  return { kind: 'mechanical', positions: places, winds: states, hours: hours?.[name] ?? null }
}
