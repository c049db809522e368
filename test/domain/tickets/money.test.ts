import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { Day } from '../../../src/domain/day.ts'
import { decimalsOf, inWords, isAbove, taxOn } from '../../../src/domain/money.ts'
import {
  agreedTotal,
  answerFaults,
  billOf,
  type EstimateLine,
  requirementFaults,
  totalsOf,
} from '../../../src/domain/tickets/estimate.ts'
import { coverOf, daysOfStay, guaranteeEnd } from '../../../src/domain/tickets/guarantee.ts'

const line = (id: string, quantity: number, unitPrice: number, more: Partial<EstimateLine> = {}): EstimateLine => ({
  id,
  quantity,
  unitPrice,
  taxClass: 'usual',
  taxRate: 2000,
  choice: 'must',
  requiredBy: null,
  ...more,
})
const eur = (amount: number) => ({ amount, currency: 'EUR' })

/** Worked example, common practice, no source: labour 280.00, three gaskets at 4.50, crystal 62.00, tax 20 %. */
const lines = [line('labour', 1, 28_000), line('gaskets', 3, 450, { requiredBy: 'labour' }), line('crystal', 1, 6200)]

describe('an estimate', () => {
  it('comes to 355.50 net, 71.10 tax, 426.60', () => {
    expect(totalsOf(lines, 'per-line')).toEqual({ net: 35_550, tax: 7110, total: 42_660 })
    expect(totalsOf(lines, 'per-total')).toEqual({ net: 35_550, tax: 7110, total: 42_660 })
  })
  it('has a deposit of 74.40 for the crystal and a balance of 352.20', () => {
    const deposit = agreedTotal(lines, new Set(['crystal']), 'per-line').total
    expect(deposit).toBe(7440)
    expect(totalsOf(lines, 'per-line').total - deposit).toBe(35_220)
  })
  it('comes to 448.20 with a stem of 18.00: above 426.60, not above a ceiling of 450.00', () => {
    const more = totalsOf([...lines, line('stem', 1, 1800)], 'per-line').total
    expect(more).toBe(44_820)
    expect(isAbove(eur(more), eur(42_660))).toBe(true)
    expect(isAbove(eur(more), eur(45_000))).toBe(false)
    expect(isAbove(eur(45_000), eur(45_000))).toBe(false)
    expect(isAbove(eur(1), { amount: 45_000, currency: 'CHF' })).toBeNull()
  })
  it('rounds halves up, per line or once per total', () => {
    const three = [line('a', 1, 3), line('b', 1, 3), line('c', 1, 3)].map((l) => ({ ...l, taxRate: 5000 }))
    expect(totalsOf(three, 'per-line')).toEqual({ net: 9, tax: 6, total: 15 })
    expect(totalsOf(three, 'per-total')).toEqual({ net: 9, tax: 5, total: 14 })
  })
  it('taxes exactly where doubles would not', () => {
    expect(taxOn(5, 1000)).toBe(1)
    expect(taxOn(4, 1000)).toBe(0)
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 100_000_000_000 }), fc.integer({ min: 0, max: 10_000 }), (net, rate) => {
        const tax = BigInt(taxOn(net, rate))
        const exact = BigInt(net) * BigInt(rate)
        return tax * 20_000n - exact * 2n <= 10_000n && exact * 2n - tax * 20_000n < 10_000n
      }),
    )
  })
  it('refuses the single refusal of what another line requires', () => {
    const answer = (gaskets: 'yes' | 'no', labour: 'yes' | 'no') =>
      answerFaults(
        lines,
        new Map([
          ['labour', labour],
          ['gaskets', gaskets],
        ]),
      )
    expect(answer('no', 'yes')).toMatchObject([{ line: 'gaskets' }])
    expect(answer('no', 'no')).toEqual([])
    expect(answerFaults(lines, new Map([['polish', 'yes']]))).toMatchObject([{ line: 'polish' }])
  })
  it('refuses requirements that lead nowhere or in a circle', () => {
    expect(requirementFaults(lines)).toEqual([])
    expect(requirementFaults([line('a', 1, 1, { requiredBy: 'z' })])).toHaveLength(1)
    expect(
      requirementFaults([line('a', 1, 1, { requiredBy: 'b' }), line('b', 1, 1, { requiredBy: 'a' })]),
    ).toHaveLength(2)
    expect(requirementFaults([line('a', 1, 1, { requiredBy: 'a' })])).toHaveLength(1)
  })
})

