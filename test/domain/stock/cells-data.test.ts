import { describe, expect, it, test } from 'vitest'
import type { Day } from '../../../src/domain/day.ts'
import { cellLifeMonths } from '../../../src/domain/reckoning/cell-life.ts'
import { decodeDateCode, whyNoTable } from '../../../src/domain/stock/date-codes.ts'
import {
  canonicalDesignation,
  cellSizes,
  readDesignation,
  sizeOf,
  systems,
  wasteBoxOf,
  whyNoSubstitute,
} from '../../../src/domain/stock/sizes.ts'

describe('cell life', () => {
  // hours = C / I × 1000, years of 8766 hours; computed with GNU units and R.
  test.each([
    [40, 1.5, 3.042056],
    [40, 1, 4.563085],
    [40, 2.5, 1.825234],
    [27, 1.5, 2.053388],
    [28, 1.2, 2.661799],
    [20, 0.9, 2.535047],
    [150, 4, 4.277892],
    [225, 3, 8.555784],
  ])('%f mAh at %f µA: the whole months of %f years', (capacity, draw, years) => {
    expect(cellLifeMonths(capacity, draw, 100)).toBe(Math.floor(years * 12))
  })

  it('promises 18 months to a watch that draws 1.9 µA from 28 mAh, and 28 after the service', () => {
    // 20.17 months by the charge
    expect(cellLifeMonths(28, 1.9, 100)).toBe(20)
    expect(cellLifeMonths(28, 1.9, 90)).toBe(18)
    expect(cellLifeMonths(28, 1.2, 90)).toBe(28)
  })

  it('is exact on the decimals: 10.227 mAh at 0.6 µA is 21 months', () => {
    expect(cellLifeMonths(10.227, 0.6, 90)).toBe(21)
  })
})

