import fc from 'fast-check'
import { dayOfNumber, numberOfDay } from '../../src/domain/day.ts'
import type { Schema } from './description.ts'

/**
 * Values from JSON schemas. What only the running service knows (ids of things that are there) comes as a `Wish`, which
 * the caller fills in; `wildness` is how often, of a hundred values, one is put in the place of what the schema asks for.
 */
export type Wish = { wish: 'id'; of: string; pick: number }
export const isWish = (value: unknown): value is Wish =>
  typeof value === 'object' && value !== null && (value as Wish).wish === 'id'

/** Fills the wishes in a generated value. */
export function granted(value: unknown, idOf: (wish: Wish) => string): unknown {
  if (isWish(value)) return idOf(value)
  if (Array.isArray(value)) return value.map((part) => granted(part, idOf))
  if (typeof value === 'object' && value !== null)
    return Object.fromEntries(Object.entries(value).map(([key, part]) => [key, granted(part, idOf)]))
  return value
}

/** Strings that have broken other services: what they try is said beside them. */
export const hostile = [
  '', // nothing
  ' \t ', // nothing that shows
  'a\u0000b', // PostgreSQL stores no zero byte
  'bell\u0007 escape\u001b[31m', // control characters
  '\u202egnp.exe', // reading order turned round
  'a\u2066b\u2069c',
  '\ufeffmark',
  '\u{1f570}\u{1f9ff}'.repeat(40), // four-byte characters
  '\ud800', // half a surrogate pair
  'e\u0301'.repeat(60), // marks on letters
  'x'.repeat(10_000),
  'a@example.org\r\nBcc: b@example.org', // a header in an address
  'Name\nSubject: other', // and in a name
  '"a b"@example.org, c@example.org',
  '=HYPERLINK("http://example.org","x")', // formulas of spreadsheets
  '+1+1',
  '-2+3',
  '@SUM(1)',
  '\t=1+1',
  '../../etc/passwd', // paths
  '..\\..\\win.ini',
  '/absolute',
  'file.png\u0000.html',
  "'; drop table owner; --", // SQL
  '%00',
  '%s%n',
  '{{7*7}}#{7*7}', // templates
  '<script>alert(1)</script>',
  '__proto__',
  'constructor',
  '2026-02-30', // a day that is none
  '0000-00-00',
  '9999999999999999999999',
  '1e400',
  'NaN',
  'null',
  '00000000-0000-0000-0000-000000000000',
]
const wrongTypes: unknown[] = [
  ...[null, true, 0, -1, 1.5, -0, 1e21, 2 ** 53 + 2, -(2 ** 53) - 2, 2 ** 31, 1e-320],
  ...[[], {}, [[]], [null], { constructor: { prototype: 1 } }, { toString: 'x' }],
]
export const junk: fc.Arbitrary<unknown> = fc.oneof(
  { weight: 3, arbitrary: fc.constantFrom<unknown>(...hostile) },
  { weight: 2, arbitrary: fc.constantFrom(...wrongTypes) },
  { weight: 1, arbitrary: fc.string({ unit: 'binary', maxLength: 30 }) },
)

const from = (day: string) => numberOfDay(day as Parameters<typeof numberOfDay>[0])
const anyDay = fc.oneof(
  { weight: 8, arbitrary: fc.integer({ min: from('2018-01-01'), max: from('2026-11-25') }).map(dayOfNumber) },
  { weight: 1, arbitrary: fc.integer({ min: from('1500-01-01'), max: from('2200-12-31') }).map(dayOfNumber) },
) as fc.Arbitrary<string>

/** The things an id of this name is of: `ownerId` is the id of one of the owners. */
export const kindOf = (name: string): string => `${name.replace(/Ids?$/, '').toLowerCase()}s`

const words = fc.constantFrom('Lindgren', 'a spare crown', 'x', 'Ref. 12', 'Ä ö 日本', 'by telephone', '+41446681800')

