import { describe, expect, it } from 'vitest'
import {
  type Day,
  dayOfNumber,
  isDay,
  isPartialDay,
  numberOfDay,
  type PartialDay,
  spanOf,
} from '../../src/domain/day.ts'

describe('what is a day', () => {
  it.each([
    ['2024', true, false],
    ['2024-06', true, false],
    ['2024-06-10', true, true],
    ['2024-02-29', true, true],
    ['2023-02-29', false, false],
    ['1500', true, false],
    ['1499-12-31', false, false],
    ['2200-12-31', true, true],
    ['2201', false, false],
    ['2024-00', false, false],
    ['2024-13', false, false],
    ['2024-06-00', false, false],
    ['2024-06-31', false, false],
    ['2024-6-1', false, false],
    ['20240610', false, false],
    ['2024-06-10T00:00', false, false],
    [' 2024-06-10', false, false],
    ['2024-06-10\n', false, false],
    ['+2024-06-10', false, false],
    ['٢٠٢٤', false, false],
    ['', false, false],
  ])('%j: known in part %s, in full %s', (text, partial, full) => {
    expect(isPartialDay(text)).toBe(partial)
    expect(isDay(text)).toBe(full)
  })
})

it('counts from 1970-01-01', () => {
  expect(numberOfDay('1970-01-01' as Day)).toBe(0)
  expect(dayOfNumber(-1)).toBe('1969-12-31')
  expect(numberOfDay('2000-03-01' as Day)).toBe(11_017)
})

it.each([
  ['2024', '2024-01-01', '2024-12-31'],
  ['2024-02', '2024-02-01', '2024-02-29'],
  ['2100-02', '2100-02-01', '2100-02-28'],
  ['2023-11', '2023-11-01', '2023-11-30'],
  ['2024-06-10', '2024-06-10', '2024-06-10'],
])('%s lasts from %s to %s', (partial, first, last) => {
  const span = spanOf(partial as PartialDay)
  expect([dayOfNumber(span.first), dayOfNumber(span.last)]).toEqual([first, last])
})
