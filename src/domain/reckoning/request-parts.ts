import { type HouseRuleTable, houseRuleTable } from '../house-rules.ts'
import {
  claimMarks,
  type EventName,
  movementConditions,
  obligationKinds,
  signs,
  sources,
  watchKinds,
  waterUses,
  yesNoWords,
} from './facts.ts'

/**
 * What a request is made of, as a table: the reader judges by it and the published JSON schema is derived from it.
 * A part that is not required may be left out or null, which is the same.
 */
export type Part =
  | { readonly is: 'word'; readonly words: readonly string[] }
  | { readonly is: 'number'; readonly min: number; readonly max: number; readonly whole: boolean }
  | { readonly is: 'boolean' }
  | { readonly is: 'day' }
  | { readonly is: 'partial-day' }
  | { readonly is: 'list'; readonly of: Part }
  | RecordPart
  | EventPart

export interface RecordPart {
  readonly is: 'record'
  readonly parts: Readonly<Record<string, Part>>
  readonly required: readonly string[]
}

/** A record whose other keys depend on the word under `event`. */
export interface EventPart {
  readonly is: 'event'
  readonly byName: ReadonlyMap<string, RecordPart>
  /** what is still judged where that word is missing or faulty */
  readonly unnamed: Readonly<Record<string, Part>>
}

const word = (words: readonly string[]): Part => ({ is: 'word', words })
const whole = (min: number, max: number): Part => ({ is: 'number', min, max, whole: true })
const list = (of: Part): Part => ({ is: 'list', of })
const record = (parts: Readonly<Record<string, Part>>, ...required: string[]): RecordPart => ({
  is: 'record',
  parts,
  required,
})
const day: Part = { is: 'day' }
const partialDay: Part = { is: 'partial-day' }
const yesNo = word(yesNoWords)
const measure: Part = { is: 'number', min: 0.000001, max: 1_000_000, whole: false }

const interval = whole(1, 240)

const watch = record(
  {
    kind: word(watchKinds),
    beatsPerHour: whole(1, 1_000_000),
    waterClaim: record({ marked: word(claimMarks), bar: measure }),
    made: partialDay,
    sold: partialDay,
    firstSeen: day,
  },
  'kind',
  'firstSeen',
)

const wear = record({
  daily: yesNo,
  vibration: yesNo,
  heat: yesNo,
  cold: yesNo,
  water: word(waterUses),
  salt: yesNo,
  chlorine: yesNo,
  hotWater: yesNo,
  learned: day,
})

const guidance = record(
  { obligation: word(obligationKinds), months: interval, upToMonths: interval, inForceFrom: day, learned: day },
  'obligation',
  'months',
  'inForceFrom',
)

const note = record({ obligation: word(obligationKinds), months: interval, on: day }, 'obligation', 'months', 'on')

/** Each event's own keys; those marked as required are named after them. */
const ownParts: Readonly<Record<EventName, readonly [Readonly<Record<string, Part>>, ...string[]]>> = {
  'complete-service': [{}],
  'movement-fitted': [{ condition: word(movementConditions) }],
  'water-test': [{ passed: { is: 'boolean' }, bar: measure }, 'passed'],
  'water-claim-withdrawn': [{}],
  'case-opened': [{}],
  'seals-replaced': [{}],
  'cell-fitted': [{ bestBefore: partialDay, capacityMah: measure, consumptionMicroamps: measure }],
  'cell-removed': [{}],
  sign: [{ sign: word(signs) }, 'sign'],
}

const unnamed = { on: partialDay, source: word(sources) }

const event: EventPart = {
  is: 'event',
  byName: new Map(
    Object.entries(ownParts).map(([name, [own, ...required]]) => [
      name,
      record({ event: word([name]), ...unnamed, learned: day, ...own }, 'event', 'on', 'source', ...required),
    ]),
  ),
  unnamed,
}

/** The whole request; `rules` overrides house rules of the table given, within their bounds. */
export function requestPart(table: HouseRuleTable): RecordPart {
  const rules: Record<string, Part> = {}
  for (const [key, rule] of Object.entries(table)) rules[key] = whole(rule.min, rule.max)
  return record(
    { on: day, rules: record(rules), watch, wear, guidance: list(guidance), notes: list(note), history: list(event) },
    'on',
    'watch',
  )
}

/** The same with the house rules of the reckoning alone. */
export const reckoningRequestPart = requestPart(houseRuleTable)
