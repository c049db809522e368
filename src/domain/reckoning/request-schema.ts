import { FIRST_YEAR, LAST_YEAR } from '../day.ts'
import { type Part, type RecordPart, reckoningRequestPart } from './request-parts.ts'

/** A JSON schema (draft 2020-12, as OpenAPI 3.1 uses it). */
export type JsonSchema = { readonly [key: string]: unknown }

const years = `years ${FIRST_YEAR} to ${LAST_YEAR}`

/** The schema of a part; an optional part may also be null. What one part says about another is not in it. */
function jsonSchemaOf(part: Part, optional = false): JsonSchema {
  const type = (name: string) => (optional ? [name, 'null'] : name)
  switch (part.is) {
    case 'word':
      return { type: type('string'), enum: optional ? [...part.words, null] : [...part.words] }
    case 'number':
      return { type: type(part.whole ? 'integer' : 'number'), minimum: part.min, maximum: part.max }
    case 'boolean':
      return { type: type('boolean') }
    case 'day':
      return { type: type('string'), format: 'date', description: `YYYY-MM-DD, ${years}` }
    case 'partial-day':
      return {
        type: type('string'),
        pattern: '^\\d{4}(-\\d{2}(-\\d{2})?)?$',
        description: `YYYY, YYYY-MM or YYYY-MM-DD, ${years}`,
      }
    case 'list':
      return { type: type('array'), items: jsonSchemaOf(part.of) }
    case 'record':
      return recordSchema(part, optional)
    case 'event':
      return { oneOf: Array.from(part.byName.values(), (named) => recordSchema(named, false)) }
  }
}

function recordSchema(part: RecordPart, optional: boolean): JsonSchema {
  const properties: Record<string, JsonSchema> = {}
  for (const [key, of] of Object.entries(part.parts)) properties[key] = jsonSchemaOf(of, !part.required.includes(key))
  return {
    type: optional ? ['object', 'null'] : 'object',
    properties,
    ...(part.required.length > 0 && { required: [...part.required] }),
    additionalProperties: false,
  }
}

export const requestJsonSchema: JsonSchema = jsonSchemaOf(reckoningRequestPart)
