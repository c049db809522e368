/**
 * Round cells by the size code of IEC 60086: system letter, R, size, suffix. Diameter and height are looked up, never
 * computed from the digits: an SR621 is 2.15 mm high, a CR1216 is 12.5 mm wide. The rows are reference data from open
 * tables (two CAD tables, club and retail pages) or from memory, as each says; a centre may enter its own.
 */

/** System letters and nominal volts: Battery Association of Japan, specification page. */
export const systems = {
  S: { chemistry: 'silver-oxide', volts: '1.55' },
  L: { chemistry: 'alkaline', volts: '1.5' },
  C: { chemistry: 'lithium-manganese', volts: '3.0' },
  B: { chemistry: 'lithium-fluoride', volts: '3.0' },
  P: { chemistry: 'zinc-air', volts: '1.4' },
  Z: { chemistry: 'nickel-oxyhydroxide', volts: '1.5' },
  G: { chemistry: 'lithium-copper', volts: '1.5' },
} as const
export const chemistries = [
  'silver-oxide',
  'alkaline',
  'lithium-manganese',
  'lithium-fluoride',
  'zinc-air',
  'nickel-oxyhydroxide',
  'lithium-copper',
  'mercury',
  'rechargeable',
] as const
export type Chemistry = (typeof chemistries)[number]

/** Spent and written-off pieces go into one box for each of these; mercury never beside silver. */
export const wasteBoxOf = (chemistry: Chemistry): 'silver-oxide' | 'alkaline' | 'lithium' | 'mercury' | 'other' =>
  chemistry === 'silver-oxide' || chemistry === 'alkaline' || chemistry === 'mercury'
    ? chemistry
    : chemistry.startsWith('lithium')
      ? 'lithium'
      : 'other'

export type CellSize = {
  /** Size code without system letter and suffix, as `R66`. */
  readonly size: string
  /** The same size under its diameter-and-height code; sizes that differ by 0.05 mm are rows of their own. */
  readonly also?: string
  readonly diameterMm: string
  readonly heightMm: string
  /** Usual capacity of the given system, where a page states one. */
  readonly usualMah?: Readonly<Record<string, string>>
  readonly source: 'open tables' | 'from memory'
}

const row = (
  size: string,
  also: string | undefined,
  diameterMm: string,
  heightMm: string,
  usualMah: Record<string, string> | undefined,
  source: CellSize['source'] = 'open tables',
): CellSize => ({ size, also, diameterMm, heightMm, usualMah, source })

export const cellSizes: readonly CellSize[] = [
  row('R41', 'R736', '7.9', '3.6', { S: '46', L: '45' }),
  row('R43', 'R1142', '11.6', '4.2', { S: '170' }),
  row('R44', 'R1154', '11.6', '5.4', { S: '150', L: '110' }),
  row('R45', 'R936', '9.5', '3.6', { S: '55' }),
  row('R48', 'R754', '7.9', '5.4', { S: '70' }),
  row('R54', 'R1130', '11.6', '3.05', { S: '80' }, 'from memory'),
  row('R55', 'R1120', '11.6', '2.05', { S: '45' }, 'from memory'),
  row('R57', undefined, '9.5', '2.6', { S: '55' }),
  row('R926', undefined, '9.5', '2.6', undefined),
  row('R927', undefined, '9.5', '2.7', undefined, 'from memory'),
  row('R58', 'R721', '7.9', '2.1', { S: '25' }, 'from memory'),
  row('R59', 'R726', '7.9', '2.6', { S: '30' }, 'from memory'),
  row('R60', 'R621', '6.8', '2.15', { S: '20' }),
  row('R62', 'R516', '5.8', '1.6', { S: '11' }),
  row('R63', 'R521', '5.8', '2.15', { S: '16' }, 'from memory'),
  row('R64', 'R527', '5.8', '2.7', { S: '20' }),
  row('R65', 'R616', '6.8', '1.65', { S: '14' }),
  row('R66', 'R626', '6.8', '2.6', { S: '27', L: '16' }),
  row('R69', undefined, '9.5', '2.05', { S: '40' }),
  row('R920', undefined, '9.5', '2.05', undefined),
  row('R921', undefined, '9.5', '2.1', undefined),
  row('R416', undefined, '4.8', '1.6', { S: '8' }),
  row('R1216', undefined, '12.5', '1.6', { C: '30' }),
  row('R1616', undefined, '16', '1.6', { C: '50' }),
  row('R2016', undefined, '20', '1.6', { C: '90' }),
  row('R2025', undefined, '20', '2.5', { C: '150' }),
  row('R2032', undefined, '20', '3.2', { C: '210' }),
]

export type Designation = { readonly system: keyof typeof systems; readonly size: string; readonly suffix: string }

const grammar = /^([SLCBPZG])(R\d{2,5})([A-Z]{0,3})$/

/** Upper case without spaces, dashes or full stops: two ways to write one designation are one. */
const normalDesignation = (written: string): string => written.toUpperCase().replace(/[\s.\-‐–—]/g, '')

/** The parts of a designation; null where it does not follow the size code. */
export function readDesignation(written: string): Designation | null {
  const parts = grammar.exec(normalDesignation(written))
  return parts ? { system: parts[1] as Designation['system'], size: parts[2]!, suffix: parts[3]! } : null
}

/** Whether a designation names a cell of a 3 V system; one that does not follow the size code is not taken for one. */
export const isThreeVolt = (written: string | null): boolean => {
  const read = written === null ? null : readDesignation(written)
  return read !== null && systems[read.system].volts === '3.0'
}

/** The known dimensions of a designation, under either of its codes; null where the table has none. */
export function sizeOf(written: string): CellSize | null {
  const designation = readDesignation(written)
  if (!designation) return null
  return cellSizes.find(({ size, also }) => size === designation.size || also === designation.size) ?? null
}

/** One name for one size: SR626SW and SR66SW are the same cell. Suffixes stay, they are different cells. */
export function canonicalDesignation(written: string): string {
  const designation = readDesignation(written)
  const known = sizeOf(written)
  if (!designation || !known) return normalDesignation(written)
  return `${designation.system}${known.size}${designation.suffix}`
}

export type Drain = 'low' | 'high'

/**
 * Why one designation may not stand in for another, or null where a watchmaker may approve it: same chemistry (so an
 * alkaline cell never replaces silver oxide), same drain, and never a primary cell for a rechargeable.
 */
export function whyNoSubstitute(
  wanted: { chemistry: Chemistry; drain: Drain | 'unknown' },
  offered: { chemistry: Chemistry; drain: Drain | 'unknown' },
): 'other-chemistry' | 'other-drain' | 'mercury' | null {
  if (offered.chemistry === 'mercury') return 'mercury'
  if (wanted.chemistry !== offered.chemistry) return 'other-chemistry'
  return wanted.drain === offered.drain ? null : 'other-drain'
}
