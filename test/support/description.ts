import * as responseValidator from 'openapi-response-validator'
import type { App } from '../../src/app.ts'
import { isDay } from '../../src/domain/day.ts'
import type { Role } from '../../src/http/service.ts'

/** The API as its own OpenAPI document describes it: what tests ask is worked out from that, so new routes are asked too. */
export type Schema = {
  type?: string | string[]
  format?: string
  enum?: unknown[]
  const?: unknown
  anyOf?: Schema[]
  oneOf?: Schema[]
  allOf?: Schema[]
  properties?: Record<string, Schema>
  required?: string[]
  additionalProperties?: boolean | Schema
  propertyNames?: Schema
  items?: Schema | boolean
  minItems?: number
  maxItems?: number
  minLength?: number
  maxLength?: number
  minimum?: number
  maximum?: number
  exclusiveMinimum?: number
  exclusiveMaximum?: number
  pattern?: string
  default?: unknown
  examples?: unknown[]
}
type Parameter = { name: string; in: 'query' | 'path' | 'header'; required?: boolean; schema: Schema }
type Media = Record<string, { schema?: Schema }>

export type Operation = {
  name: string
  method: 'GET' | 'POST' | 'PATCH' | 'PUT' | 'DELETE'
  path: string
  roles: readonly Role[] | 'public' | 'owner-link'
  parameters: readonly Parameter[]
  /** media types the body may come as; empty where there is none */
  bodies: Media
  responses: Record<string, { content?: Media }>
  /** what is wrong with an answer's body by the declared schema, or null */
  faultOf: (status: number, body: unknown) => string | null
}

export type Description = { operations: Operation[]; isProblem: (body: unknown) => string | null }

// the package is CommonJS: where its class stands depends on who loads it
type Validator = {
  validateResponse: (status: string, body: unknown) => { message: string; errors: unknown[] } | undefined
}
type Maker = new (args: object) => Validator
let found = responseValidator as unknown
while (typeof found !== 'function') found = (found as { default: unknown }).default
const ResponseValidator = found as Maker

const customFormats = {
  date: (text: string) => isDay(text),
  uuid: (text: string) => /^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/i.test(text),
  'date-time': (text: string) => /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)$/.test(text),
}

type Document = {
  paths: Record<
    string,
    Record<
      string,
      {
        'x-roles': Operation['roles']
        parameters?: Parameter[]
        requestBody?: { content: Media }
        responses: Operation['responses']
      }
    >
  >
  components: object
}

export async function describedBy(app: App): Promise<Description> {
  const document = (await app.inject('/openapi.json')).json() as Document
  const validator = (responses: object) =>
    new ResponseValidator({ responses, components: document.components, customFormats })
  const operations = Object.entries(document.paths).flatMap(([path, methods]) =>
    Object.entries(methods).map(([method, operation]): Operation => {
      const check = validator(operation.responses)
      return {
        name: `${method.toUpperCase()} ${path}`,
        method: method.toUpperCase() as 'GET',
        path,
        roles: operation['x-roles'],
        parameters: operation.parameters ?? [],
        bodies: operation.requestBody?.content ?? {},
        responses: operation.responses,
        faultOf: (status, body) => {
          const fault = check.validateResponse(String(status), body)
          return fault ? `${fault.message} ${JSON.stringify(fault.errors)}` : null
        },
      }
    }),
  )
  const problem = validator({
    default: { description: '', content: { 'application/problem+json': { schema: problemRef } } },
  })
  return {
    operations,
    isProblem: (body) => {
      const fault = problem.validateResponse('default', body)
      return fault ? JSON.stringify(fault.errors) : null
    },
  }
}

const problemRef = { $ref: '#/components/schemas/Problem' }

/** The address with its parameters filled in. */
export const filled = (path: string, value: (name: string) => string): string =>
  path.replace(/\{(\w+)\}/g, (_whole, name: string) => value(name))
