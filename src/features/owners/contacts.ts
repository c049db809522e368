import { createRequire } from 'node:module'
import type { Day } from '../../domain/day.ts'
import { Refusal } from '../../domain/refusals.ts'
import { digitsOf, nameKey } from '../../domain/searching.ts'

const require = createRequire(import.meta.url)

export type Means = 'e-mail' | 'phone' | 'post'
export type NewContact = {
  means: Means
  value: string
  preferredFor?: string[] | undefined
  testedOn?: Day | undefined
}

/** E.164 where the number can be read as one; the country of the centre where none is dialled. */
export function phoneKey(value: string, country: string): string | null {
  // loaded with the first number: the numbering plans of the world took a tenth of a start
  const { parsePhoneNumberFromString } = require('libphonenumber-js/max') as typeof import('libphonenumber-js/max')
  const parsed = parsePhoneNumberFromString(value, country as 'CH')
  return parsed?.isPossible() ? digitsOf(parsed.number) : null
}

/** A contact as it is searched for. @throws faulty-input where it is none */
export function searchValue(contact: NewContact, country: string, pointer: string): string {
  if (contact.means === 'e-mail') {
    if (!mailAddress.test(contact.value))
      throw new Refusal('faulty-input', {}, [{ pointer, detail: 'is not a mail address this service can write to' }])
    return contact.value.toLowerCase()
  }
  if (contact.means === 'post') return nameKey(contact.value)
  const key = phoneKey(contact.value, country)
  if (key === null)
    throw new Refusal('faulty-input', {}, [
      { pointer, detail: 'is not a telephone number; write it with its country code, such as +41 44 668 18 00' },
    ])
  return key
}

/** Deliberately narrow (no quotes, comments or groups): address parsers have failed on everything else. */
export const mailAddress =
  /^[A-Za-z0-9.!#$%&'*+/=?^_{|}~-]{1,64}@(?=.{1,190}$)(?:[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?\.)+[A-Za-z][A-Za-z0-9-]{0,61}[A-Za-z0-9]$/
