import { expect, test } from 'vitest'
import type { PartialDay } from '../../src/domain/day.ts'
import { type WaterFact, waterStanding } from '../../src/domain/water-standing.ts'

const fact = (event: string, happened: string, more: Partial<WaterFact> = {}): WaterFact => ({
  event,
  happened: happened as PartialDay,
  source: 'own-record',
  passed: null,
  bar: null,
  sign: null,
  ...more,
})
const passed = (on: string, more: Partial<WaterFact> = {}) => fact('water-test', on, { passed: true, bar: 5, ...more })
const failed = (on: string) => fact('water-test', on, { passed: false })

// common practice, no source: only a test with its date and pressure answers, and an opening undoes it
test.each<[string, 'none' | 'rated' | 'unknown', WaterFact[], string, string | null]>([
  ['nothing on record, no claim', 'none', [], 'not-claimed', null],
  ['nothing on record, a figure on the dial', 'rated', [], 'claimed-untested', null],
  ['nothing on record, dial not read', 'unknown', [], 'claimed-untested', null],
  ['a passed test', 'rated', [passed('2026-05-04')], 'passed', '2026-05-04'],
  ['a passed test of a watch without a claim', 'none', [passed('2026-05-04')], 'passed', '2026-05-04'],
  [
    'only the owner says it was tested',
    'rated',
    [passed('2026-05-04', { source: 'owner-word' })],
    'claimed-untested',
    null,
  ],
  [
    'opened the same day, before the test',
    'rated',
    [fact('case-opened', '2026-05-04'), passed('2026-05-04')],
    'passed',
    '2026-05-04',
  ],
  [
    'opened the same day, after the test',
    'rated',
    [passed('2026-05-04'), fact('cell-fitted', '2026-05-04')],
    'claimed-untested',
    '2026-05-04',
  ],
  [
    'opened years before, told later',
    'rated',
    [passed('2026-05-04'), fact('case-opened', '2024-02')],
    'passed',
    '2026-05-04',
  ],
  [
    'opened some time in the year of the test',
    'rated',
    [passed('2026-05-04'), fact('case-opened', '2026')],
    'claimed-untested',
    '2026',
  ],
  [
    'a hot bath since',
    'rated',
    [passed('2026-05-04'), fact('sign', '2026-06-01', { sign: 'hot-bath' })],
    'claimed-untested',
    '2026-06-01',
  ],
  ['failed since', 'rated', [passed('2026-05-04'), failed('2026-06-01')], 'failed', '2026-06-01'],
  ['failed, and passed again', 'rated', [failed('2026-06-01'), passed('2026-06-02')], 'passed', '2026-06-02'],
  [
    'withdrawn since',
    'rated',
    [failed('2026-06-01'), fact('water-claim-withdrawn', '2026-06-01')],
    'withdrawn',
    '2026-06-01',
  ],
])('%s', (_title, claim, facts, state, on) => {
  const standing = waterStanding(claim, facts)
  expect([standing.state, standing.on, standing.bar]).toEqual([state, on, state === 'passed' ? 5 : null])
  expect(standing.words).not.toMatch(/waterproof/)
})
