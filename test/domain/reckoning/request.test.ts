import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { houseRuleTable } from '../../../src/domain/house-rules.ts'
import { readRequest } from '../../../src/domain/reckoning/request.ts'
import { requestPart } from '../../../src/domain/reckoning/request-parts.ts'
import { requestJsonSchema } from '../../../src/domain/reckoning/request-schema.ts'

const good = {
  on: '2026-11-25',
  rules: { fairnessDays: 60 },
  watch: {
    kind: 'self-winding',
    beatsPerHour: 28_800,
    waterClaim: { marked: 'rated', bar: 20 },
    made: '2019-06',
    sold: '2019-11-18',
    firstSeen: '2026-11-25',
  },
  wear: {
    daily: 'yes',
    vibration: 'no',
    heat: 'no',
    cold: 'unknown',
    water: 'now-and-then',
    salt: 'no',
    chlorine: 'no',
    hotWater: 'no',
    learned: '2026-11-01',
  },
  guidance: [
    { obligation: 'complete-service', months: 60, upToMonths: 84, inForceFrom: '2025-07-01', learned: '2025-07-01' },
  ],
  notes: [{ obligation: 'complete-service', months: 36, on: '2023-06-10' }],
  history: [
    { event: 'complete-service', on: '2021-09', source: 'paper', learned: '2026-11-25' },
    { event: 'movement-fitted', on: '2025-10-15', source: 'own-record', condition: 'new' },
    { event: 'water-test', on: '2026-03-01', source: 'own-record', passed: true, bar: 20 },
    { event: 'water-claim-withdrawn', on: '2026-03-01', source: 'own-record' },
    { event: 'case-opened', on: '2026', source: 'owner-word' },
    { event: 'seals-replaced', on: '2026-03-01', source: 'own-record' },
    {
      event: 'cell-fitted',
      on: '2025-06-15',
      source: 'own-record',
      bestBefore: '2028-06',
      capacityMah: 28,
      consumptionMicroamps: 1.9,
    },
    { event: 'cell-removed', on: '2025-08-01', source: 'own-record' },
    { event: 'sign', on: '2026-11-20', source: 'owner-word', sign: 'cell-dead' },
  ],
}

const pointersOf = (body: unknown) => {
  const read = readRequest(body)
  return read.ok ? [] : read.faults.map((fault) => fault.pointer).sort()
}

interface Tree {
  [key: string]: unknown
}

/** The good request with some values put in at their pointers; `undefined` takes the key away. */
function changed(changes: Record<string, unknown>): unknown {
  const body: unknown = JSON.parse(JSON.stringify(good))
  for (const [pointer, value] of Object.entries(changes)) {
    const keys = pointer.slice(1).split('/')
    const last = keys.pop() as string
    const parent = keys.reduce<Tree>((at, key) => at[key] as Tree, body as Tree)
    if (value === undefined) delete parent[last]
    else parent[last] = value
  }
  return body
}

describe('what is accepted', () => {
  it.each<[string, unknown]>([
    ['all of it', good],
    ['the least there is', { on: '2026-11-25', watch: { kind: 'quartz', firstSeen: '2026-11-25' } }],
    [
      'null for whatever may be left out',
      {
        on: '2026-11-25',
        rules: null,
        watch: {
          kind: 'quartz',
          beatsPerHour: null,
          waterClaim: null,
          made: null,
          sold: null,
          firstSeen: '2026-01-01',
        },
        wear: null,
        guidance: null,
        notes: null,
        history: [
          { event: 'cell-fitted', on: '2020', source: 'paper', learned: null, bestBefore: null, capacityMah: null },
        ],
      },
    ],
    ['a rule left at null', changed({ '/rules/fairnessDays': null })],
    ['a claim of which nothing is known', changed({ '/watch/waterClaim': {} })],
    ['rated without bar', changed({ '/watch/waterClaim': { marked: 'rated' } })],
    ['bar null beside another mark', changed({ '/watch/waterClaim': { marked: 'plain', bar: null } })],
    ['learned before the event', changed({ '/history/1/learned': '2020-01-01' })],
    ["half of a cell's figures", changed({ '/history/6/capacityMah': undefined })],
    ['notes for another obligation', changed({ '/notes/0/obligation': 'seals' })],
    ['60.0, which is 60', changed({ '/guidance/0/months': 60.0 })],
    ['a range of one', changed({ '/guidance/0/upToMonths': 60 })],
    ['the bounds', changed({ '/watch/beatsPerHour': 1_000_000, '/history/6/consumptionMicroamps': 0.000001 })],
    ['the first and last year', changed({ '/watch/made': '1500', '/history/6/bestBefore': '2200-12-31' })],
  ])('%s', (_, body) => {
    expect(readRequest(body)).toMatchObject({ ok: true })
  })

  it('is handed on with the overrides apart', () => {
    const read = readRequest(changed({ '/rules/cellMonths': null }))
    expect(read).toEqual({
      ok: true,
      request: {
        on: good.on,
        rules: { fairnessDays: 60 },
        facts: {
          watch: good.watch,
          wear: good.wear,
          guidance: good.guidance,
          notes: good.notes,
          history: good.history,
        },
      },
    })
  })
})

