import { createHash } from 'node:crypto'
import type { FastifyReply, FastifyRequest } from 'fastify'
import { Refusal } from '../domain/refusals.ts'
import { Prisma } from '../generated/prisma/client.ts'
import { type Act, act, type Service, signerOf } from './service.ts'

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

export const fingerprintOf = (request: FastifyRequest): Uint8Array<ArrayBuffer> =>
  new Uint8Array(
    createHash('sha256')
      .update(`${request.method} ${request.url}\n${canonical(request.body)}`)
      .digest(),
  )

/** The key of the header: a structured-field string (draft-ietf-httpapi-idempotency-key-header). */
export function idempotencyKeyOf(request: FastifyRequest): string {
  const header = request.headers['idempotency-key']
  if (header === undefined) throw new Refusal('idempotency-key-missing')
  const key = typeof header === 'string' ? SHAPE.exec(header)?.[1] : undefined
  if (key === undefined) throw new Refusal('idempotency-key-malformed')
  return key
}

type Stored = { fingerprint: Uint8Array; status: number | null; headers: unknown; body: unknown }

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
  const who = signerOf(request)
  const key = idempotencyKeyOf(request)
  const fingerprint = fingerprintOf(request)
  const route = `${request.method} ${request.routeOptions.url}`

  const answer = await act(service, who, async (doing) => {
    const { tx } = doing
    // a second request with this key waits here for the first to commit; a short wait, then 409. Whoever has the key
    // waits as usual for what the work needs
    const mine = await tx.$queryRaw<{ one: number }[]>`
        with patience as materialized (select current_setting('lock_timeout') as usual, set_config('lock_timeout', '3s', true)),
        taken as (
          insert into idempotency_key (staff_key_id, route, key, fingerprint)
          select ${who.keyId}::uuid, ${route}, ${key}, ${fingerprint} from patience
          on conflict do nothing returning 1 as one)
        select one, set_config('lock_timeout', usual, true) from taken, patience`.catch(inFlight)
    if (mine.length === 0) {
      const stored = (await tx.idempotencyKey.findUniqueOrThrow({
        where: { staffKeyId_route_key: { staffKeyId: who.keyId ?? '', route, key } },
      })) as Stored
      if (Buffer.compare(Buffer.from(stored.fingerprint), Buffer.from(fingerprint)) !== 0)
        throw new Refusal('idempotency-key-reused')
      if (stored.status === 410) throw new Refusal('owner-erased')
      const headers = (stored.headers ?? {}) as { location?: string; etag?: string }
      return { status: stored.status ?? 201, ...headers, body: stored.body, replayed: true }
    }
    const made = { status: 201, ...(await work(doing)) }
    const headers = { location: made.location, etag: made.etag }
    await tx.idempotencyKey.update({
      where: { staffKeyId_route_key: { staffKeyId: who.keyId ?? '', route, key } },
      data: {
        status: made.status,
        headers,
        body: (made.stored ?? made.body ?? Prisma.JsonNull) as Prisma.InputJsonValue,
      },
    })
    return { ...made, replayed: false }
  })

  if (answer.location) reply.header('location', answer.location)
  if (answer.etag) reply.header('etag', answer.etag)
  if (answer.replayed) reply.header('idempotent-replayed', 'true')
  reply.code(answer.status).send(answer.body)
}

function inFlight(error: unknown): never {
  const original = (error as { meta?: { driverAdapterError?: { cause?: { originalCode?: string } } } }).meta
    ?.driverAdapterError?.cause?.originalCode
  if (original === '55P03') throw new Refusal('idempotency-key-in-flight')
  throw error
}
