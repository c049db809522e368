import { createHash } from 'node:crypto'
import type { FastifyReply, FastifyRequest } from 'fastify'
import { violationOf } from '../db/open.ts'
import { Refusal } from '../domain/refusals.ts'
import { type Act, act, type Service, type Signer, signerOf } from './service.ts'

/** What a creating act answers with; `location` is the address of what was made. */
export type Created = {
  status?: number
  location?: string
  etag?: string
  body: unknown
  /** what a repetition is answered with, where the first answer holds a secret */
  stored?: unknown
}

const SHAPE = /^"([\x21\x23-\x5b\x5d-\x7e]{1,200})"$/

/** JSON with sorted keys: the same body in another order is the same request. */
function canonical(value: unknown): string {
  if (Array.isArray(value)) return `[${value.map(canonical).join(',')}]`
  if (value !== null && typeof value === 'object') {
    const entries = Object.entries(value).sort(([a], [b]) => (a < b ? -1 : 1))
    return `{${entries.map(([key, part]) => `${JSON.stringify(key)}:${canonical(part)}`).join(',')}}`
  }
  return JSON.stringify(value) ?? 'null'
}

const fingerprintOf = (request: FastifyRequest): Uint8Array<ArrayBuffer> =>
  new Uint8Array(
    createHash('sha256')
      .update(`${request.method} ${request.url}\n${canonical(request.body)}`)
      .digest(),
  )

/** The key of the header: a structured-field string (draft-ietf-httpapi-idempotency-key-header). */
function idempotencyKeyOf(request: FastifyRequest): string {
  const header = request.headers['idempotency-key']
  if (header === undefined) throw new Refusal('idempotency-key-missing')
  const key = typeof header === 'string' ? SHAPE.exec(header)?.[1] : undefined
  if (key === undefined) throw new Refusal('idempotency-key-malformed')
  return key
}

/** What makes a request the same as one before: who asks, by which door, under which key, and for what. */
export type Asked = {
  readonly who: Signer
  readonly key: readonly [staffKey: string | null, route: string, key: string]
  readonly fingerprint: Uint8Array<ArrayBuffer>
}

export function askedBy(request: FastifyRequest): Asked {
  const who = signerOf(request)
  const route = `${request.method} ${request.routeOptions.url}`
  return { who, key: [who.keyId, route, idempotencyKeyOf(request)], fingerprint: fingerprintOf(request) }
}

// A second request with a key waits here for the first to commit; a short wait, then 409. Whoever has the key waits as usual
// for what the work needs.
export const takeKey = `with patience as materialized (select current_setting('lock_timeout') as usual, set_config('lock_timeout', '3s', true)),
  taken as (insert into idempotency_key (staff_key_id, route, key, fingerprint)
    select $1::uuid, $2, $3, $4::bytea from patience on conflict do nothing returning ctid::text as place)
  select place, set_config('lock_timeout', usual, true) from taken, patience`
export const storedAnswer = `select fingerprint, status, headers, body from idempotency_key where staff_key_id = $1::uuid and route = $2 and key = $3`
// By its place: nobody else can move a row that is not committed, and a statement planned while the table was empty reads no
// more of it later.
export const keepAnswer = `update idempotency_key set status = $2, headers = $3::jsonb, body = $4::jsonb where ctid = $1::tid`
export type Taken = { place: string }

export type Stored = {
  fingerprint: Uint8Array
  status: number | null
  headers: { location?: string; etag?: string } | null
  body: unknown
}

type Answer = Omit<Created, 'stored'> & { readonly status: number; readonly replayed: boolean }

export const madeNow = (made: Created): Answer => ({ status: 201, ...made, replayed: false })

/** The values of `keepAnswer`. */
export const toKeep = (place: string, { status, location, etag, body, stored }: Created): unknown[] => [
  place,
  status ?? 201,
  JSON.stringify({ location, etag }),
  JSON.stringify(stored ?? body ?? null),
]

/** What a repetition is answered with. */
export function madeBefore(stored: Stored | undefined, fingerprint: Uint8Array): Answer {
  // swept away between the two statements: it was a day old
  if (!stored) throw new Refusal('service-busy')
  if (Buffer.compare(Buffer.from(stored.fingerprint), Buffer.from(fingerprint)) !== 0)
    throw new Refusal('idempotency-key-reused')
  if (stored.status === 410) throw new Refusal('owner-erased')
  return { status: stored.status ?? 201, ...stored.headers, body: stored.body, replayed: true }
}

export function inFlight(error: unknown): never {
  if (violationOf(error).state === '55P03') throw new Refusal('idempotency-key-in-flight')
  throw error
}

export function send(reply: FastifyReply, answer: Answer): void {
  if (answer.location) reply.header('location', answer.location)
  if (answer.etag) reply.header('etag', answer.etag)
  if (answer.replayed) reply.header('idempotent-replayed', 'true')
  reply.code(answer.status).send(answer.body)
}

/**
 * The handler of a POST that creates. Key row, work and stored answer are one transaction: either all is there or nothing,
 * and a repetition is answered from the row. Refusals roll the key back, so that a mended request may use it again.
 */
export async function createOnce(
  service: Service,
  request: FastifyRequest,
  reply: FastifyReply,
  work: (act: Act) => Promise<Created>,
): Promise<void> {
  const { who, key, fingerprint } = askedBy(request)
  const answer = await act(service, who, async (doing) => {
    const [mine] = await doing.tx.$queryRawUnsafe<Taken[]>(takeKey, ...key, fingerprint).catch(inFlight)
    if (mine === undefined) {
      const [stored] = await doing.tx.$queryRawUnsafe<Stored[]>(storedAnswer, ...key)
      return madeBefore(stored, fingerprint)
    }
    const made = await work(doing)
    await doing.tx.$executeRawUnsafe(keepAnswer, ...toKeep(mine.place, made))
    return madeNow(made)
  })
  send(reply, answer)
}
