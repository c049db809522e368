import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { checkCharacter, readTicketNumber, ticketNumber } from '../../../src/domain/tickets/number.ts'

describe('the number on a ticket', () => {
  /**
   * ISO/IEC 7064 MOD 11-2. The identifiers are those that ORCID prints in its own description of the check character,
   * which is MOD 11-2 over fifteen digits (from memory); 0794 → 0 and 079 → X are examples of the standard (from memory).
   */
  it.each([
    ['000000021825009', '7'],
    ['000000015109370', '0'],
    ['000000021694233', 'X'],
    ['0794', '0'],
    ['079', 'X'],
  ])('%s has the check character %s', (digits, check) => {
    expect(checkCharacter(digits)).toBe(check)
  })

  /** The definition in the standard: the weighted sum of all characters, weights 2^i from the right, is 1 modulo 11. */
  it('satisfies the congruence of the standard', () => {
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 999_999_999 }), (serial) => {
        const characters = [...ticketNumber(serial)].reverse()
        const sum = characters.reduce((total, c, i) => total + (c === 'X' ? 10 : Number(c)) * 2 ** i, 0)
        return sum % 11 === 1
      }),
      { numRuns: 2000 },
    )
  })

  it('is read with spaces, dashes, small letters and leading zeros', () => {
    expect(readTicketNumber(' 0 79-x ')).toBe('79X')
    expect(readTicketNumber('079X')).toBe(readTicketNumber('79X'))
    expect(readTicketNumber('')).toBeNull()
    expect(readTicketNumber('X')).toBeNull()
    expect(readTicketNumber(`1${ticketNumber(999_999_999)}`)).toBeNull()
    expect(readTicketNumber('٠٧٩X')).toBeNull()
  })

  it('refuses every single wrong character', () => {
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 999_999_999 }), (serial) => {
        const right = ticketNumber(serial)
        for (let i = 0; i < right.length; i++) {
          for (const c of '0123456789X') {
            if (c === right[i]) continue
            if (readTicketNumber(right.slice(0, i) + c + right.slice(i + 1)) !== null) return false
          }
        }
        return true
      }),
      { numRuns: 500 },
    )
  })

  it('refuses every swap of two characters, next to each other or not', () => {
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 999_999_999 }), (serial) => {
        const right = [...ticketNumber(serial)]
        for (let i = 0; i < right.length; i++) {
          for (let j = i + 1; j < right.length; j++) {
            if (right[i] === right[j]) continue
            const swapped = [...right]
            swapped[i] = right[j]!
            swapped[j] = right[i]!
            if (readTicketNumber(swapped.join('')) !== null) return false
          }
        }
        return true
      }),
      { numRuns: 500 },
    )
  })
})
