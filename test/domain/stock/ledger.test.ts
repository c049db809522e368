import fc from 'fast-check'
import { describe, expect, it, test } from 'vitest'
import { addDays, type Day } from '../../../src/domain/day.ts'
import {
  balances,
  type Entry,
  type EntryKind,
  effects,
  firstDayBelowZero,
  type MassTerms,
  sumOfTerms,
  unaccounted,
} from '../../../src/domain/stock/ledger.ts'

const start = '2026-11-01' as Day
const entry = (kind: EntryKind, pieces: number, after = 0): Entry => ({ kind, pieces, on: addDays(start, after) })

function massTerms(entries: readonly Entry[], records: { shelf: number; fitted: number }): MassTerms {
  const sum = (...kinds: EntryKind[]) =>
    entries.reduce((total, e) => (kinds.includes(e.kind) ? total + e.pieces : total), 0)
  return {
    received: sum('received'),
    outAtBench: balances(entries).bench,
    soldLoose: sum('sold-loose'),
    damaged: sum('damaged-on-shelf', 'damaged-at-bench'),
    returnedToSupplier: sum('returned-to-supplier'),
    writtenOff: sum('written-off'),
    countedDifference: sum('counted-difference'),
    ...records,
  }
}

describe('mass balance', () => {
  it('of a lot of 40 closes: shelf 11, fitted 26, loose 2, damaged 1', () => {
    const entries = [
      entry('received', 40),
      entry('issued', 27, 1),
      entry('fitted', 26, 1),
      entry('damaged-at-bench', 1, 1),
      entry('sold-loose', 2, 2),
    ]
    expect(balances(entries)).toEqual({ shelf: 11, bench: 0 })
    expect(unaccounted(massTerms(entries, { shelf: 11, fitted: 26 }))).toBe(0)
  })

  it('says by how much it does not close where the fitting facts name fewer pieces', () => {
    const entries = [entry('received', 40), entry('issued', 27), entry('fitted', 26)]
    expect(unaccounted(massTerms(entries, { shelf: 13, fitted: 24 }))).toBe(2)
  })

  it('counts a found piece up and a missing piece down', () => {
    const entries = [entry('received', 10), entry('counted-difference', -2), entry('counted-difference', 1)]
    expect(balances(entries).shelf).toBe(9)
    expect(unaccounted(massTerms(entries, { shelf: 9, fitted: 0 }))).toBe(0)
  })

  const anyEntry = fc.record({
    kind: fc.constantFrom(...(Object.keys(effects) as EntryKind[])),
    pieces: fc.oneof(fc.integer({ min: 1, max: 50 }), fc.integer({ min: -50, max: -1 })),
    on: fc.nat(30).map((n) => addDays(start, n)),
  })

  it('closes after any sequence of entries and strikes, whatever their order', () => {
    fc.assert(
      fc.property(fc.array(anyEntry, { maxLength: 60 }), (entries) => {
        const shelf = balances(entries).shelf
        const fitted = entries.reduce((sum, e) => sum + (e.kind === 'fitted' ? e.pieces : 0), 0)
        expect(unaccounted(massTerms(entries, { shelf, fitted }))).toBe(0)
        expect(unaccounted(massTerms(entries, { shelf: shelf - 3, fitted }))).toBe(3)
      }),
    )
  })

  it('of the sum is the sum of the balances', () => {
    const one = massTerms([entry('received', 10), entry('issued', 2)], { shelf: 8, fitted: 0 })
    const other = massTerms([entry('received', 5)], { shelf: 4, fitted: 0 })
    expect(sumOfTerms([one, other])).toMatchObject({ received: 15, shelf: 12, outAtBench: 2 })
    expect(unaccounted(sumOfTerms([one, other]))).toBe(1)
  })
})

describe('a balance below zero on any day', () => {
  test.each([
    ['issued before the receipt', [entry('received', 5, 2), entry('issued', 1, 1)], 1],
    ['more fitted than issued', [entry('received', 5), entry('issued', 1, 1), entry('fitted', 2, 1)], 1],
    [
      'a back-dated write-off that today would allow',
      [entry('received', 5), entry('issued', 5, 1), entry('returned-to-shelf', 5, 3), entry('written-off', 1, 2)],
      2,
    ],
  ])('is found: %s', (_, entries, after) => {
    expect(firstDayBelowZero(entries as Entry[])).toBe(addDays(start, after as number))
  })

  it('is none where each day ends well, in whatever order it was written', () => {
    expect(firstDayBelowZero([entry('fitted', 1), entry('issued', 1), entry('received', 1)])).toBeNull()
  })
})
