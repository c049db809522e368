import type pg from 'pg'
import { Prisma } from '../generated/prisma/client.ts'
import { type Database, isConflict } from './open.ts'

/** Written statements alone. `Db` is one, too: what asks for no more than this runs on either. */
export type Sql = {
  $queryRaw<T = unknown>(query: TemplateStringsArray | Prisma.Sql, ...values: unknown[]): Promise<T>
  $executeRaw(query: TemplateStringsArray | Prisma.Sql, ...values: unknown[]): Promise<number>
}

/** What is sent on this connection from here to the end of the turn leaves in one write. */
export function inOneWrite({ connection: { stream } }: pg.PoolClient): void {
  stream.cork()
  process.nextTick(() => stream.uncork())
}

/** One transaction on one plain connection, tried again when PostgreSQL asks for it (40001, 40P01), as `transaction` is. */
export async function onConnection<T>(pool: pg.Pool, work: (client: pg.PoolClient) => Promise<T>): Promise<T> {
  const client = await pool.connect()
  let broken: Error | undefined
  try {
    for (let attempt = 1; ; attempt++) {
      try {
        inOneWrite(client)
        const [, result] = await Promise.all([client.query('begin'), work(client)])
        const { command } = await client.query('commit')
        if (command === 'ROLLBACK') throw new Error('a statement failed whose answer nobody waited for')
        return result
      } catch (error) {
        await client.query('rollback').catch((lost: Error) => {
          broken = lost
        })
        if (broken || attempt >= 4 || !isConflict(error)) throw error
      }
    }
  } finally {
    client.release(broken)
  }
}

/**
 * The same for work that goes through many rows: Prisma maps each value of each row once more, which took as long as
 * deciding about them. Statements are not named: one planned while a table was empty would be kept while the run fills it.
 */
export const plainTransaction = <T>({ pool }: Database, work: (sql: Sql) => Promise<T>): Promise<T> =>
  onConnection(pool, (client) => {
    const run = (query: TemplateStringsArray | Prisma.Sql, values: unknown[]) => {
      const { text, values: bound } = 'text' in query ? query : Prisma.sql(query, ...values)
      return client.query(text, bound)
    }
    return work({
      $queryRaw: async <T>(query: TemplateStringsArray | Prisma.Sql, ...values: unknown[]) =>
        (await run(query, values)).rows as T,
      $executeRaw: async (query, ...values) => (await run(query, values)).rowCount ?? 0,
    })
  })
