import type { FastifyError, FastifyInstance, FastifyReply, FastifyRequest, FastifySchemaCompiler } from 'fastify'
import { z } from 'zod'
import { refusalFor } from '../db/constraint-refusals.ts'
import { isConflict, violationOf } from '../db/open.ts'
import { type Fault, Refusal, refusalCodes } from '../domain/refusals.ts'
import { statuses } from './problem-statuses.ts'

/** RFC 9457. Every answer of 400 and above has this shape and media type. */
export const problemSchema = z
  .looseObject({
    type: z.string(),
    title: z.string(),
    status: z.number().int(),
    detail: z.string(),
    instance: z.string(),
    errors: z
      .array(
        z.object({
          pointer: z.string().optional(),
          parameter: z.string().optional(),
          header: z.string().optional(),
          detail: z.string(),
        }),
      )
      .optional(),
  })
  .meta({ description: 'A problem as of RFC 9457.' })

const titleOf = (code: string) => `${code.charAt(0).toUpperCase()}${code.slice(1).replaceAll('-', ' ')}`

/** RFC 6901 section 6: a pointer as a URI fragment, so that it can stand alone. */
const asFragment = (pointer: string) => `#${encodeURI(pointer).replaceAll('#', '%23')}`

const escapePointer = (part: string | number) => String(part).replaceAll('~', '~0').replaceAll('/', '~1')

export function sendProblem(request: FastifyRequest, reply: FastifyReply, refusal: Refusal): FastifyReply {
  const status = statuses[refusal.code]
  const problem = {
    ...refusal.facts,
    type: `/problems/${refusal.code}`,
    title: titleOf(refusal.code),
    status,
    detail: refusal.message,
    instance: `urn:request:${request.id}`,
    ...(refusal.faults.length > 0 && {
      errors: refusal.faults.map((fault) =>
        fault.pointer === undefined ? fault : { ...fault, pointer: asFragment(fault.pointer) },
      ),
    }),
  }
  if (status === 401) reply.header('www-authenticate', 'Bearer')
  if (status === 503 || refusal.code === 'idempotency-key-in-flight') reply.header('retry-after', '2')
  if (refusal.code === 'too-many-requests') reply.header('retry-after', String(refusal.facts.seconds ?? 60))
  return reply
    .code(status)
    .header('content-type', 'application/problem+json; charset=utf-8')
    .serializer((payload) => JSON.stringify(payload))
    .send(problem)
}

/** What a schema at the door found: the issues as zod tells them, with their paths whole. */
class DoorError extends Error {
  readonly issues: readonly z.core.$ZodIssue[]
  constructor(issues: readonly z.core.$ZodIssue[]) {
    super('the request does not fit its schema')
    this.issues = issues
  }
}

export const doorCompiler: FastifySchemaCompiler<z.ZodType> =
  ({ schema }) =>
  (data) => {
    const result = schema.safeParse(data)
    return result.success ? { value: result.data } : { error: new DoorError(result.error.issues) }
  }

function faultsOf(issues: readonly z.core.$ZodIssue[], context: string | undefined): Fault[] {
  const at = (path: readonly PropertyKey[]): Omit<Fault, 'detail'> => {
    if (context === 'querystring' || context === 'params') return { parameter: path.map(String).join('.') }
    if (context === 'headers') return { header: path.map(String).join('.') }
    return { pointer: path.map((part) => `/${escapePointer(String(part))}`).join('') }
  }
  const faults = new Map<string, Fault>()
  const add = (path: readonly PropertyKey[], detail: string) => {
    const place = at(path)
    const key = JSON.stringify(place)
    if (!faults.has(key)) faults.set(key, { ...place, detail })
  }
  for (const issue of issues) {
    if (issue.code === 'unrecognized_keys')
      for (const key of issue.keys) add([...issue.path, key], 'is not known here; remove it or mend its name')
    else add(issue.path, issue.message.endsWith('received undefined') ? 'is missing' : issue.message)
  }
  return [...faults.values()]
}

/** The database is away, not reachable or gives up what it was doing: the same request may go well a little later. */
function isAway(error: unknown): boolean {
  const { code, message } = error as { code?: string; message?: string }
  const state = violationOf(error).state
  return (
    (code !== undefined && awayCodes.has(code)) ||
    (state !== undefined && (awayStates.has(state) || (state.startsWith('08') && state !== '08P01'))) ||
    awayWords.test(message ?? '')
  )
}
// the system calls of Node, for which pg sets the code of the error it passes on, and Prisma's own codes
const lines = [
  'ECONNREFUSED',
  'ECONNRESET',
  'ECONNABORTED',
  'EPIPE',
  'ETIMEDOUT',
  'ENOTFOUND',
  'EAI_AGAIN',
  'EHOSTUNREACH',
  'ENETUNREACH',
]
const awayCodes = new Set([...lines, 'P1001', 'P1008', 'P1017', 'P1018', 'P2028', 'P2037', 'P2039'])
/** PostgreSQL's Appendix A: no lock in time, cancelled (by statement_timeout, too), idle too long, shutting down or starting up, too many connections. */
const awayStates = new Set(['55P03', '57014', '57P01', '57P02', '57P03', '57P05', '25P03', '25P04', '53300'])
// pg tells of a broken connection without a code, Prisma within its own words
const awayWords = new RegExp(
  `is not queryable|Connection terminated|terminating connection|server closed the connection|timeout exceeded when trying to connect|Query read timeout|\\b(${lines.join('|')})\\b`,
)

