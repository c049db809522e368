import { describe, expect, it, test } from 'vitest'
import { fullYear, gs1Day, hasCheckDigit, lastGoodDay, readElementString } from '../../../src/domain/stock/gs1.ts'

const GS = '\u001d'
const item = '01' + '12345678901231'
const read = (text: string) => readElementString(text, 2026)
const delivery = (text: string) => {
  const answer = read(text)
  if (!answer.ok) throw new Error(answer.faults.map((f) => f.detail).join('; '))
  return answer.delivery
}

describe('dates of the GS1 Syntax Dictionary linters', () => {
  test.each(['000606', '200229', '240229', '000229', '960229', '200600'])('%s passes', (date) => {
    expect(gs1Day(date, 2026)).not.toBeNull()
  })
  test.each(['200010', '201310', '209910', '200132', '200230', '210229', '220229', '230229', '', '1111111', 'x00131'])(
    '“%s” fails',
    (date) => {
      expect(gs1Day(date, 2026)).toBeNull()
    },
  )

  // GS1 General Specifications: day 00 is the last day of the month, leap years included.
  test.each([
    ['130200', '2013-02-28'],
    ['160200', '2016-02-29'],
    ['281200', '2028-12-31'],
  ])('%s is %s', (date, day) => {
    expect(gs1Day(date, 2026)).toBe(day)
  })

  test.each([
    [76, 2026, 2076],
    [77, 2026, 1977],
    [26, 2026, 2026],
    [0, 2026, 2000],
    [0, 2051, 2100],
    [99, 2049, 2099],
    [0, 2050, 2100],
  ])('year %i seen in %i is %i', (year, now, full) => {
    expect(fullYear(year, now)).toBe(full)
  })
})

describe('check digits of the GS1 Syntax Dictionary linters', () => {
  test.each(['02345673', '416000336108', '1234567890128', '12345678901231', '123456789012345675'])('%s passes', (n) => {
    expect(hasCheckDigit(n)).toBe(true)
  })
  test.each(['12345673', '416000336109', '1234567890129', '', 'x2345673'])('“%s” fails', (n) => {
    expect(hasCheckDigit(n)).toBe(false)
  })
})

describe('element strings', () => {
  it('are read as scanned, with separators, and as printed in brackets', () => {
    const scanned = delivery(`]d2${GS}${item}17290430` + `10LOT-7${GS}30100${GS}240SR66SW`)
    const printed = delivery('(01)12345678901231(17)290430(10)LOT-7(30)100(240)SR66SW')
    expect(scanned).toEqual(printed)
    expect(scanned).toMatchObject({
      itemNumber: '12345678901231',
      lotNumber: 'LOT-7',
      expires: '2029-04-30',
      count: 100,
      furtherId: 'SR66SW',
    })
  })

  it('state the earlier of best-before and expiry as the last good day', () => {
    expect(lastGoodDay(delivery(`${item}1529040017290331`))).toBe('2029-03-31')
    expect(lastGoodDay(delivery(`${item}15290400`))).toBe('2029-04-30')
    expect(lastGoodDay(delivery(item))).toBeUndefined()
  })

  test.each([
    ['a bad check digit', '0112345678901232', '01'],
    ['an impossible day', `${item}17290230`, '17'],
    ['a month 13', `${item}15291300`, '15'],
    ['no item number', '10LOT7', '01'],
    ['an unknown identifier', `${item}9912`, null],
    ['a short item number', '0112345', '01'],
    ['a lot that is too long', `${item}10${'A'.repeat(21)}`, '10'],
    ['letters in a count', `${item}30AB`, '30'],
    ['no pieces', `${item}300`, '30'],
    ['an empty lot', `${item}10${GS}301`, '10'],
    ['two lots', `${item}10A${GS}10B`, '10'],
    ['a character outside set 82', `${item}10LOT#1`, '10'],
    ['nothing', '  ', null],
    ['text', 'hello', null],
    ['brackets that do not begin it', '(1)2', null],
  ])('are refused with %s', (_, text, ai) => {
    const answer = read(text)
    expect(answer.ok).toBe(false)
    if (!answer.ok) expect(answer.faults.map((f) => f.ai)).toContain(ai)
  })

  it('name every fault at once', () => {
    const answer = read('(01)12345678901232(17)290230(30)x')
    expect(answer.ok === false && answer.faults.map((f) => f.ai)).toEqual(['01', '17', '30'])
  })
})