function text(schema: Schema, name: string): fc.Arbitrary<unknown> {
  if (schema.format === 'uuid') return fc.nat(1000).map((pick): Wish => ({ wish: 'id', of: kindOf(name), pick }))
  if (schema.format === 'date') return anyDay
  if (schema.format === 'date-time')
    return fc.tuple(anyDay, fc.nat(23)).map(([day, hour]) => `${day}T${String(hour).padStart(2, '0')}:30:00Z`)
  if (schema.pattern) return fc.stringMatching(new RegExp(schema.pattern))
  if (schema.examples?.length) return fc.oneof(fc.constantFrom(...schema.examples), anyDay)
  const max = Math.min(schema.maxLength ?? 40, 60)
  const min = schema.minLength ?? 0
  return fc.oneof(
    { weight: 3, arbitrary: words.map((word) => word.slice(0, max).padEnd(min, 'x')) },
    { weight: 1, arbitrary: fc.string({ minLength: min, maxLength: Math.max(min, max) }) },
    // where a mail address may stand
    { weight: max >= 40 ? 2 : 0, arbitrary: fc.nat(9).map((n) => `person${n}@example.org`) },
  )
}

function number(schema: Schema, whole: boolean): fc.Arbitrary<number> {
  const low = Math.max(schema.minimum ?? -10, (schema.exclusiveMinimum ?? -1e9) + 1)
  const high = Math.min(schema.maximum ?? 1e9, (schema.exclusiveMaximum ?? 1e9 + 1) - 1)
  const [least, most] = [Math.ceil(low), Math.floor(high)]
  const usual = fc.integer({ min: least, max: Math.max(least, Math.min(least + 30, most)) })
  if (whole) return fc.oneof(usual, usual, fc.integer({ min: least, max: most }))
  return fc.oneof(usual, fc.double({ min: low, max: high, noNaN: true }))
}

export function anyOf(schema: Schema | boolean | undefined, wildness: number, name = ''): fc.Arbitrary<unknown> {
  if (schema === undefined || typeof schema === 'boolean') return fc.jsonValue({ maxDepth: 1 })
  const meant = asked(schema, wildness, name)
  if (wildness === 0) return meant
  return fc.oneof({ weight: 100 - wildness, arbitrary: meant }, { weight: wildness, arbitrary: junk })
}

function asked(schema: Schema, wildness: number, name: string): fc.Arbitrary<unknown> {
  if (schema.const !== undefined) return fc.constant(schema.const)
  if (schema.enum) return fc.constantFrom(...schema.enum)
  const choices = schema.anyOf ?? schema.oneOf
  if (choices) return fc.oneof(...choices.map((choice) => anyOf(choice, wildness, name)))
  if (schema.allOf) return anyOf(Object.assign({}, schema, ...schema.allOf, { allOf: undefined }), wildness, name)
  const types = [schema.type ?? (schema.properties ? 'object' : 'string')].flat()
  return fc.oneof(...types.map((type) => typed(type, schema, wildness, name)))
}

function typed(type: string, schema: Schema, wildness: number, name: string): fc.Arbitrary<unknown> {
  if (type === 'null') return fc.constant(null)
  if (type === 'boolean') return fc.boolean()
  if (type === 'integer' || type === 'number') return number(schema, type === 'integer')
  if (type === 'string') return text(schema, name)
  if (type === 'object') return record(schema, wildness, name)
  const minLength = schema.minItems ?? 0
  const maxLength = Math.max(minLength, Math.min(schema.maxItems ?? 3, 3))
  return fc.array(anyOf(schema.items, wildness, name), { minLength, maxLength })
}

function record(schema: Schema, wildness: number, name: string): fc.Arbitrary<unknown> {
  const required = new Set(schema.required ?? [])
  const parts = Object.entries(schema.properties ?? {}).map(([key, part]) => {
    const value = anyOf(part, wildness, key === 'id' ? name : key)
    return [key, required.has(key) ? value : fc.option(value, { nil: undefined, freq: 1 })] as const
  })
  const more = schema.additionalProperties
  const others: fc.Arbitrary<object> =
    typeof more === 'object'
      ? fc.dictionary(
          anyOf(schema.propertyNames ?? { type: 'string', maxLength: 10 }, 0).map(String),
          anyOf(more, wildness),
          {
            maxKeys: 2,
          },
        )
      : fc.oneof(
          { weight: 100 - wildness, arbitrary: fc.constant({}) },
          { weight: wildness, arbitrary: fc.constantFrom<object>({ unknownKey: 1 }, { '\u202ename': 'x' }) },
        )
  return fc
    .tuple(fc.record(Object.fromEntries(parts)), others)
    .map(([body, extra]) =>
      Object.fromEntries(Object.entries({ ...body, ...extra }).filter(([, part]) => part !== undefined)),
    )
}
