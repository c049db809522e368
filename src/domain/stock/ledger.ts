/**
 * Every piece moves by a signed entry, and each entry moves two balances: the shelf and what is out at the bench. A
 * mistake is struck by an opposite entry of the same kind that points to it and counts negatively under that kind.
 */
import type { Day } from '../day.ts'

/** What one piece of an entry does to the shelf and to the pieces out at the bench. */
export const effects = {
  received: { shelf: 1, bench: 0 },
  issued: { shelf: -1, bench: 1 },
  fitted: { shelf: 0, bench: -1 },
  'returned-to-shelf': { shelf: 1, bench: -1 },
  'sold-loose': { shelf: -1, bench: 0 },
  'damaged-on-shelf': { shelf: -1, bench: 0 },
  'damaged-at-bench': { shelf: 0, bench: -1 },
  'written-off': { shelf: -1, bench: 0 },
  'returned-to-supplier': { shelf: -1, bench: 0 },
  'counted-difference': { shelf: 1, bench: 0 },
} as const satisfies Readonly<Record<string, { shelf: -1 | 0 | 1; bench: -1 | 0 | 1 }>>
export type EntryKind = keyof typeof effects

/** `pieces` is above zero but for a counted difference (below zero: missing) and for an entry that strikes another. */
export type Entry = { readonly kind: EntryKind; readonly pieces: number; readonly on: Day }

/** What the trigger of the entry keeps on the lot; a property test holds it to this. */
export function balances(entries: readonly Entry[]): { shelf: number; bench: number } {
  let shelf = 0
  let bench = 0
  for (const { kind, pieces } of entries) {
    shelf += effects[kind].shelf * pieces
    bench += effects[kind].bench * pieces
  }
  return { shelf, bench }
}

/**
 * The first day at whose end a balance is below zero, whatever the order of writing; null where there is none. The same
 * trigger refuses an entry that makes such a day, held to this by the same property.
 */
export function firstDayBelowZero(entries: readonly Entry[]): Day | null {
  const byDay = new Map<Day, Entry[]>()
  for (const entry of entries) byDay.set(entry.on, [...(byDay.get(entry.on) ?? []), entry])
  let shelf = 0
  let bench = 0
  for (const day of [...byDay.keys()].sort()) {
    const moved = balances(byDay.get(day)!)
    shelf += moved.shelf
    bench += moved.bench
    if (shelf < 0 || bench < 0) return day
  }
  return null
}

const terms = [
  'received',
  'shelf',
  'outAtBench',
  'fitted',
  'soldLoose',
  'damaged',
  'returnedToSupplier',
  'writtenOff',
  'countedDifference',
] as const

/**
 * Each term from its own record: shelf from the stored figure, fitted from the fitting facts, the rest from entries. A
 * counted difference is above zero for pieces found, below for pieces missing.
 */
export type MassTerms = Readonly<Record<(typeof terms)[number], number>>

/** Pieces that are not accounted for: 0 where the mass balances, above zero where pieces are missing. */
export const unaccounted = (t: MassTerms): number =>
  t.received -
  (t.shelf +
    t.outAtBench +
    t.fitted +
    t.soldLoose +
    t.damaged +
    t.returnedToSupplier +
    t.writtenOff -
    t.countedDifference)

export const sumOfTerms = (all: readonly MassTerms[]): MassTerms =>
  Object.fromEntries(terms.map((term) => [term, all.reduce((sum, one) => sum + one[term], 0)])) as MassTerms
