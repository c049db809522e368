import { describe, expect, it } from 'vitest'
import type { Day } from '../../../src/domain/day.ts'
import {
  barOfAtmospheres,
  barOfMetres,
  barOfPsi,
  inBar,
  type PressureUnit,
} from '../../../src/domain/readings/pressure.ts'
import { doubtfulSpans, isInDate, validUntil } from '../../../src/domain/readings/tools.ts'
import {
  highestPressure,
  judgeWaterTest,
  limitsUnder,
  mayBeDiver,
  type TestedWatch,
  usualTestPressure,
  type WaterTest,
  waterTestFaults,
} from '../../../src/domain/readings/water.ts'
import { defaultTicketRules } from '../../../src/domain/tickets/rules.ts'

const watch: TestedWatch = {
  claim: 'rated',
  ratedBar: 10,
  diver: false,
  crystal: 'sapphire',
  vintage: false,
  ownerConsents: false,
}
const test: WaterTest = {
  kind: 'overpressure-dry',
  bar: 10,
  seconds: 60,
  deformationMicrometres: 3,
  leakMicrogramsPerMinute: 12,
  settledMinutes: 30,
  condensation: null,
  seen: 'passed',
}
const limits = limitsUnder(defaultTicketRules)
const keys = (t: WaterTest, w = watch, passedDry = false) =>
  waterTestFaults(t, w, passedDry, limits).map((fault) => fault.key)

describe('a pressure as a tester shows it', () => {
  /** GNU units 2.22, UCUM (@lhncbc/ucum-lhc 7.1.10) and js-quantities 1.8.0 agree; an atmosphere is exact by definition. */
  it.each([
    [1, 'atm', 1.01325],
    [0.9869232667, 'atm', 1],
    [14.50377, 'psi', 1],
    [43.51132132, 'psi', 3],
  ] as const)('%d %s is %d bar', (value, unit, bar) => {
    expect(unit === 'atm' ? barOfAtmospheres(value) : barOfPsi(value)).toBeCloseTo(bar, 6)
  })
  it.each([
    [3, 'bar', 3],
    [30, 'm', 3],
    [200, 'm', 20],
    [3, 'atm', 3.03975],
    [43.5113, 'psi', 3],
    [-0.3, 'bar', -0.3],
    [-4.35113, 'psi', -0.3],
    [200, 'kPa', 2],
    [-300, 'mbar', -0.3],
  ] as [number, PressureUnit, number][])('%d %s is kept as %d bar', (value, unit, bar) => {
    expect(inBar({ value, unit })).toBe(bar)
  })
})

describe('a water test', () => {
  /** ISO 2281:1990 §4.1 (text reproduced at forums.watchuseek.com f135/265634): at most 50 µg of air in a minute. */
  it('passes at 50 µg/min and fails at 50.1', () => {
    expect(judgeWaterTest({ ...test, leakMicrogramsPerMinute: 50 }, limits).passed).toBe(true)
    expect(judgeWaterTest({ ...test, leakMicrogramsPerMinute: 50.1 }, limits).passed).toBe(false)
  })
  /** ISO 6425 (encyclopaedia copy): each piece at 125 % of its rating. */
  it('goes to 125 % of the rating for a diver: 25 bar for 200 m, 37.5 bar for 300 m', () => {
    expect(highestPressure({ ...watch, diver: true, ratedBar: barOfMetres(200) }, limits)).toBe(25)
    expect(highestPressure({ ...watch, diver: true, ratedBar: barOfMetres(300) }, limits)).toBe(37.5)
  })
  /** ISO 6425 (several public summaries): a diver's watch is one for at least 100 m. */
  it('takes no watch marked with less than a hundred metres for a diver', () => {
    expect(mayBeDiver({ claim: 'rated', ratedBar: barOfMetres(100) })).toBe(true)
    expect(mayBeDiver({ claim: 'rated', ratedBar: barOfMetres(99) })).toBe(false)
    expect(mayBeDiver({ claim: 'plain', ratedBar: null })).toBe(false)
  })
  /** Marking convention, never physics: ten metres of water are 0.980665 bar (GNU units 2.22), the mark of 30 m is 3 bar. */
  it('reads 30 m as 3 bar exactly', () => {
    expect(barOfMetres(30)).toBe(3)
  })
  it('is at 2 bar for a plain mark', () => {
    expect(usualTestPressure({ ...watch, claim: 'plain', ratedBar: null }, limits)).toBe(2)
    expect(usualTestPressure({ ...watch, claim: 'unknown', ratedBar: null }, limits)).toBeNull()
  })
  it('goes into water only after a dry pass', () => {
    expect(keys({ ...test, kind: 'overpressure-wet', seconds: 600 })).toEqual(['kind'])
    expect(keys({ ...test, kind: 'immersion', bar: null, seconds: 3600 })).toEqual(['kind'])
    expect(keys({ ...test, kind: 'overpressure-wet', seconds: 600 }, watch, true)).toEqual([])
  })
  it.each([
    [{ bar: 10.1 }, watch],
    [{ bar: 126 }, watch],
    [{ bar: null }, watch],
    [{ bar: -0.5 }, watch],
    [{ kind: 'vacuum-dry' as const, bar: 0.5 }, watch],
    [{ bar: 0.4 }, { ...watch, crystal: 'acrylic' as const }],
    [{ bar: 0.6 }, { ...watch, crystal: 'acrylic' as const, ownerConsents: true }],
    [{ bar: 0.6 }, { ...watch, vintage: true, ownerConsents: true }],
    [{ bar: 0.6 }, { ...watch, claim: 'unknown' as const, ratedBar: null, ownerConsents: true }],
    [{ bar: 1 }, { ...watch, claim: 'none' as const, ratedBar: null }],
  ])('is refused at %j', (change, w) => {
    expect(keys({ ...test, ...change }, w)).toEqual(['bar'])
  })
  it('is taken gently with consent', () => {
    expect(keys({ ...test, bar: 0.5 }, { ...watch, crystal: 'acrylic', ownerConsents: true })).toEqual([])
    expect(keys({ ...test, kind: 'vacuum-dry', bar: -0.3 }, { ...watch, vintage: true, ownerConsents: true })).toEqual(
      [],
    )
  })
  it('counts only when the case had settled and the time was held', () => {
    expect(judgeWaterTest({ ...test, settledMinutes: 29 }, limits)).toMatchObject({ passed: true, counts: false })
    expect(judgeWaterTest({ ...test, settledMinutes: null }, limits).counts).toBe(false)
    expect(judgeWaterTest({ ...test, kind: 'overpressure-wet', seconds: 599 }, limits).counts).toBe(false)
    expect(judgeWaterTest({ ...test, kind: 'overpressure-wet', seconds: 600 }, limits).counts).toBe(true)
    expect(judgeWaterTest({ ...test, kind: 'immersion', bar: null, seconds: 3599 }, limits).counts).toBe(false)
  })
  /** Condensation: plate 40–45 °C, 10–20 min, a drop of 18–25 °C; any fog inside is a failure (summary of ISO 2281). */
  it('fails with fog inside, and the watch is opened at once', () => {
    const condensation = { plateC: 42, minutes: 15, dropC: 20, fogInside: true }
    const fog = {
      ...test,
      kind: 'condensation' as const,
      bar: null,
      seconds: null,
      leakMicrogramsPerMinute: null,
      condensation,
    }
    expect(keys(fog)).toEqual([])
    expect(judgeWaterTest(fog, limits)).toMatchObject({ passed: false, openAtOnce: true })
    expect(keys({ ...fog, condensation: { ...condensation, plateC: 46, minutes: 9, dropC: 26 } })).toEqual([
      'condensation/plateC',
      'condensation/minutes',
      'condensation/dropC',
    ])
    expect(keys({ ...fog, condensation: null })).toEqual(['condensation'])
  })
  it.each([29, 7201, null])('is refused for %s seconds', (seconds) => {
    expect(keys({ ...test, seconds })).toEqual(['seconds'])
  })
})

