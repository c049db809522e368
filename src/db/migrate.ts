import { readdir } from 'node:fs/promises'
import path from 'node:path'
import { fileURLToPath } from 'node:url'
import pg from 'pg'
import { isConflict } from './open.ts'

const here = path.dirname(fileURLToPath(import.meta.url))
/** src/db or dist/src/db: the folder prisma/ stands beside src/, or beside dist/. */
const root =
  path.basename(path.resolve(here, '../..')) === 'dist' ? path.resolve(here, '../../..') : path.resolve(here, '../..')
export const migrationsFolder = path.join(root, 'prisma', 'migrations')

const UNDEFINED_TABLE = '42P01'

/**
 * Brings a database to the newest schema; replicas that start together wait for one another on an advisory lock. It is one
 * transaction: where it and the work of an older version wait for each other and PostgreSQL ends it, it is done again.
 */
export async function migrate(databaseUrl: string): Promise<string[]> {
  for (let attempt = 1; ; attempt++) {
    try {
      return await migrateOnce(databaseUrl)
    } catch (error) {
      if (attempt >= 10 || !isConflict(error)) throw error
    }
  }
}

async function isUpToDate(client: pg.Client): Promise<boolean> {
  const { rows } = await client.query<{ name: string }>('select name from schema_migration').catch((error) => {
    if (error.code === UNDEFINED_TABLE) return { rows: [] }
    throw error
  })
  const known = new Set(rows.map(({ name }) => `${name}.sql`))
  return (await readdir(migrationsFolder)).every((file) => known.has(file))
}

async function migrateOnce(databaseUrl: string): Promise<string[]> {
  const client = new pg.Client({ connectionString: databaseUrl, options: '-c TimeZone=UTC' })
  await client.connect()
  try {
    // as nearly every start finds it: what carries migrations out takes longer to load than all else here
    if (await isUpToDate(client)) return []
    const { runner } = await import('node-pg-migrate')
    const done = await runner({
      dbClient: client,
      dir: migrationsFolder,
      direction: 'up',
      migrationsTable: 'schema_migration',
      checkOrder: true,
      singleTransaction: true,
      advisoryLockMode: 'wait',
      log: () => {},
    } as Parameters<typeof runner>[0])
    return done.map((migration) => migration.name)
  } finally {
    await client.end()
  }
}