describe('what is at fault, by its pointer', () => {
  it.each<[string, unknown, string[]]>([
    ['no object at all', [], ['']],
    ['nothing', null, ['']],
    ['an empty object: both required parts', {}, ['/on', '/watch']],
    ['a required part that is null', changed({ '/on': null }), ['/on']],
    ['an ill-typed part: nothing below it', changed({ '/watch': 'quartz' }), ['/watch']],
    ['a list for an object', changed({ '/wear': [] }), ['/wear']],
    ['an object for a list', changed({ '/history': {} }), ['/history']],
    ['a row that is null', changed({ '/notes/0': null }), ['/notes/0']],
    ['required parts of the watch', changed({ '/watch': {} }), ['/watch/firstSeen', '/watch/kind']],
    ['unknown keys, even with null', changed({ '/colour': null, '/watch/a~1b': null }), ['/colour', '/watch/a~01b']],
    ['a key with a slash', { ...good, 'a/b': 1 }, ['/a~1b']],
    ['a key every object has', changed({ '/watch/constructor': null }), ['/watch/constructor']],
    ['an unknown word', changed({ '/watch/kind': 'sundial' }), ['/watch/kind']],
    ['a word with another case', changed({ '/wear/daily': 'Yes' }), ['/wear/daily']],
    ['a boolean for a word', changed({ '/wear/salt': true }), ['/wear/salt']],
    ['a boolean for a number', changed({ '/guidance/0/months': true }), ['/guidance/0/months']],
    ['a text for a number', changed({ '/watch/beatsPerHour': '28800' }), ['/watch/beatsPerHour']],
    ['a number for a boolean', changed({ '/history/2/passed': 1 }), ['/history/2/passed']],
    ['half a beat', changed({ '/watch/beatsPerHour': 28_800.5 }), ['/watch/beatsPerHour']],
    ['no beats', changed({ '/watch/beatsPerHour': 0 }), ['/watch/beatsPerHour']],
    ['too little of a measure', changed({ '/history/6/capacityMah': 0.0000009 }), ['/history/6/capacityMah']],
    ['too much of a measure', changed({ '/history/2/bar': 1_000_000.1 }), ['/history/2/bar']],
    ['more than any number', changed({ '/history/2/bar': Number.POSITIVE_INFINITY }), ['/history/2/bar']],
    ['months out of bounds', changed({ '/notes/0/months': 241 }), ['/notes/0/months']],
    ['a day that does not exist', changed({ '/on': '2026-02-29', '/watch/sold': '2023-13' }), ['/on', '/watch/sold']],
    ['half a day where a full one is needed', changed({ '/watch/firstSeen': '2026-11' }), ['/watch/firstSeen']],
    ['a year out of bounds', changed({ '/watch/made': '1499' }), ['/watch/made']],
    ['upToMonths below months', changed({ '/guidance/0/upToMonths': 59 }), ['/guidance/0/upToMonths']],
    [
      'upToMonths beside faulty months: judged by itself',
      changed({ '/guidance/0/months': 0, '/guidance/0/upToMonths': 1 }),
      ['/guidance/0/months'],
    ],
    [
      'upToMonths beside missing months',
      changed({ '/guidance/0/months': undefined, '/guidance/0/upToMonths': 241 }),
      ['/guidance/0/months', '/guidance/0/upToMonths'],
    ],
    ['bar beside another mark', changed({ '/watch/waterClaim/marked': 'plain' }), ['/watch/waterClaim/bar']],
    ['bar beside no mark', changed({ '/watch/waterClaim/marked': undefined }), ['/watch/waterClaim/bar']],
    ['bar beside a faulty mark', changed({ '/watch/waterClaim/marked': 'wet' }), ['/watch/waterClaim/marked']],
    [
      'a faulty bar beside another mark, once',
      changed({ '/watch/waterClaim': { marked: 'none', bar: 'deep' } }),
      ['/watch/waterClaim/bar'],
    ],
    ['firstSeen after on', changed({ '/watch/firstSeen': '2026-11-26' }), ['/watch/firstSeen']],
    ['firstSeen after a faulty on', changed({ '/watch/firstSeen': '2026-11-26', '/on': 'now' }), ['/on']],
    ["another event's key", changed({ '/history/0/condition': 'new' }), ['/history/0/condition']],
    ["another event's key with null", changed({ '/history/8/passed': null }), ['/history/8/passed']],
    ['what an event needs', changed({ '/history/2/passed': null }), ['/history/2/passed']],
    ['a sign without its word', changed({ '/history/8/sign': undefined }), ['/history/8/sign']],
    [
      'beside a faulty event only on and source are judged',
      changed({ '/history/0': { event: 'polished', on: '2020-00', learned: 7, colour: 1 } }),
      ['/history/0/event', '/history/0/on', '/history/0/source'],
    ],
    [
      'beside a missing event, too',
      changed({ '/history/0': { sign: 7 } }),
      ['/history/0/event', '/history/0/on', '/history/0/source'],
    ],
    ['an event named like a part of every object', changed({ '/history/0/event': 'toString' }), ['/history/0/event']],
    ['a house rule that is not one', changed({ '/rules/patience': 3 }), ['/rules/patience']],
    ['a house rule out of its bounds', changed({ '/rules/lifeSharePercent': 101 }), ['/rules/lifeSharePercent']],
    [
      'all of them at once',
      changed({ '/on': 5, '/wear/daily': 5, '/guidance/0/months': 5.5, '/history/3/source': 'radio' }),
      ['/guidance/0/months', '/history/3/source', '/on', '/wear/daily'],
    ],
  ])('%s', (_, body, pointers) => {
    expect(pointersOf(body)).toEqual(pointers)
  })
})

