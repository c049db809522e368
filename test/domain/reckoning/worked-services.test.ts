import { describe, expect, it } from 'vitest'
import { about, ask, guidance, rarelyWorn, serviced, sign, TODAY, unexposed } from './ask.ts'
import { automatic, due, type Example, quartz, work } from './worked-examples.ts'

const completeService: Example[] = [
  [
    '1',
    'worn daily, known unexposed',
    about(automatic(28_800), { wear: { daily: 'yes', ...unexposed }, history: [serviced('2022-03-15')] }),
    {
      'complete-service': due('usual', '2027-03-15', 'not-yet', {
        months: 60,
        comingUpFrom: '2027-01-14',
        overdueFrom: '2027-05-15',
        stopOn: '2028-03-15',
      }),
    },
  ],
  [
    '2',
    'wear unknown',
    about(automatic(28_800), { history: [serviced('2021-11-30')] }),
    { 'complete-service': due('usual', '2026-11-30', 'coming-up', { comingUpFrom: '2026-10-01' }) },
  ],
  [
    '3',
    'on a motorbike every day; a Sunday is not moved',
    about(automatic(21_600), { wear: { daily: 'yes', vibration: 'yes' }, history: [serviced('2023-01-31')] }),
    { 'complete-service': due('exposed', '2027-01-31', 'not-yet', { comingUpFrom: '2026-12-02' }) },
  ],
  [
    '4',
    'high-beat from a 29 February',
    about(automatic(36_000), { history: [serviced('2024-02-29')] }),
    { 'complete-service': due('high-beat', '2027-02-28', 'not-yet', { comingUpFrom: '2026-12-30', months: 36 }) },
  ],
  [
    '5',
    '28,800 exactly is not above it',
    about(automatic(28_800), { history: [serviced('2024-02-29')] }),
    { 'complete-service': due('usual', '2029-02-28', 'not-yet') },
  ],
  [
    '5, exposed',
    '48 months from a 29 February is a 29 February',
    about(automatic(28_800), { wear: { heat: 'yes' }, history: [serviced('2024-02-29')] }),
    { 'complete-service': due('exposed', '2028-02-29', 'not-yet') },
  ],
  [
    '6',
    'hand-wound, evenings only, known unexposed',
    about({ kind: 'hand-wound', beatsPerHour: 18_000 }, { wear: rarelyWorn, history: [serviced('2020-08-31')] }),
    { 'complete-service': due('rarely-worn', '2027-08-31', 'not-yet') },
  ],
  [
    '7',
    'high-beat and rarely worn: high-beat goes first',
    about(automatic(36_000), { wear: rarelyWorn, history: [serviced('2023-06-10')] }),
    { 'complete-service': due('high-beat', '2026-06-10', 'overdue', { overdueFrom: '2026-08-10' }) },
  ],
  [
    '8',
    'not daily, exposure unknown',
    about(automatic(28_800), { wear: { daily: 'no' }, history: [serviced('2020-08-31')] }),
    { 'complete-service': due('usual', '2025-08-31', 'asked-enough', { stopOn: '2026-08-31' }) },
  ],
  [
    '9',
    'the maker says ten years, whatever the wear',
    about(automatic(28_800), {
      wear: { daily: 'yes', vibration: 'yes' },
      guidance: [guidance('complete-service', 120, '2015-01-01')],
      history: [serviced('2019-05-20')],
    }),
    { 'complete-service': due('maker', '2029-05-20', 'not-yet') },
  ],
  [
    '9, with a note',
    'the watchmaker shortens what the maker says',
    about(automatic(28_800), {
      guidance: [guidance('complete-service', 120, '2015-01-01')],
      notes: [{ obligation: 'complete-service', months: 36, on: '2024-05-20' }],
      history: [serviced('2024-05-20')],
    }),
    { 'complete-service': due('note', '2027-05-20', 'not-yet', { months: 36 }) },
  ],
  [
    '10',
    'the maker says five to seven years, wear unknown',
    about(automatic(28_800), {
      guidance: [guidance('complete-service', 60, '2015-01-01', { upToMonths: 84 })],
      history: [serviced('2021-10-05')],
    }),
    { 'complete-service': due('maker', '2026-10-05', 'due', { overdueFrom: '2026-12-05' }) },
  ],
  [
    '10, rarely worn',
    'the same, known rarely worn and unexposed',
    about(automatic(28_800), {
      wear: rarelyWorn,
      guidance: [guidance('complete-service', 60, '2015-01-01', { upToMonths: 84 })],
      history: [serviced('2021-10-05')],
    }),
    { 'complete-service': due('maker', '2028-10-05', 'not-yet', { months: 84 }) },
  ],
  [
    '11',
    'the maker lengthened 60 to 84 from 2025-07-01',
    about(automatic(28_800), {
      guidance: [guidance('complete-service', 60, '2015-01-01'), guidance('complete-service', 84, '2025-07-01')],
      history: [serviced('2021-09-01')],
    }),
    { 'complete-service': due('maker', '2028-09-01', 'not-yet') },
  ],
  [
    '12',
    'the maker shortened 84 to 48, in force and learned 2026-10-01',
    about(automatic(28_800), {
      guidance: [
        guidance('complete-service', 84, '2015-01-01'),
        guidance('complete-service', 48, '2026-10-01', { learned: '2026-10-01' }),
      ],
      history: [serviced('2022-04-30')],
    }),
    {
      'complete-service': due('maker', '2026-04-30', 'coming-up', {
        noticesDueOn: '2026-12-30',
        comingUpFrom: '2026-10-31',
      }),
    },
  ],
  [
    '13',
    'quartz, sold new, never serviced',
    about(quartz({ sold: '2019-12-31' })),
    { 'complete-service': due('quartz', '2026-12-31', 'coming-up', { comingUpFrom: '2026-11-01', baseFrom: 'sold' }) },
  ],
  [
    '14',
    'the same, losing a minute a week',
    about(quartz({ sold: '2019-12-31' }), { history: [sign('loses-time', TODAY)] }),
    { 'complete-service': due('trouble', TODAY, 'due', { months: null, baseFrom: 'sold' }) },
  ],
  [
    '36',
    'a new owner, known since 2026-11-01, wear unknown',
    about(
      { kind: 'hand-wound', firstSeen: '2026-11-01' },
      { wear: { learned: '2026-11-01' }, history: [serviced('2020-09-30', { learned: '2020-09-30' })] },
    ),
    {
      'complete-service': due('usual', '2025-09-30', 'not-yet', {
        noticesDueOn: '2027-01-30',
        comingUpFrom: '2026-12-01',
      }),
    },
  ],
  [
    '40',
    'an old hand-wound watch, wear unknown',
    about({ kind: 'hand-wound' }, { history: [serviced('2021-12-05')] }),
    { 'complete-service': due('usual', '2026-12-05', 'coming-up', { comingUpFrom: '2026-10-06' }) },
  ],
]

describe('worked examples: complete service', () => work(completeService))

it('10: the missing facts that would help are named, each by itself', () => {
  const { wouldChange } = ask(
    about(automatic(28_800), {
      wear: { daily: 'no', vibration: 'no', heat: 'no' },
      history: [serviced('2021-10-05')],
    }),
  ).of('complete-service')
  expect(wouldChange).toEqual([
    { fact: 'wear.cold', to: 'yes', dueOn: '2025-10-05' },
    { fact: 'wear.cold', to: 'no', dueOn: '2028-10-05' },
  ])
})

it('12: the trace shows both the reckoned date and the day for letters', () => {
  const { trace } = ask(completeService.find(([number]) => number === '12')?.[2]).of('complete-service')
  const text = JSON.stringify(trace)
  expect(text).toContain('2026-04-30')
  expect(text).toContain('2026-12-30')
})
