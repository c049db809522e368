import type { FastifyReply, FastifyRequest } from 'fastify'
import type pg from 'pg'
import { inOneWrite, onConnection } from '../db/sql.ts'
import {
  askedBy,
  type Created,
  inFlight,
  keepAnswer,
  madeBefore,
  madeNow,
  type Stored,
  send,
  storedAnswer,
  type Taken,
  takeKey,
  toKeep,
} from './creating.ts'
import { type Act, dayAt, type Service } from './service.ts'

/** An act that speaks plain SQL: statements are named, so that each is planned once a connection. */
export type SqlAct = Omit<Act, 'tx'> & {
  readonly query: <T extends pg.QueryResultRow>(name: string, text: string, values: readonly unknown[]) => Promise<T[]>
}

/** The key is of a request that was answered before. */
class TakenBefore extends Error {}

/**
 * What `createOnce` does, for a door that has to be fast: over a plain connection, with named statements, and in as few
 * writes to it as can be, for those cost most. The key and the first statement of the work leave in one, the stored answer
 * and the commit in another. The answers, refusals and races are the same.
 */
export async function createOnceBySql(
  service: Service,
  request: FastifyRequest,
  reply: FastifyReply,
  work: (act: SqlAct) => Promise<Created>,
): Promise<void> {
  const { who, key, fingerprint } = askedBy(request)
  const now = service.clock.now()
  const zone = service.config.centre.timeZone

  const answer = await onConnection(service.database.pool, async (client) => {
    const ask: SqlAct['query'] = async (name, text, values) =>
      (await client.query({ name, text, values: [...values] })).rows
    const place = ask<Taken>('idempotency-take', takeKey, [...key, fingerprint]).then(([mine]) => {
      if (mine === undefined) throw new TakenBefore()
      return mine.place
    }, inFlight)
    // the work is told nothing before the key is ours
    const query: SqlAct['query'] = async <T extends pg.QueryResultRow>(
      ...statement: Parameters<SqlAct['query']>
    ): Promise<T[]> => (await Promise.all([ask<T>(...statement), place]))[0]
    try {
      const [made, mine] = await Promise.all([work({ query, now, today: dayAt(now, zone), zone, who }), place])
      inOneWrite(client)
      // not waited for: where it fails, the commit behind it does
      ask('idempotency-keep', keepAnswer, toKeep(mine, made)).catch(() => {})
      return madeNow(made)
    } catch (error) {
      if (!(error instanceof TakenBefore)) throw error
      const [stored] = await ask<Stored>('idempotency-stored', storedAnswer, key)
      return madeBefore(stored, fingerprint)
    }
  })
  send(reply, answer)
}
