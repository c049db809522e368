import { createHash } from 'node:crypto'
import { readFile } from 'node:fs/promises'
import path from 'node:path'
import pg from 'pg'
import { readConfig } from '../../src/config.ts'
import { startEmbedded } from '../../src/db/embedded.ts'
import { migrate } from '../../src/db/migrate.ts'
import { openDatabase } from '../../src/db/open.ts'
import type { Day } from '../../src/domain/day.ts'
import type { Service } from '../../src/http/service.ts'
import { makeLog } from '../../src/log.ts'
import { measuredOn } from './bench.ts'
import { generateCentre } from './generate-centre.ts'

export const TODAY = '2026-11-25' as Day

const folder = path.resolve('.data/bench-server')
const here = import.meta.dirname

/** Named after what generated it, so that another generator makes a new one; later migrations run on the copy. */
async function templateName(watches: number): Promise<string> {
  const hash = createHash('sha256')
  for (const file of ['generate-centre.ts', 'generate-house.ts']) hash.update(await readFile(path.join(here, file)))
  return `centre_${watches}_${hash.digest('hex').slice(0, 12)}`
}

async function generate(url: string, watches: number, due: number): Promise<void> {
  await migrate(url)
  const client = new pg.Client({ connectionString: url })
  await client.connect()
  await generateCentre(client, { watches, due, today: TODAY })
  await client.query('vacuum analyze')
  await client.end()
}

/**
 * A generated centre on a server with the usual safety (fsync on). Making a million watches takes minutes, so the centre
 * is kept as a template under .data/bench-server, and what is measured runs on a copy that is dropped afterwards.
 */
export async function benchCentre(
  watches: number,
  due = Math.min(10_000, Math.floor(watches / 10)),
): Promise<{ service: Service; seconds: number; close: () => Promise<void> }> {
  const start = performance.now()
  const server = await startEmbedded({
    dataFolder: folder,
    settings: { shared_buffers: '1GB', max_wal_size: '8GB', checkpoint_timeout: '30min', max_connections: '60' },
  })
  const at = (database: string) => {
    const url = new URL(server.url)
    url.pathname = `/${database}`
    return url.toString()
  }
  const admin = new pg.Client({ connectionString: at('postgres') })
  await admin.connect()
  const template = `${await templateName(watches)}_${due}`
  const known = await admin.query('select from pg_database where datname = $1', [template])
  if (known.rowCount === 0) {
    await admin.query('drop database if exists making with (force)')
    await admin.query('create database making')
    await generate(at('making'), watches, due)
    await admin.query(`alter database making rename to ${template}`)
  }
  await admin.query('drop database if exists measured with (force)')
  await admin.query(`create database measured template ${template} strategy file_copy`)
  await migrate(at('measured'))
  await admin.query('checkpoint')
  const database = await openDatabase(at('measured'), { poolSize: 6 })
  await measuredOn(database.pool)
  const reading = readConfig({
    LOG_LEVEL: 'silent',
    JOBS: 'off',
    CENTRE_TIME_ZONE: 'UTC',
    TRUSTED_PROXIES: '127.0.0.1',
  })
  if (!reading.ok) throw new Error(reading.faults.join('\n'))
  return {
    service: {
      config: reading.config,
      database,
      clock: { now: () => new Date(`${TODAY}T12:00:00Z`) },
      log: makeLog('silent'),
    },
    seconds: (performance.now() - start) / 1000,
    close: async () => {
      await database.close()
      await admin.query('drop database measured with (force)')
      await admin.end()
      await server.stop()
    },
  }
}
