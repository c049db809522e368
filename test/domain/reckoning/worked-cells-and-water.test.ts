import { describe, expect, it } from 'vitest'
import type { ObligationKind } from '../../../src/domain/reckoning/facts.ts'
import { letterDaysOf } from '../../../src/domain/reckoning/windows.ts'
import {
  about,
  ask,
  cellFitted,
  cellRemoved,
  failed,
  guidance,
  movementFitted,
  opened,
  rated,
  serviced,
  sign,
  TODAY,
  tested,
} from './ask.ts'
import { automatic, due, type Example, quartz, work } from './worked-examples.ts'

const cell: Example[] = [
  [
    '15',
    'changed after 24 months though running',
    about(quartz(), { history: [cellFitted('2024-12-10', { bestBefore: '2028-06-30' })] }),
    { 'cell-change': due('usual', '2026-12-10', 'coming-up', { comingUpFrom: '2026-10-26', months: 24 }) },
  ],
  [
    '16',
    'best-before comes first',
    about(quartz(), { history: [cellFitted('2025-03-01', { bestBefore: '2026-12-31' })] }),
    { 'cell-change': due('best-before', '2026-12-31', 'coming-up', { comingUpFrom: '2026-11-16', months: null }) },
  ],
  [
    '17',
    'measured consumption shortens: 28 mAh at 1.9 µA is 18 months; and is too high',
    about(quartz({ sold: '2022-01-10' }), {
      history: [
        cellFitted('2025-06-15', { capacityMah: 28, consumptionMicroamps: 1.9 }),
        sign('high-consumption', TODAY, { source: 'own-record' }),
      ],
    }),
    {
      'cell-change': due('consumption', '2026-12-15', 'coming-up', { comingUpFrom: '2026-10-31', months: 18 }),
      'complete-service': due('trouble', TODAY, 'due'),
    },
  ],
  [
    '18',
    'the owner telephones: stopped',
    about(quartz(), { history: [cellFitted('2026-01-05'), sign('stopped', '2026-11-20')] }),
    { 'cell-change': due('spent', '2026-11-20', 'due', { overdueFrom: '2026-11-28', comingUpFrom: '2026-11-20' }) },
  ],
  [
    '19',
    'in a drawer with the crown out ever since: pulling the crown changes nothing',
    about(quartz(), { wear: { daily: 'no' }, history: [cellFitted('2024-11-30')] }),
    { 'cell-change': due('usual', '2026-11-30', 'coming-up', { comingUpFrom: '2026-10-16' }) },
  ],
  [
    '20',
    'a first cell ages from the making, not from the sale',
    about(quartz({ made: '2024-06', sold: '2025-04-18' })),
    {
      'cell-change': due('usual', '2026-06-01', 'overdue', {
        baseOn: '2024-06-01',
        baseFrom: 'made',
        overdueFrom: '2026-07-02',
      }),
    },
  ],
  [
    '21',
    'from the flea market, nothing known',
    about(quartz({ firstSeen: TODAY })),
    {
      'complete-service': due('unknown-base', TODAY, 'to-be-assessed', { overdueFrom: null, stopOn: null }),
      'cell-change': due('unknown-base', TODAY, 'to-be-assessed', { overdueFrom: null, stopOn: null }),
    },
  ],
  [
    '22',
    'charged by light: no cell to change, ever',
    about({ kind: 'rechargeable-quartz' }, { history: [serviced('2020-02-29')] }),
    { 'cell-change': { without: 'rechargeable' }, 'complete-service': due('quartz', '2027-02-28', 'not-yet') },
  ],
  [
    '23',
    'thermocompensated quartz is quartz',
    about(quartz(), { history: [serviced('2021-01-31'), cellFitted('2025-02-28')] }),
    {
      'cell-change': due('usual', '2027-02-28', 'not-yet'),
      'complete-service': due('quartz', '2028-01-31', 'not-yet'),
    },
  ],
  [
    '43',
    'stored with the cell taken out',
    about(quartz(), { history: [serviced('2018-05-31'), cellFitted('2023-08-01'), cellRemoved('2025-08-01')] }),
    {
      'cell-change': { without: 'cell-removed' },
      'complete-service': due('quartz', '2025-05-31', 'asked-enough', { stopOn: '2026-05-31' }),
    },
  ],
  [
    '47',
    'sold before it was made: both are used, the counter is told',
    about(quartz({ made: '2019', sold: '2016-05-10' })),
    {
      'complete-service': due('quartz', '2023-05-10', 'asked-enough', { baseOn: '2016-05-10', baseFrom: 'sold' }),
      'cell-change': due('usual', '2021-01-01', 'asked-enough', { baseOn: '2019-01-01', baseFrom: 'made' }),
    },
  ],
  [
    '48',
    'a cell past its best-before when it was fitted elsewhere',
    about(quartz(), { history: [cellFitted('2026-09-01', { bestBefore: '2026-07', source: 'paper' })] }),
    { 'cell-change': due('best-before', '2026-09-01', 'overdue') },
  ],
  [
    '50',
    'an old electric watch, nothing known of a service',
    about({ kind: 'electric' }, { history: [cellFitted('2025-01-20')] }),
    {
      'cell-change': due('usual', '2027-01-20', 'not-yet'),
      'complete-service': due('unknown-base', '2015-01-01', 'to-be-assessed'),
    },
  ],
]