it('says of every fault what to do', () => {
  const read = readRequest({
    on: 5,
    rules: { cellMonths: 0 },
    watch: { kind: 'x' },
    wear: 1,
    history: [{ event: 'x' }],
  })
  expect(read.ok).toBe(false)
  if (!read.ok) for (const { detail } of read.faults) expect(detail).toMatch(/^(must|is) /)
})

it('takes the house rules of other tables, too', () => {
  const more = {
    ...houseRuleTable,
    quietDays: { default: 0, min: 0, max: 9, unit: 'days', words: 'Quiet days' },
  } as const
  const body = changed({ '/rules': { quietDays: 3 } })
  expect(readRequest(body, requestPart(more)).ok).toBe(true)
  expect(pointersOf(body)).toEqual(['/rules/quietDays'])
})

it('never throws, and never names a pointer twice, whatever it is given', () => {
  const bitten = fc
    .tuple(fc.constantFrom('', '/watch', '/wear', '/guidance/0', '/history/6', '/history/0/event'), fc.jsonValue())
    .map(([pointer, value]) => (pointer === '' ? value : changed({ [pointer]: value })))
  fc.assert(
    fc.property(fc.oneof(bitten, fc.jsonValue()), (body) => {
      const pointers = pointersOf(body)
      expect(new Set(pointers).size).toBe(pointers.length)
    }),
    { numRuns: 1000 },
  )
})

describe('the published schema, from the same table', () => {
  it('requires and closes as the reader does', () => {
    expect(requestJsonSchema).toMatchObject({
      type: 'object',
      required: ['on', 'watch'],
      additionalProperties: false,
      properties: {
        watch: { required: ['kind', 'firstSeen'], additionalProperties: false },
        rules: { properties: { lifeSharePercent: { type: ['integer', 'null'], minimum: 1, maximum: 100 } } },
      },
    })
  })

  it('has a shape for each event with its own keys', () => {
    const { history } = requestJsonSchema.properties as { history: { items: { oneOf: Tree[] } } }
    expect(history.items.oneOf).toHaveLength(9)
    const test = history.items.oneOf[2] as { properties: Tree; required: string[] }
    expect(test).toMatchObject({ type: 'object', additionalProperties: false })
    expect(test.properties.event).toEqual({ type: 'string', enum: ['water-test'] })
    expect(test.required).toEqual(['event', 'on', 'source', 'passed'])
    expect(Object.keys(test.properties)).toEqual(['event', 'on', 'source', 'learned', 'passed', 'bar'])
  })
})