/**
 * Anything thrown, as a refusal; what is not understood is a fault of ours and says nothing about itself. `consumes` is what
 * the address takes where that is not JSON.
 */
export function refusalOf(error: unknown, consumes?: readonly string[]): Refusal {
  if (error instanceof Refusal) return error
  const known = error as FastifyError
  if (error instanceof DoorError)
    return new Refusal('faulty-input', {}, faultsOf(error.issues, known.validationContext))
  switch (known.code) {
    case 'FST_ERR_CTP_INVALID_JSON_BODY':
    case 'FST_ERR_CTP_EMPTY_JSON_BODY':
    case 'FST_ERR_CTP_INVALID_CONTENT_LENGTH':
      return new Refusal('not-json')
    case 'FST_ERR_CTP_INVALID_MEDIA_TYPE':
      return new Refusal('unsupported-media-type', consumes && { accepted: consumes.join(' or ') })
    case 'FST_ERR_CTP_BODY_TOO_LARGE':
    case 'FST_REQ_FILE_TOO_LARGE':
      return new Refusal('body-too-large')
    case 'FST_UNDER_PRESSURE':
    case 'FST_ERR_HANDLER_TIMEOUT':
      return new Refusal('service-busy')
  }
  if (known.name === 'SyntaxError' && known.statusCode === 400) return new Refusal('not-json')
  if (known.statusCode === 429) return new Refusal('too-many-requests', { seconds: 60 })
  if (isConflict(error) || isAway(error)) return new Refusal('service-busy')
  const violation = violationOf(error)
  const meant = refusalFor(violation)
  if (meant) return meant
  // text that PostgreSQL cannot store (a zero byte, of which its protocol may speak first, half a pair of surrogates in JSON)
  // is the sender's fault, not ours
  if (['22021', '22P05', '08P01'].includes(violation.state ?? '') || /surrogate/i.test(known.message ?? ''))
    return new Refusal('faulty-input', {}, [{ pointer: '', detail: 'has a character that cannot be stored' }])
  if (known.statusCode && known.statusCode >= 400 && known.statusCode < 500)
    return new Refusal('faulty-input', {}, [{ pointer: '', detail: known.message }])
  return new Refusal('internal-fault')
}

export function registerProblems(app: FastifyInstance): void {
  // nothing is unpacked at the door: a few kilobytes could become gigabytes, and a body is read in one way only
  app.addHook('onRequest', async (request, reply) => {
    const coding = request.headers['content-encoding']
    if (coding === undefined || coding.toLowerCase() === 'identity') return
    reply.header('accept-encoding', 'identity')
    throw new Refusal('unsupported-media-type', { accepted: 'it is, without Content-Encoding' })
  })
  // the router cannot say which methods an address answers; 405 with Allow helps more than 404 where only the method is wrong
  const known: { methods: string[]; pattern: RegExp }[] = []
  app.addHook('onRoute', (route) => {
    const pattern = route.url.replace(/[.*+?^${}()|[\]\\]/g, '\\$&').replace(/:[A-Za-z]+/g, '[^/]+')
    known.push({ methods: [route.method].flat(), pattern: new RegExp(`^${pattern}/?$`) })
  })
  app.setErrorHandler((error, request, reply) => {
    const refusal = refusalOf(error, request.routeOptions.schema?.consumes as string[] | undefined)
    if (statuses[refusal.code] >= 500) request.log.error({ err: error }, 'request failed')
    return sendProblem(request, reply, refusal)
  })
  app.setNotFoundHandler((request, reply) => {
    const path = request.url.split('?')[0] ?? '/'
    const other = [...new Set(known.filter((route) => route.pattern.test(path)).flatMap((route) => route.methods))]
    if (other.length === 0) return sendProblem(request, reply, new Refusal('not-found'))
    reply.header('allow', other.join(', '))
    return sendProblem(request, reply, new Refusal('method-not-allowed', { allowed: other.join(', ') }))
  })
  app.get(
    '/problems/:code',
    {
      config: { roles: 'public' },
      schema: {
        tags: ['service'],
        summary: 'What a problem type means',
        params: z.object({ code: z.string() }),
        response: { 200: z.object({ type: z.string(), title: z.string(), status: z.number().int() }) },
      },
    },
    (request) => {
      const code = refusalCodes.find((known) => known === (request.params as { code: string }).code)
      if (!code) throw new Refusal('not-found', { what: 'problem type', id: (request.params as { code: string }).code })
      return { type: `/problems/${code}`, title: titleOf(code), status: statuses[code] }
    },
  )
}