const water: Example[] = [
  [
    '24',
    "a diver's watch that swims weekly",
    about(automatic(28_800, rated(20)), { wear: { water: 'often' }, history: [tested('2025-11-30')] }),
    { 'water-check': due('hard-use', '2026-11-30', 'coming-up', { comingUpFrom: '2026-10-31', months: 12 }) },
  ],
  [
    '25',
    'now and then in the lake',
    about(automatic(28_800, rated(5)), { wear: { water: 'now-and-then' }, history: [tested('2024-08-31')] }),
    { 'water-check': due('now-and-then', '2026-08-31', 'overdue', { overdueFrom: '2026-09-15', months: 24 }) },
  ],
  [
    '26',
    'never in water, though just opened',
    about(quartz(rated(10)), { wear: { water: 'never' }, history: [cellFitted('2026-11-20')] }),
    { 'water-check': { without: 'never-in-water' }, seals: { without: 'not-used-in-water' } },
  ],
  [
    '27',
    'a kiosk changed the cell some time in October',
    about(quartz(rated(10)), {
      wear: { water: 'often' },
      history: [tested('2026-03-01'), opened('2026-10', { source: 'owner-word', learned: TODAY })],
    }),
    { 'water-check': due('opened-since-test', '2026-10-01', 'due', { noticesDueOn: TODAY, baseOn: '2026-10-01' }) },
  ],
  [
    '27, tested in October',
    'the opening may lie after the test',
    about(quartz(rated(10)), {
      wear: { water: 'often' },
      history: [tested('2026-10-15'), opened('2026-10', { source: 'owner-word', learned: TODAY })],
    }),
    { 'water-check': due('opened-since-test', '2026-10-01', 'due') },
  ],
  [
    '28',
    'a dress watch without a claim, worn under the shower',
    about(automatic(21_600, { waterClaim: { marked: 'none' } }), { wear: { water: 'often', hotWater: 'yes' } }),
    { 'water-check': { without: 'no-claim' }, seals: { without: 'no-claim' } },
  ],
  [
    '29',
    'the test failed, reseal declined, used in water',
    about(automatic(28_800, rated(10)), { wear: { water: 'now-and-then' }, history: [failed('2026-11-10')] }),
    { 'water-check': due('not-resistant', '2026-11-10', 'overdue', { baseOn: '2026-11-10', months: null }) },
  ],
  [
    '30',
    'the maker says six months: the month end clamps',
    about(automatic(28_800, rated(30)), {
      wear: { water: 'diving' },
      guidance: [guidance('water-check', 6, '2020-01-01')],
      history: [tested('2026-08-31')],
    }),
    { 'water-check': due('maker', '2027-02-28', 'not-yet') },
  ],
  [
    '30, tested that day',
    'and does not stick to it',
    {
      ...about(automatic(28_800, rated(30)), {
        wear: { water: 'diving' },
        guidance: [guidance('water-check', 6, '2020-01-01')],
        history: [tested('2026-08-31'), tested('2027-02-28')],
      }),
      on: '2027-02-28',
    },
    { 'water-check': due('maker', '2027-08-28', 'not-yet') },
  ],
  [
    '41',
    'in water now and then, due today',
    about(automatic(28_800, rated(20)), { wear: { water: 'now-and-then' }, history: [tested('2024-11-25')] }),
    { 'water-check': due('now-and-then', TODAY, 'due') },
  ],
  [
    '49',
    'a high rating, use unknown, never tested',
    about(automatic(28_800, { ...rated(30), sold: '2024-12-01' })),
    { 'water-check': due('use-unknown', '2026-12-01', 'coming-up', { comingUpFrom: '2026-11-01', baseFrom: 'sold' }) },
  ],
]

