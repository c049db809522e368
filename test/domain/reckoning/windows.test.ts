import { describe, expect, it } from 'vitest'
import { addDays, type Day } from '../../../src/domain/day.ts'
import { defaultHouseRules, type HouseRuleKey, houseRuleTable } from '../../../src/domain/house-rules.ts'
import type { Rule } from '../../../src/domain/reckoning/answer.ts'
import type { ObligationKind } from '../../../src/domain/reckoning/facts.ts'
import { reckon } from '../../../src/domain/reckoning/reckon.ts'
import { letterDaysOf } from '../../../src/domain/reckoning/windows.ts'
import { about, ask, cellFitted, failed, opened, rated, sealsReplaced, serviced, sign, tested } from './ask.ts'

describe('letter days, counted from noticesDueOn', () => {
  it.each<[ObligationKind, Rule, number[]]>([
    ['complete-service', 'usual', [-60, 30, 180]],
    ['complete-service', 'note', [-60, 30, 180]],
    ['complete-service', 'trouble', [0, 30, 180]],
    ['complete-service', 'unknown-base', []],
    ['water-check', 'hard-use', [-30, 7, 60]],
    ['water-check', 'trouble', [0, 7, 60]],
    ['water-check', 'opened-since-test', [0, 7, 60]],
    ['water-check', 'not-resistant', [0, 7, 60]],
    ['cell-change', 'best-before', [-45, 14, 60]],
    ['cell-change', 'leaking', [0, 7, 21]],
    ['cell-change', 'spent', [0, 7, 21]],
    ['cell-change', 'end-of-life', [0, 7, 21]],
    ['seals', 'water-use', []],
  ])('%s by %s: %j', (kind, rule, days) => {
    const noticesDueOn = '2026-11-25' as Day
    const letters = letterDaysOf({ kind, rule, noticesDueOn }, defaultHouseRules)
    expect(letters).toEqual(days.map((n) => addDays(noticesDueOn, n)))
  })
})

describe('standing, the day before each edge and on it', () => {
  const swims = { wear: { water: 'often' } }
  const quartz = { kind: 'quartz', ...rated(20) }
  const cases: [string, ObligationKind, object, [string, string][]][] = [
    [
      'complete service',
      'complete-service',
      about({ kind: 'hand-wound' }, { history: [serviced('2020-03-31')] }),
      [
        ['2025-01-29', 'not-yet'],
        ['2025-01-30', 'coming-up'],
        ['2025-03-30', 'coming-up'],
        ['2025-03-31', 'due'],
        ['2025-05-30', 'due'],
        ['2025-05-31', 'overdue'],
        ['2026-03-30', 'overdue'],
        ['2026-03-31', 'asked-enough'],
      ],
    ],
    [
      'water check',
      'water-check',
      about(quartz, { ...swims, history: [tested('2025-08-31')] }),
      [
        ['2026-07-31', 'not-yet'],
        ['2026-08-01', 'coming-up'],
        ['2026-08-31', 'due'],
        ['2026-09-14', 'due'],
        ['2026-09-15', 'overdue'],
        ['2027-02-27', 'overdue'],
        ['2027-02-28', 'asked-enough'],
      ],
    ],
    [
      'seals',
      'seals',
      about(quartz, { ...swims, history: [sealsReplaced('2022-06-10')] }),
      [
        ['2026-05-10', 'not-yet'],
        ['2026-05-11', 'coming-up'],
        ['2026-06-25', 'overdue'],
        ['2026-12-10', 'asked-enough'],
      ],
    ],
    [
      'opened since the test: at once, then as a water check',
      'water-check',
      about(quartz, { ...swims, history: [tested('2026-01-10'), opened('2026-06-10')] }),
      [
        ['2026-06-10', 'due'],
        ['2026-06-24', 'due'],
        ['2026-06-25', 'overdue'],
        ['2026-12-10', 'asked-enough'],
      ],
    ],
    [
      'cell',
      'cell-change',
      about(quartz, { history: [cellFitted('2024-06-10')] }),
      [
        ['2026-04-25', 'not-yet'],
        ['2026-04-26', 'coming-up'],
        ['2026-07-10', 'due'],
        ['2026-07-11', 'overdue'],
        ['2026-12-09', 'overdue'],
        ['2026-12-10', 'asked-enough'],
      ],
    ],
    ...(
      [
        ['cell-leaking', '2026-06-11'],
        ['cell-dead', '2026-06-18'],
        ['cell-end-of-life', '2026-06-25'],
      ] as const
    ).map(
      ([what, overdueFrom]) =>
        [
          what,
          'cell-change',
          about(quartz, { history: [cellFitted('2026-01-05'), sign(what, '2026-06-10')] }),
          [
            ['2026-06-10', 'due'],
            [addDays(overdueFrom as Day, -1), 'due'],
            [overdueFrom, 'overdue'],
            ['2026-08-09', 'overdue'],
            ['2026-08-10', 'asked-enough'],
          ],
        ] as [string, ObligationKind, object, [string, string][]],
    ),
  ]
  it.each(cases)('%s', (_, kind, body, days) => {
    for (const [on, standing] of days) expect([on, ask({ ...body, on }).of(kind).standing]).toEqual([on, standing])
  })
})

