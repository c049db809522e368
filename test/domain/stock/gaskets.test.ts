import { describe, expect, it, test } from 'vitest'
import type { Day } from '../../../src/domain/day.ts'
import {
  type GasketMaterial,
  gasketMaterials,
  gasketMayBeFitted,
  type Inspection,
  lastDayOfQuarter,
  storageLife,
} from '../../../src/domain/stock/gaskets.ts'

const inspected = (on: string, passed = true, purpose: Inspection['purpose'] = 'extension'): Inspection => ({
  on: on as Day,
  passed,
  purpose,
})

describe('storage life', () => {
  // Years from the table extracted from BS ISO 2230:2002 as reprinted by two suppliers; a quarter of cure counts from
  // its last day (supplier practice). 3Q1994 is the "3/94" of the published excerpt.
  test.each([
    ['NBR', '3Q1994', '2001-09-30', '2004-09-30'],
    ['NBR', '3Q2019', '2026-09-30', '2029-09-30'],
    ['NBR', '2Q2021', '2028-06-30', '2031-06-30'],
    ['FKM', '1Q2018', '2028-03-31', '2033-03-31'],
    ['EPDM', '4Q2020', '2030-12-31', '2035-12-31'],
    ['PU', '1Q2020', '2025-03-31', '2027-03-31'],
  ] as [GasketMaterial, string, string, string][])(
    '%s cured %s: %s, extended %s',
    (material, quarter, end, extended) => {
      const cured = lastDayOfQuarter(quarter)
      expect(storageLife(cured, material, [])).toMatchObject({ initialEnd: end, end, extendedEnd: extended })
      expect(storageLife(cured, material, [inspected(end)]).end).toBe(extended)
    },
  )

  // The table extracted from BS ISO 2230:2002, as at studylib.net 25379531 and prepol.com (two copies agree): years, and years once extended.
  test.each(
    Object.entries({
      A: [5, 2, ['NR', 'IR', 'BR', 'SBR', 'AU', 'EU']],
      B: [7, 3, ['ACM', 'ECO', 'CR', 'HNBR', 'IIR', 'NBR']],
      C: [10, 5, ['CSM', 'EPDM', 'FKM', 'FFKM', 'VMQ', 'FVMQ']],
    } as Record<string, [number, number, GasketMaterial[]]>).flatMap(([group, [years, more, materials]]) =>
      materials.map((material) => [material, group, years, more] as const),
    ),
  )('%s is of group %s: %i years and %i', (material, group, years, more) => {
    const life = storageLife(lastDayOfQuarter('3Q1994'), material, [])
    expect(gasketMaterials[material]).toBe(group)
    expect(life).toMatchObject({ initialEnd: `${1994 + years}-09-30`, extendedEnd: `${1994 + years + more}-09-30` })
  })

  it('is extended once, from the end of the initial life, whatever the day of inspection', () => {
    const cured = '2019-09-30' as Day
    expect(storageLife(cured, 'NBR', [inspected('2024-01-05')]).end).toBe('2029-09-30')
    expect(storageLife(cured, 'NBR', [inspected('2026-12-01'), inspected('2029-09-01')]).end).toBe('2029-09-30')
    expect(storageLife(cured, 'NBR', [inspected('2029-09-30')]).end).toBe('2029-09-30')
    expect(storageLife(cured, 'NBR', [inspected('2029-10-01')]).end).toBe('2026-09-30')
    expect(storageLife(cured, 'NBR', [inspected('2026-12-01', false)]).end).toBe('2026-09-30')
    expect(storageLife(cured, 'NBR', [inspected('2026-12-01', true, 'release')]).end).toBe('2026-09-30')
  })

  it('has no limit for a material without a group', () => {
    expect(storageLife(null, 'PTFE', []).end).toBeNull()
    expect(storageLife('1990-03-31' as Day, 'POM', []).end).toBeNull()
  })

  it('holds through its last day; a block closes it', () => {
    const end = '2026-09-30' as Day
    expect(gasketMayBeFitted({ end, blocked: false }, end)).toBe(true)
    expect(gasketMayBeFitted({ end, blocked: false }, '2026-10-01' as Day)).toBe(false)
    expect(gasketMayBeFitted({ end, blocked: true }, '2026-01-01' as Day)).toBe(false)
    expect(gasketMayBeFitted({ end: null, blocked: false }, '2099-01-01' as Day)).toBe(true)
  })

  test.each(['0Q2020', '5Q2020', '3/94', '3Q94', '', '3Q2500'])('“%s” is no quarter of cure', (quarter) => {
    expect(lastDayOfQuarter(quarter)).toBeNull()
  })
})
