/**
 * Storage life of rubber before it is fitted, by material group: initial years and one extension after an inspection.
 * Values: table extracted from BS ISO 2230:2002 as reprinted by two suppliers; they agree. The guideline gives no life
 * in the watch. The end of storage life is reckoned, never typed.
 */
import { addMonths, type Day, daysInMonth } from '../day.ts'

export type GasketGroup = 'A' | 'B' | 'C'

const storageYears: Readonly<Record<GasketGroup, { initial: number; extension: number }>> = {
  A: { initial: 5, extension: 2 },
  B: { initial: 7, extension: 3 },
  C: { initial: 10, extension: 5 },
}

/** Materials with a group have a storage life; `none` has no limit; `old` is recorded but not fitted new. */
export const gasketMaterials = {
  NR: 'A',
  IR: 'A',
  BR: 'A',
  SBR: 'A',
  AU: 'A',
  EU: 'A',
  PU: 'A',
  ACM: 'B',
  ECO: 'B',
  CR: 'B',
  HNBR: 'B',
  IIR: 'B',
  NBR: 'B',
  CSM: 'C',
  EPDM: 'C',
  FKM: 'C',
  FFKM: 'C',
  VMQ: 'C',
  FVMQ: 'C',
  PTFE: 'none',
  nylon: 'none',
  POM: 'none',
  lead: 'old',
  cork: 'old',
} as const satisfies Readonly<Record<string, GasketGroup | 'none' | 'old'>>
export type GasketMaterial = keyof typeof gasketMaterials

const quarterShape = /^([1-4])Q(\d{4})$/

/** The last day of a quarter of cure written `3Q2019`; null where it is not one, or lies outside 1900–2200. */
export function lastDayOfQuarter(quarter: string): Day | null {
  const parts = quarterShape.exec(quarter)
  if (!parts) return null
  const year = Number(parts[2])
  const month = Number(parts[1]) * 3
  if (year < 1900 || year > 2200) return null
  return `${parts[2]}-${String(month).padStart(2, '0')}-${daysInMonth(year, month)}` as Day
}

export type Inspection = { readonly on: Day; readonly passed: boolean; readonly purpose: 'extension' | 'release' }

export type StorageLife = {
  /** Last good day without an extension; null without a limit. */
  readonly initialEnd: Day | null
  readonly extendedEnd: Day | null
  /** The day that holds with the inspections on record. */
  readonly end: Day | null
  readonly extended: boolean
}

/**
 * Storage life from the end of the quarter of cure. One extension, by a passed inspection, counted from the end of the
 * initial life whatever the day of inspection; an inspection after the extended end extends nothing.
 */
export function storageLife(
  cured: Day | null,
  material: GasketMaterial,
  inspections: readonly Inspection[],
): StorageLife {
  const group = gasketMaterials[material]
  if (group === 'none' || group === 'old' || cured === null) {
    return { initialEnd: null, extendedEnd: null, end: null, extended: false }
  }
  const { initial, extension } = storageYears[group]
  const initialEnd = addMonths(cured, initial * 12)
  const extendedEnd = addMonths(initialEnd, extension * 12)
  const extended = inspections.some((i) => i.purpose === 'extension' && i.passed && i.on <= extendedEnd)
  return { initialEnd, extendedEnd, end: extended ? extendedEnd : initialEnd, extended }
}

/** May it be fitted on this day? There is no override. */
export const gasketMayBeFitted = (lot: { end: Day | null; blocked: boolean }, on: Day): boolean =>
  !lot.blocked && (lot.end === null || on <= lot.end)