describe('house rules', () => {
  it('have defaults that are whole and within their bounds', () => {
    for (const [key, rule] of Object.entries(houseRuleTable)) {
      expect(Number.isInteger(rule.default), key).toBe(true)
      expect(rule.default >= rule.min && rule.default <= rule.max, key).toBe(true)
      expect(rule.words.length, key).toBeGreaterThan(10)
    }
  })

  // Watches that between them meet every number of the table.
  const swims = { water: 'often', learned: '2026-01-10' }
  const watches = [
    about({ kind: 'hand-wound', made: '2010-01-01', sold: '2019-01-01' }),
    about({ kind: 'self-winding', beatsPerHour: 36_000 }, { history: [serviced('2024-01-01')] }),
    about(
      { kind: 'hand-wound' },
      { wear: { daily: 'no', vibration: 'no', heat: 'no', cold: 'no' }, history: [serviced('2024-01-01')] },
    ),
    about(
      { kind: 'hand-wound' },
      { wear: { heat: 'yes' }, history: [serviced('2024-01-01'), sign('heavy-blow', '2026-01-01')] },
    ),
    about({ kind: 'hand-wound', ...rated(10) }, { wear: { cold: 'yes' }, history: [serviced('2024-01-01')] }),
    about({ kind: 'quartz', ...rated(20) }, { wear: swims, history: [serviced('2024-01-01'), tested('2024-01-01')] }),
    about({ kind: 'quartz', ...rated(20) }, { wear: { water: 'in-water' }, history: [serviced('2024-01-01')] }),
    about(
      { kind: 'quartz', ...rated(20) },
      { wear: { water: 'now-and-then' }, history: [serviced('2024-01-01'), failed('2024-02-01')] },
    ),
    about({ kind: 'quartz', ...rated(20) }, { wear: { water: 'now-and-then' }, history: [serviced('2024-01-01')] }),
    about({ kind: 'quartz' }, { history: [cellFitted('2025-01-01', { capacityMah: 28, consumptionMicroamps: 1.9 })] }),
    ...['cell-leaking', 'cell-dead', 'cell-end-of-life'].map((what) =>
      about({ kind: 'quartz' }, { history: [cellFitted('2025-01-01'), sign(what, '2026-10-01')] }),
    ),
  ]
  const all = (rules: Record<string, number>) =>
    watches.map((body) => {
      const { of, answer, rules: used } = ask({ ...body, rules })
      const plain = answer.obligations.map(({ trace: _t, wouldChange: _w, ...rest }) => rest)
      return [plain, answer.without, answer.obligations.map((o) => letterDaysOf(of(o.kind), used))]
    })
  const before = all({})

  it.each(Object.keys(houseRuleTable))('%s is used', (key) => {
    const rule = houseRuleTable[key as HouseRuleKey]
    const [other, another] = [rule.default > rule.min ? rule.min : rule.max, rule.max]
    expect([all({ [key]: other }), all({ [key]: another })]).not.toEqual([before, before])
  })

  it('a value that came into force late is not held against the owner', () => {
    const rules = { ...defaultHouseRules, usualServiceMonths: 48 }
    const facts = {
      watch: { kind: 'hand-wound' as const, firstSeen: '2015-01-01' as Day },
      history: [{ event: 'complete-service' as const, on: '2022-04-30' as never, source: 'own-record' as const }],
    }
    const [plain] = reckon(facts, rules, '2026-11-25' as Day).obligations
    const rulesFrom = { usualServiceMonths: '2026-10-01' as Day, quartzServiceMonths: '2026-11-01' as Day }
    const [fair] = reckon(facts, rules, '2026-11-25' as Day, { rulesFrom }).obligations
    expect([plain?.dueOn, plain?.noticesDueOn]).toEqual(['2026-04-30', '2026-04-30'])
    expect([fair?.dueOn, fair?.noticesDueOn]).toEqual(['2026-04-30', '2026-12-30'])
  })
})