describe('a tool and its certificates', () => {
  const day = (text: string) => text as Day
  const certificate = (id: string, on: string, more = {}) => ({
    id,
    on: day(on),
    asFound: 'in-tolerance' as const,
    asLeft: 'in-tolerance' as const,
    months: 12,
    ...more,
  })

  it('opens gates through its last day and not on the day after', () => {
    const list = [certificate('a', '2025-11-30')]
    expect(validUntil(list, day('2026-01-01'))).toBe('2026-11-30')
    expect(isInDate(list, [], day('2026-11-30'), false)).toBe(true)
    expect(isInDate(list, [], day('2026-12-01'), false)).toBe(false)
    expect(isInDate(list, [], day('2025-11-29'), false), 'before its first certificate').toBe(false)
    expect(isInDate(list, [], day('2026-01-01'), true), 'blocked').toBe(false)
  })
  it('opens none from a daily check that failed to the day of the next that passed', () => {
    const list = [certificate('a', '2025-11-30')]
    const failed = [{ from: day('2026-03-02'), to: day('2026-03-04') }]
    const on = (text: string, spans: Parameters<typeof isInDate>[1] = failed) => isInDate(list, spans, day(text), false)
    expect(['2026-03-01', '2026-03-02', '2026-03-03', '2026-03-04'].map((one) => on(one))).toEqual([
      true,
      false,
      false,
      true,
    ])
    expect(on('2026-06-01', [{ from: day('2026-03-02'), to: null }])).toBe(false)
    expect(on('2026-03-02', [{ from: day('2026-03-02'), to: day('2026-03-02') }]), 'mended on the day').toBe(true)
  })
  it('makes every result since its last good certificate doubtful when found out of tolerance', () => {
    const list = [
      certificate('a', '2025-11-30'),
      certificate('b', '2026-11-27', { asFound: 'out-of-tolerance' as const }),
    ]
    expect(doubtfulSpans(list)).toEqual([{ certificate: 'b', from: '2025-11-30', to: '2026-11-27' }])
    expect(validUntil(list, day('2026-11-27'))).toBe('2027-11-27')
    expect(
      doubtfulSpans([...list, certificate('c', '2027-11-01', { asFound: 'out-of-tolerance' as const })]),
    ).toMatchObject([{}, { from: '2026-11-27' }])
    expect(doubtfulSpans([certificate('a', '2026-01-01', { asFound: 'out-of-tolerance' as const })])).toMatchObject([
      { from: null },
    ])
  })
  it('is not in date after a certificate that left it out of tolerance', () => {
    expect(
      validUntil(
        [certificate('a', '2025-11-30'), certificate('b', '2026-02-01', { asLeft: 'out-of-tolerance' as const })],
        day('2026-03-01'),
      ),
    ).toBeNull()
  })
})