const movements: Example[] = [
  [
    '31',
    'a service typed with a day to come is set aside',
    about(automatic(28_800), { history: [serviced('2027-01-12'), serviced('2021-05-04')] }),
    { 'complete-service': due('usual', '2026-05-04', 'overdue', { overdueFrom: '2026-07-04' }) },
  ],
  [
    '32',
    'a new quartz movement put in, with a cell, tested the same day',
    about(quartz(rated(10)), {
      wear: { water: 'often' },
      history: [
        serviced('2019-01-01'),
        movementFitted('2025-10-15', { condition: 'new' }),
        cellFitted('2025-10-15', { bestBefore: '2028-12-31' }),
        tested('2025-10-15'),
      ],
    }),
    {
      'complete-service': due('quartz', '2032-10-15', 'not-yet', { baseOn: '2025-10-15' }),
      'cell-change': due('usual', '2027-10-15', 'not-yet'),
      'water-check': due('hard-use', '2026-10-15', 'overdue', { overdueFrom: '2026-10-30' }),
    },
  ],
  [
    '33',
    'an exchange movement, 36,000, freshly serviced on paper',
    about(automatic(36_000), {
      history: [movementFitted('2025-10-15', { condition: 'freshly-serviced', source: 'paper' })],
    }),
    {
      'complete-service': due('high-beat', '2028-10-15', 'not-yet', { baseFrom: 'paper' }),
      'cell-change': { without: 'no-cell' },
    },
  ],
  [
    '39',
    "a quartz diver's with three dates close together",
    about(quartz(rated(20)), {
      wear: { water: 'now-and-then' },
      history: [serviced('2019-12-10'), cellFitted('2024-11-30'), tested('2025-01-15')],
    }),
    {
      'cell-change': due('usual', '2026-11-30', 'coming-up'),
      'complete-service': due('quartz', '2026-12-10', 'coming-up'),
      'water-check': due('now-and-then', '2027-01-15', 'not-yet'),
    },
  ],
]

describe('worked examples: cells', () => work(cell))
describe('worked examples: water', () => work(water))
describe('worked examples: movements', () => work(movements))

describe('what the counter is told beside', () => {
  it.each([
    ['22: never an ordinary cell', about({ kind: 'rechargeable-quartz' }), [{ code: 'never-a-primary-cell' }]],
    [
      '28: keep it dry',
      about(automatic(21_600, { waterClaim: { marked: 'none' } }), { wear: { hotWater: 'yes' } }),
      [{ code: 'keep-dry' }],
    ],
    [
      '31: a day to come',
      about(automatic(28_800), { history: [serviced('2027-01-12'), serviced('2021-05-04')] }),
      [{ code: 'future-dated', history: 0 }],
    ],
    [
      '47: sold before made',
      about(quartz({ made: '2019', sold: '2016-05-10' })),
      [{ code: 'contradiction', fact: 'watch.sold' }],
    ],
    ['24: nothing', about(automatic(28_800, rated(20)), { history: [tested('2025-11-30')] }), []],
  ])('%s', (_, body, warnings) => {
    expect(ask(body).answer.warnings).toEqual(warnings)
  })
})

it('38: first letter days of a cell, a water check and a complete service', () => {
  const first = (kind: ObligationKind, body: unknown) => {
    const { of, rules } = ask(body)
    return [of(kind).dueOn, letterDaysOf(of(kind), rules)[0]]
  }
  expect(first('cell-change', about(quartz(), { history: [cellFitted('2025-01-10')] }))).toEqual([
    '2027-01-10',
    '2026-11-26',
  ])
  expect(
    first(
      'water-check',
      about(automatic(28_800, rated(20)), { wear: { water: 'often' }, history: [tested('2025-12-20')] }),
    ),
  ).toEqual(['2026-12-20', '2026-11-20'])
  expect(first('complete-service', about(automatic(28_800), { history: [serviced('2022-01-20')] }))).toEqual([
    '2027-01-20',
    '2026-11-21',
  ])
})
