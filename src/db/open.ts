import { PrismaPg } from '@prisma/adapter-pg'
import pg from 'pg'
import type { Day } from '../domain/day.ts'
import { type Prisma, PrismaClient } from '../generated/prisma/client.ts'

/** What every use case is handed: inside a transaction or not, it is the same type. */
export type Db = Prisma.TransactionClient

export type Database = {
  prisma: PrismaClient
  /** the same connections, for statements that are hot, set-based or must win a race */
  pool: pg.Pool
  url: string
  close: () => Promise<void>
}

export type OpenOptions = { poolSize?: number; onError?: (error: Error) => void }

// dates stay text: a JS Date would carry them through a time zone
const types: pg.CustomTypesConfig = {
  getTypeParser: ((oid: number, format?: 'text' | 'binary') => {
    if (oid === pg.types.builtins.DATE) return (value: string) => value
    if (oid === pg.types.builtins.INT8) return (value: string) => Number(value)
    return pg.types.getTypeParser(oid, format as 'text')
  }) as pg.CustomTypesConfig['getTypeParser'],
}

/**
 * Opens one pool for Prisma and for plain SQL. The session runs in UTC, since @prisma/adapter-pg stores timestamptz
 * shifted in any other zone; that is checked here rather than believed.
 */
export async function openDatabase(url: string, options: OpenOptions = {}): Promise<Database> {
  const pool = new pg.Pool({
    connectionString: url,
    max: options.poolSize ?? 10,
    connectionTimeoutMillis: 10_000,
    idleTimeoutMillis: 60_000,
    application_name: 'mainplate',
    // statements that need not wait for one another's answers are sent without waiting
    pipeline: true,
    options:
      '-c TimeZone=UTC -c jit=off -c random_page_cost=1.1 -c statement_timeout=120000 -c lock_timeout=15000 -c idle_in_transaction_session_timeout=60000',
    types,
  })
  pool.on('error', options.onError ?? (() => {}))
  // a connection that breaks while it is lent out tells its borrower through the query; without a listener of its own
  // the same error would end the process
  pool.on('connect', (client) => client.on('error', () => {}))
  const prisma = new PrismaClient({
    adapter: new PrismaPg(pool),
    transactionOptions: { maxWait: 10_000, timeout: 30_000 },
  })
  const close = async () => {
    await prisma.$disconnect()
    if (!pool.ended) await pool.end()
  }
  try {
    const { rows } = await pool.query<{ TimeZone: string }>('show timezone')
    if (rows[0]?.TimeZone !== 'UTC') throw new Error(`the database session runs in ${rows[0]?.TimeZone}, not in UTC`)
  } catch (error) {
    await close()
    throw error
  }
  return { prisma, pool, url, close }
}

/** A `date` column as Prisma reads it: midnight UTC of that day. */
export const dayFrom = (date: Date): Day => date.toISOString().slice(0, 10) as Day
export const dayOrNull = (date: Date | null): Day | null => (date === null ? null : dayFrom(date))
/** For Prisma, which takes the UTC date of a Date. */
export const dateOf = (day: Day): Date => new Date(`${day}T00:00:00Z`)

/** Serialization failure or deadlock, whether Prisma saw it in a model query (P2034) or in raw SQL (P2010). */
export function isConflict(error: unknown): boolean {
  const { code, meta } = error as {
    code?: string
    meta?: { driverAdapterError?: { cause?: { originalCode?: string } } }
  }
  if (code === 'P2034' || code === '40001' || code === '40P01') return true
  const original = meta?.driverAdapterError?.cause?.originalCode
  return code === 'P2010' && (original === '40001' || original === '40P01')
}

/** One transaction, tried again when PostgreSQL asks for it (40001, 40P01); the work must have no effect elsewhere. */
export async function transaction<T>(database: Database, work: (tx: Db) => Promise<T>): Promise<T> {
  for (let attempt = 1; ; attempt++) {
    try {
      return await database.prisma.$transaction(work)
    } catch (error) {
      if (attempt >= 4 || !isConflict(error)) throw error
    }
  }
}

/** The violated constraint and the SQLSTATE of a database error, however it reached us. */
export function violationOf(error: unknown): { constraint?: string; state?: string } {
  const e = error as {
    code?: string
    constraint?: string
    meta?: {
      driverAdapterError?: {
        cause?: { originalCode?: string; constraint?: { index?: string; fields?: string[] }; originalMessage?: string }
      }
    }
  }
  const cause = e.meta?.driverAdapterError?.cause
  if (cause) {
    const named = /constraint "([^"]+)"/.exec(cause.originalMessage ?? '')?.[1]
    return { constraint: cause.constraint?.index ?? named, state: cause.originalCode }
  }
  return { constraint: e.constraint, state: e.code }
}