describe('the bill', () => {
  it('never exceeds the agreed total, whatever was done and given away', () => {
    const anyLine = fc.record({
      quantity: fc.integer({ min: 1, max: 20 }),
      unitPrice: fc.integer({ min: 0, max: 100_000 }),
      rate: fc.constantFrom(0, 500, 1900, 2000, 777),
      goodwill: fc.integer({ min: 0, max: 50_000 }),
      done: fc.boolean(),
      yes: fc.boolean(),
    })
    fc.assert(
      fc.property(
        fc.array(anyLine, { maxLength: 8 }),
        fc.constantFrom('per-line' as const, 'per-total' as const),
        (list, rounding) => {
          const all = list.map((l, i) => ({ ...line(String(i), l.quantity, l.unitPrice, { taxRate: l.rate }), ...l }))
          const agreed = totalsOf(
            all.filter((l) => l.yes),
            rounding,
          ).total
          const bill = billOf(
            all.filter((l) => l.yes && l.done),
            agreed,
            rounding,
          )
          return bill.total <= agreed && bill.total === bill.net + bill.tax
        },
      ),
      { numRuns: 2000 },
    )
  })
  it('is the agreed total where all was done and nothing given away', () => {
    expect(
      billOf(
        lines.map((l) => ({ ...l, goodwill: 0 })),
        42_660,
        'per-total',
      ).total,
    ).toBe(42_660)
    expect(
      billOf(
        lines.map((l) => ({ ...l, goodwill: 1_000_000 })),
        42_660,
        'per-total',
      ).total,
    ).toBe(0)
  })
})

describe('money', () => {
  /** ISO 4217 list of 2024-06-25; HUF has two there, whatever a browser says. */
  it.each([
    ...'EUR GBP CHF USD CZK PLN SEK HUF MGA MRU'.split(' ').map((code) => [code, 2] as const),
    ...'JPY KRW ISK CLP VND XOF XAF XPF PYG UGX'.split(' ').map((code) => [code, 0] as const),
    ...'BHD KWD JOD OMR IQD LYD TND'.split(' ').map((code) => [code, 3] as const),
    ...'CLF UYW'.split(' ').map((code) => [code, 4] as const),
  ])('%s has %i decimals', (code, decimals) => {
    expect(decimalsOf(code)).toBe(decimals)
  })
  it('is written with its own decimals', () => {
    expect(inWords(eur(42_660))).toBe('426.60 EUR')
    expect(inWords(eur(5))).toBe('0.05 EUR')
    expect(inWords(eur(-5))).toBe('-0.05 EUR')
    expect(inWords({ amount: 500, currency: 'JPY' })).toBe('500 JPY')
  })
})

describe('a guarantee', () => {
  const day = (text: string) => text as Day
  it('ends on its last day inclusive, with the days in the house added', () => {
    expect(guaranteeEnd(day('2024-02-29'), 24, 0)).toBe('2026-02-28')
    expect(guaranteeEnd(day('2024-02-29'), 12, 20)).toBe('2025-03-20')
    expect(coverOf(day('2026-02-28'), day('2026-02-28'), 'no').covered).toBe(true)
    expect(coverOf(day('2026-02-28'), day('2026-03-01'), 'no').covered).toBe(false)
    expect(coverOf(day('2026-02-28'), day('2026-02-01'), 'opened-elsewhere').covered).toBe(false)
    expect(coverOf(null, day('2026-02-01'), 'no').covered).toBe(false)
  })
  it('counts from the last day of a hand-over known only to its month: late is safe', () => {
    expect(guaranteeEnd('2024-02' as never, 24, 0)).toBe('2026-02-28')
    expect(guaranteeEnd('2024' as never, 12, 0)).toBe('2025-12-31')
  })
  it('adds the days between booking-in and hand-over of a covered stay', () => {
    expect(daysOfStay(day('2024-06-01'), day('2024-06-21'))).toBe(20)
  })
})
