import { type Day, isDay, isPartialDay } from '../day.ts'
import type { HouseRules } from '../house-rules.ts'
import type { Facts } from './facts.ts'
import { type EventPart, type Part, type RecordPart, reckoningRequestPart } from './request-parts.ts'

export interface ReckoningRequest {
  readonly on: Day
  /** overrides of house rules */
  readonly rules: Partial<HouseRules>
  readonly facts: Facts
}

/** `pointer` is a JSON pointer (RFC 6901); of a missing part the one it would have. */
export interface RequestFault {
  readonly pointer: string
  readonly detail: string
}

export type ReadRequest =
  | { readonly ok: true; readonly request: ReckoningRequest }
  | { readonly ok: false; readonly faults: readonly RequestFault[] }

type JsonRecord = Readonly<Record<string, unknown>>

/**
 * Judges a parsed JSON body and tells every fault, one entry each, no pointer twice. Nothing is said below a part
 * that is missing or of another type than it should be; a comparison with a faulty value falls away.
 */
export function readRequest(body: unknown, part: RecordPart = reckoningRequestPart): ReadRequest {
  const faults = new Map<string, string>()
  judge(part, body, '', faults)
  if (isRecord(body)) compare(body, faults)
  if (faults.size > 0) return { ok: false, faults: Array.from(faults, ([pointer, detail]) => ({ pointer, detail })) }

  const { on, rules, ...facts } = body as { on: Day; rules?: Record<string, number | null> | null } & Facts
  const overrides: Record<string, number> = {}
  for (const [key, value] of Object.entries(rules ?? {})) if (value !== null) overrides[key] = value
  return { ok: true, request: { on, rules: overrides as Partial<HouseRules>, facts } }
}

type Faults = Map<string, string>

function judge(part: Part, value: unknown, pointer: string, faults: Faults): void {
  switch (part.is) {
    case 'word':
      if (typeof value !== 'string' || !part.words.includes(value)) {
        faults.set(pointer, `must be one of: ${part.words.join(', ')}`)
      }
      return
    case 'number':
      if (typeof value !== 'number' || value < part.min || value > part.max || (part.whole && !isWhole(value))) {
        faults.set(pointer, `must be a ${part.whole ? 'whole ' : ''}number from ${part.min} to ${part.max}`)
      }
      return
    case 'boolean':
      if (typeof value !== 'boolean') faults.set(pointer, 'must be true or false')
      return
    case 'day':
      if (typeof value !== 'string' || !isDay(value)) {
        faults.set(pointer, 'must be a day that exists, YYYY-MM-DD, in the years 1500 to 2200')
      }
      return
    case 'partial-day':
      if (typeof value !== 'string' || !isPartialDay(value)) {
        faults.set(pointer, 'must be a year, month or day that exists, YYYY, YYYY-MM or YYYY-MM-DD, 1500 to 2200')
      }
      return
    case 'list':
      if (!Array.isArray(value)) faults.set(pointer, 'must be a list')
      else for (const [index, row] of value.entries()) judge(part.of, row, `${pointer}/${index}`, faults)
      return
    case 'record':
      if (!isRecord(value)) faults.set(pointer, 'must be an object')
      else judgeRecord(part, value, pointer, faults)
      return
    case 'event':
      if (!isRecord(value)) faults.set(pointer, 'must be an object')
      else judgeEvent(part, value, pointer, faults)
  }
}

function judgeRecord(part: RecordPart, value: JsonRecord, pointer: string, faults: Faults): void {
  for (const key of Object.keys(value)) {
    if (!Object.hasOwn(part.parts, key)) faults.set(`${pointer}/${escaped(key)}`, 'is not a key that belongs here')
  }
  for (const key of Object.keys(part.parts)) {
    judgeKey(part.parts[key] as Part, value, key, part.required.includes(key), pointer, faults)
  }
}

function judgeEvent(part: EventPart, value: JsonRecord, pointer: string, faults: Faults): void {
  const named = typeof value.event === 'string' ? part.byName.get(value.event) : undefined
  if (named !== undefined) {
    judgeRecord(named, value, pointer, faults)
    return
  }
  const names = [...part.byName.keys()].join(', ')
  faults.set(`${pointer}/event`, value.event == null ? 'is missing' : `must be one of: ${names}`)
  for (const key of Object.keys(part.unnamed)) judgeKey(part.unnamed[key] as Part, value, key, true, pointer, faults)
}

function judgeKey(part: Part, value: JsonRecord, key: string, required: boolean, pointer: string, faults: Faults) {
  const at = `${pointer}/${escaped(key)}`
  if (value[key] != null) judge(part, value[key], at, faults)
  else if (required) faults.set(at, 'is missing')
}

/** What one part says about another; each is judged only where both are faultless by themselves. */
function compare(body: JsonRecord, faults: Faults): void {
  const watch = body.watch
  if (isRecord(watch)) {
    if (isSound(body.on, '/on', faults) && isSound(watch.firstSeen, '/watch/firstSeen', faults)) {
      if (String(watch.firstSeen) > String(body.on)) faults.set('/watch/firstSeen', 'must not lie after on')
    }
    const claim = watch.waterClaim
    if (isRecord(claim) && isSound(claim.bar, '/watch/waterClaim/bar', faults)) {
      if (!faults.has('/watch/waterClaim/marked') && claim.marked !== 'rated') {
        faults.set('/watch/waterClaim/bar', 'belongs only to a claim that is marked rated')
      }
    }
  }
  if (!Array.isArray(body.guidance)) return
  for (const [index, row] of body.guidance.entries()) {
    const at = `/guidance/${index}`
    if (!isRecord(row)) continue
    if (!isSound(row.months, `${at}/months`, faults) || !isSound(row.upToMonths, `${at}/upToMonths`, faults)) continue
    if (Number(row.upToMonths) < Number(row.months)) faults.set(`${at}/upToMonths`, 'must not be below months')
  }
}

const isSound = (value: unknown, pointer: string, faults: Faults) => value != null && !faults.has(pointer)

const isRecord = (value: unknown): value is JsonRecord =>
  typeof value === 'object' && value !== null && !Array.isArray(value)

const isWhole = (value: number) => Math.floor(value) === value

const escaped = (key: string) => key.replaceAll('~', '~0').replaceAll('/', '~1')
