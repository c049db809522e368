/**
 * House rules that are a small table: the same dates, reasons and door as a single number. Each carries its first value and
 * where that comes from; what is entered is read strictly, and what is left out of a whole keeps its first value.
 */
export type TableFault = { readonly pointer: string; readonly detail: string }

export interface HouseTable<T = unknown> {
  readonly default: T
  /** how a value is written */
  readonly shape: string
  readonly words: string
  /** where the first values come from */
  readonly source: string
  /** the value as it is kept, or the member that is wrong and what it must be */
  readonly read: (value: unknown) => { readonly value: T } | TableFault
}

export type Bounds = { readonly min: number; readonly max: number; readonly unit: string; readonly whole?: boolean }

export const isRecord = (value: unknown): value is Record<string, unknown> =>
  typeof value === 'object' && value !== null && !Array.isArray(value)

export const isFault = <T>(read: { readonly value: T } | TableFault): read is TableFault => 'detail' in read

/** A member in a pointer (RFC 6901). */
export const member = (key: string): string => `/${key.replaceAll('~', '~0').replaceAll('/', '~1')}`

const NOT_A_TABLE: TableFault = { pointer: '', detail: 'must be an object' }

/** The member that is no number within its bounds, or that the table does not know. */
function numberFault(
  value: Record<string, unknown>,
  bounds: Readonly<Record<string, Bounds>>,
  at: string,
): TableFault | null {
  for (const [key, n] of Object.entries(value)) {
    const allowed = Object.hasOwn(bounds, key) ? bounds[key] : undefined
    if (!allowed) return { pointer: at + member(key), detail: `is not one of: ${Object.keys(bounds).join(', ')}` }
    if (typeof n !== 'number' || n < allowed.min || n > allowed.max || (allowed.whole && !Number.isInteger(n))) {
      const what = allowed.whole ? 'a whole number' : 'a number'
      return {
        pointer: `${at}/${key}`,
        detail: `must be ${what} from ${allowed.min} to ${allowed.max} (${allowed.unit})`,
      }
    }
  }
  return null
}

/** One number for each name; a name left out keeps its first value. */
export function numbers<const Key extends string>(
  first: Readonly<Record<Key, number>>,
  bounds: Readonly<Record<string, Bounds>>,
): HouseTable<Readonly<Record<Key, number>>>['read'] {
  return (value) => {
    if (!isRecord(value)) return NOT_A_TABLE
    return numberFault(value, bounds, '') ?? { value: { ...first, ...value } }
  }
}

/** A row of numbers for each name; a row left out keeps its first values, a number left out of a row is no limit. */
export function rowsOfNumbers<const Row extends string, const Column extends string>(
  first: Readonly<Record<Row, Readonly<Partial<Record<Column, number>>>>>,
  bounds: Readonly<Record<Column, Bounds>>,
  pairs: readonly (readonly [Column, Column])[],
): HouseTable<Readonly<Record<Row, Readonly<Partial<Record<Column, number>>>>>>['read'] {
  return (value) => {
    if (!isRecord(value)) return NOT_A_TABLE
    for (const [name, row] of Object.entries(value)) {
      if (!Object.hasOwn(first, name))
        return { pointer: member(name), detail: `is not one of: ${Object.keys(first).join(', ')}` }
      if (!isRecord(row)) return { pointer: `/${name}`, detail: 'must be an object of limits' }
      const fault = numberFault(row, bounds, `/${name}`)
      if (fault) return fault
      for (const [low, high] of pairs)
        if (typeof row[low] === 'number' && typeof row[high] === 'number' && row[low] > row[high])
          return { pointer: `/${name}/${high}`, detail: `must not lie below ${low}` }
    }
    return { value: { ...first, ...value } }
  }
}

/** The value stored for a day, or the first one where the house never changed it. */
export function tableFrom<T>(table: HouseTable<T>, stored: unknown): T {
  if (stored === undefined) return table.default
  const read = table.read(stored)
  return isFault(read) ? table.default : read.value
}
