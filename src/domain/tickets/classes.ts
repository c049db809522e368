import type { HouseClass } from '../readings/judge.ts'
import type { ObservationRule } from './snapshot.ts'

/**
 * Classes of work: what has to be read before the final check, and the house class whose tolerances count where the maker
 * gives none. The hours of observation are a local setting by class; a class without readings needs none.
 */
type WorkClass = {
  readonly words: string
  readonly houseClass: HouseClass
  readonly reads:
    | null
    | {
        readonly kind: 'mechanical'
        readonly positions: readonly string[]
        readonly winds: readonly ('full' | 'after-24')[]
      }
    | { readonly kind: 'quartz'; readonly values: readonly string[] }
}

const mechanical = (positions: readonly string[]) => ({
  kind: 'mechanical' as const,
  positions,
  winds: ['full', 'after-24'] as const,
})
const quartzValues = { kind: 'quartz' as const, values: ['rate', 'consumption', 'lowerWorkingVoltage'] }

export const workClasses = {
  cell: { words: 'cell change', houseClass: 'quartz', reads: null },
  strap: { words: 'strap or bracelet', houseClass: 'quartz', reads: null },
  seals: { words: 'seals and water test', houseClass: 'quartz', reads: null },
  case: { words: 'case and bracelet', houseClass: 'three-hand', reads: null },
  quartz: { words: 'quartz, complete service or repair', houseClass: 'quartz', reads: quartzValues },
  thermocompensated: { words: 'thermocompensated quartz', houseClass: 'thermocompensated', reads: quartzValues },
  'three-hand': { words: 'three-hand mechanical', houseClass: 'three-hand', reads: mechanical(['CH', 'FH', '6H']) },
  chronograph: {
    words: 'mechanical chronograph',
    houseClass: 'three-hand',
    reads: mechanical(['CH', 'FH', '3H', '6H', '9H']),
  },
  vintage: { words: 'vintage or high complication', houseClass: 'vintage', reads: mechanical(['CH', 'FH', '6H']) },
} as const satisfies Record<string, WorkClass>

export type WorkClassName = keyof typeof workClasses
export const workClassNames = Object.keys(workClasses) as WorkClassName[]

/** What a class asks before its final check; without a class yet, nothing. Hours null: the centre has not set them. */
export function observationOf(
  name: WorkClassName | null,
  hours: Readonly<Record<string, number>> | null,
): ObservationRule | null {
  const reads = name === null ? null : workClasses[name].reads
  return reads === null || name === null ? null : { ...reads, hours: hours?.[name] ?? null }
}
