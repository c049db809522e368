/**
 * Every piece moves by a signed entry, and each entry moves two balances: the shelf and what is out at the bench. A
 * mistake is struck by an opposite entry of the same kind that points to it and counts negatively under that kind.
 */
import type { Day } from '../day.ts'

export const entryKinds = [
  'received',
  'issued',
  'fitted',
  'returned-to-shelf',
  'sold-loose',
  'damaged-on-shelf',
  'damaged-at-bench',
  'written-off',
  'returned-to-supplier',
  'counted-difference',
] as const
export type EntryKind = (typeof entryKinds)[number]

/** What one piece of an entry does to the shelf and to the pieces out at the bench. */
export const effects: Readonly<Record<EntryKind, { readonly shelf: -1 | 0 | 1; readonly bench: -1 | 0 | 1 }>> = {
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
}

/** `pieces` is above zero but for a counted difference (below zero: missing) and for an entry that strikes another. */
export type Entry = { readonly kind: EntryKind; readonly pieces: number; readonly on: Day }

export type Balances = { readonly shelf: number; readonly bench: number }

export function balances(entries: readonly Entry[]): Balances {
  let shelf = 0
  let bench = 0
  for (const { kind, pieces } of entries) {
    shelf += effects[kind].shelf * pieces
    bench += effects[kind].bench * pieces
  }
  return { shelf, bench }
}

/** The first day at whose end a balance is below zero, whatever the order of writing; null where there is none. */
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

/** Each term from its own record: shelf from the stored figure, fitted from the fitting facts, the rest from entries. */
export type MassTerms = {
  readonly received: number
  readonly shelf: number
  readonly outAtBench: number
  readonly fitted: number
  readonly soldLoose: number
  readonly damaged: number
  readonly returnedToSupplier: number
  readonly writtenOff: number
  /** Found counts up, missing down. */
  readonly countedDifference: number
}

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

export function massTerms(entries: readonly Entry[], records: { shelf: number; fitted: number }): MassTerms {
  const sum = (...kinds: EntryKind[]) =>
    entries.reduce((total, e) => (kinds.includes(e.kind) ? total + e.pieces : total), 0)
  return {
    received: sum('received'),
    shelf: records.shelf,
    outAtBench: balances(entries).bench,
    fitted: records.fitted,
    soldLoose: sum('sold-loose'),
    damaged: sum('damaged-on-shelf', 'damaged-at-bench'),
    returnedToSupplier: sum('returned-to-supplier'),
    writtenOff: sum('written-off'),
    countedDifference: sum('counted-difference'),
  }
}

export const sumOfTerms = (all: readonly MassTerms[]): MassTerms =>
  all.reduce(
    (a, b) => ({
      received: a.received + b.received,
      shelf: a.shelf + b.shelf,
      outAtBench: a.outAtBench + b.outAtBench,
      fitted: a.fitted + b.fitted,
      soldLoose: a.soldLoose + b.soldLoose,
      damaged: a.damaged + b.damaged,
      returnedToSupplier: a.returnedToSupplier + b.returnedToSupplier,
      writtenOff: a.writtenOff + b.writtenOff,
      countedDifference: a.countedDifference + b.countedDifference,
    }),
    massTerms([], { shelf: 0, fitted: 0 }),
  )
