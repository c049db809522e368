import type { FastifyReply, FastifyRequest } from 'fastify'
import type pg from 'pg'
import { violationOf } from '../db/open.ts'
import { onConnection } from '../db/sql.ts'
import { Refusal } from '../domain/refusals.ts'
import { type Created, fingerprintOf, idempotencyKeyOf } from './creating.ts'
import { type Act, dayAt, type Service, signerOf } from './service.ts'

/** An act that speaks plain SQL: statements are named, so that each is planned once a connection. */
export type SqlAct = Omit<Act, 'tx'> & {
  readonly query: <T extends pg.QueryResultRow>(name: string, text: string, values: readonly unknown[]) => Promise<T[]>
}

type Stored = {
  fingerprint: Buffer
  status: number | null
  headers: { location?: string; etag?: string } | null
  body: unknown
}

/**
 * What `createOnce` does, for a door that has to be fast: key row, work and stored answer in one transaction, but over a
 * plain connection and with named statements. The answers, refusals and races are the same.
 */
export async function createOnceBySql(
  service: Service,
  request: FastifyRequest,
  reply: FastifyReply,
  work: (act: SqlAct) => Promise<Created>,
): Promise<void> {
  const who = signerOf(request)
  const key = idempotencyKeyOf(request)
  const fingerprint = fingerprintOf(request)
  const route = `${request.method} ${request.routeOptions.url}`
  const now = service.clock.now()
  const zone = service.config.centre.timeZone

  const answer = await onConnection(service.database.pool, async (client) => {
    const query: SqlAct['query'] = async (name, text, values) =>
      (await client.query({ name, text, values: [...values] })).rows
    const [mine] = await query<{ place: string }>('idempotency-take', takeKey, [
      who.keyId,
      route,
      key,
      fingerprint,
    ]).catch(inFlight)
    if (mine === undefined) {
      const [stored] = await query<Stored>('idempotency-stored', storedAnswer, [who.keyId, route, key])
      if (!stored) throw new Refusal('service-busy')
      if (Buffer.compare(stored.fingerprint, Buffer.from(fingerprint)) !== 0)
        throw new Refusal('idempotency-key-reused')
      if (stored.status === 410) throw new Refusal('owner-erased')
      return { status: stored.status ?? 201, ...stored.headers, body: stored.body, replayed: true }
    }
    const made = { status: 201, ...(await work({ query, now, today: dayAt(now, zone), zone, who })) }
    const headers = JSON.stringify({ location: made.location, etag: made.etag })
    await query('idempotency-keep', keepAnswer, [
      mine.place,
      made.status,
      headers,
      JSON.stringify(made.stored ?? made.body ?? null),
    ])
    return { ...made, replayed: false }
  })

  if (answer.location) reply.header('location', answer.location)
  if (answer.etag) reply.header('etag', answer.etag)
  if (answer.replayed) reply.header('idempotent-replayed', 'true')
  reply.code(answer.status).send(answer.body)
}

const takeKey = `with patience as materialized (select current_setting('lock_timeout') as usual, set_config('lock_timeout', '3s', true)),
  taken as (insert into idempotency_key (staff_key_id, route, key, fingerprint)
    select $1::uuid, $2, $3, $4::bytea from patience on conflict do nothing returning ctid as place)
  select place, set_config('lock_timeout', usual, true) from taken, patience`
const storedAnswer = `select fingerprint, status, headers, body from idempotency_key where staff_key_id = $1::uuid and route = $2 and key = $3`
// by its place: nobody else can move a row that is not committed, and a statement planned while the table was empty reads no more for it later
const keepAnswer = `update idempotency_key set status = $2, headers = $3::jsonb, body = $4::jsonb where ctid = $1::tid`

function inFlight(error: unknown): never {
  if (violationOf(error).state === '55P03') throw new Refusal('idempotency-key-in-flight')
  throw error
}