describe('sizes', () => {
  it('are looked up, never computed: an SR621 is 2.15 mm high and a CR1216 is 12.5 mm wide', () => {
    expect(sizeOf('SR621SW')).toMatchObject({ size: 'R60', heightMm: '2.15', diameterMm: '6.8' })
    expect(sizeOf('cr 1216')).toMatchObject({ diameterMm: '12.5', heightMm: '1.6' })
    expect(sizeOf('SR99')).toBeNull()
  })

  /**
   * Two open CAD tables (airbrakes-SR button_batteries.scad, omdl button.scad), club and retail pages; those marked are from memory.
   * Where pages disagree (SR54, SR57, SR69) the more careful one is taken. Capacities from the same pages, the lower where they give a range.
   */
  test.each([
    ['SR41', 'SR736', 7.9, 3.6, 46],
    ['LR41', 'LR736', 7.9, 3.6, 45],
    ['SR43', 'SR1142', 11.6, 4.2, 170],
    ['SR44', 'SR1154', 11.6, 5.4, 150],
    ['LR44', 'LR1154', 11.6, 5.4, 110],
    ['SR45', 'SR936', 9.5, 3.6, 55],
    ['SR48', 'SR754', 7.9, 5.4, 70],
    ['SR54', 'SR1130', 11.6, 3.05, 80],
    ['SR55', 'SR1120', 11.6, 2.05, 45],
    ['SR57', null, 9.5, 2.6, 55],
    ['SR926', null, 9.5, 2.6, null],
    ['SR927', null, 9.5, 2.7, null],
    ['SR58', 'SR721', 7.9, 2.1, 25],
    ['SR59', 'SR726', 7.9, 2.6, 30],
    ['SR60', 'SR621', 6.8, 2.15, 20],
    ['SR62', 'SR516', 5.8, 1.6, 11],
    ['SR63', 'SR521', 5.8, 2.15, 16],
    ['SR64', 'SR527', 5.8, 2.7, 20],
    ['SR65', 'SR616', 6.8, 1.65, 14],
    ['SR66', 'SR626', 6.8, 2.6, 27],
    ['LR66', 'LR626', 6.8, 2.6, 16],
    ['SR69', null, 9.5, 2.05, 40],
    ['SR920', null, 9.5, 2.05, null],
    ['SR921', null, 9.5, 2.1, null],
    ['SR416', null, 4.8, 1.6, 8],
    ['CR1216', null, 12.5, 1.6, 30],
    ['CR1616', null, 16, 1.6, 50],
    ['CR2016', null, 20, 1.6, 90],
    ['CR2025', null, 20, 2.5, 150],
    ['CR2032', null, 20, 3.2, 210],
  ])('%s, also %s: %d × %d mm, about %d mAh', (code, also, diameter, height, capacity) => {
    const size = sizeOf(code)
    expect([Number(size?.diameterMm), Number(size?.heightMm)]).toEqual([diameter, height])
    expect(size?.usualMah?.[code[0] as string] ?? null).toBe(capacity === null ? null : String(capacity))
    if (also !== null) {
      expect(sizeOf(also)).toBe(size)
      expect(canonicalDesignation(`${also}SW`)).toBe(canonicalDesignation(`${code}SW`))
    }
    expect(cellSizes.map((one) => one.size)).toContain(size?.size)
  })

  it('know one cell under both of its codes, and keep apart those that differ by 0.05 mm', () => {
    expect(canonicalDesignation('SR626SW')).toBe('SR66SW')
    expect(canonicalDesignation('sr66-sw')).toBe('SR66SW')
    expect(canonicalDesignation('SR626W')).toBe('SR66W')
    expect(canonicalDesignation('SR921')).not.toBe(canonicalDesignation('SR69'))
    expect(canonicalDesignation('own 12')).toBe('OWN12')
  })

  it('hold every code once', () => {
    const codes = cellSizes.flatMap(({ size, also }) => (also ? [size, also] : [size]))
    expect(new Set(codes).size).toBe(codes.length)
  })

  it('read system, size and suffix; volts by the Battery Association of Japan', () => {
    expect(readDesignation('SR626SW')).toEqual({ system: 'S', size: 'R626', suffix: 'SW' })
    expect(readDesignation('R626')).toBeNull()
    const volts = Object.fromEntries(Object.entries(systems).map(([letter, system]) => [letter, system.volts]))
    expect(volts).toEqual({ S: '1.55', L: '1.5', C: '3.0', B: '3.0', P: '1.4', Z: '1.5', G: '1.5' })
  })

  it('lets no alkaline stand in for silver oxide, no high drain for low', () => {
    const silver = { chemistry: 'silver-oxide', drain: 'low' } as const
    expect(whyNoSubstitute(silver, { chemistry: 'alkaline', drain: 'low' })).toBe('other-chemistry')
    expect(whyNoSubstitute(silver, { chemistry: 'silver-oxide', drain: 'high' })).toBe('other-drain')
    expect(whyNoSubstitute(silver, { chemistry: 'mercury', drain: 'low' })).toBe('mercury')
    expect(whyNoSubstitute({ chemistry: 'rechargeable', drain: 'low' }, silver)).toBe('other-chemistry')
    expect(whyNoSubstitute(silver, silver)).toBeNull()
  })

  it('keeps mercury apart and lithium together', () => {
    expect(wasteBoxOf('mercury')).toBe('mercury')
    expect(wasteBoxOf('lithium-fluoride')).toBe(wasteBoxOf('lithium-manganese'))
    expect(wasteBoxOf('silver-oxide')).toBe('silver-oxide')
  })
})

describe('date codes', () => {
  const table = { name: 'digit and letter', layout: 'YM', monthSigns: '123456789OND' } as const
  const received = '2026-05-20' as Day

  test.each([
    ['65', '2026-05'],
    ['66', '2016-06'],
    ['5D', '2025-12'],
    ['6o', '2016-10'],
    ['71', '2017-01'],
  ])('a year of one digit is the latest not after receipt: %s is %s', (code, month) => {
    expect(decodeDateCode(code, table, received)).toMatchObject({ ok: true, month, table: 'digit and letter' })
  })

  it('counts a month of manufacture from its first day', () => {
    expect(decodeDateCode('2511', { name: 'four digits', layout: 'YYMM' }, received)).toMatchObject({
      firstDay: '2025-11-01',
    })
  })

  test.each(['6', '6X', 'A5', '655'])('refuses %s', (code) => {
    expect(decodeDateCode(code, table, received).ok).toBe(false)
  })

  it('refuses a month that there is not, and a table that tells two months alike', () => {
    expect(decodeDateCode('2513', { name: 'four digits', layout: 'YYMM' }, received).ok).toBe(false)
    expect(whyNoTable({ ...table, monthSigns: '112345678OND' })).not.toBeNull()
    expect(whyNoTable({ name: 'x', layout: 'YYMM', monthSigns: '123456789OND' })).not.toBeNull()
  })
})
