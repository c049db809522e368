import { mkdtemp, rm } from 'node:fs/promises'
import os from 'node:os'
import path from 'node:path'
import pg from 'pg'
import { readConfig } from '../../src/config.ts'
import { startEmbedded } from '../../src/db/embedded.ts'
import { migrate } from '../../src/db/migrate.ts'
import { openDatabase } from '../../src/db/open.ts'
import type { Day } from '../../src/domain/day.ts'
import type { Service } from '../../src/http/service.ts'
import { makeLog } from '../../src/log.ts'
import { generateCentre } from './generate-centre.ts'

export const TODAY = '2026-11-25' as Day

/** The sizes to measure: BENCH_WATCHES, such as 10000,100000, or what the figure is promised for. */
export const sizesToMeasure = (usual: readonly number[]): number[] =>
  process.env.BENCH_WATCHES ? process.env.BENCH_WATCHES.split(',').map(Number) : [...usual]

/** A generated centre on a server of its own, with the server's usual safety (fsync on). */
export async function benchCentre(watches: number): Promise<{ service: Service; close: () => Promise<void> }> {
  const folder = await mkdtemp(path.join(os.tmpdir(), 'mainplate-bench-'))
  const server = await startEmbedded({
    dataFolder: path.join(folder, 'data'),
    settings: { shared_buffers: '1GB', max_wal_size: '4GB', checkpoint_timeout: '30min' },
  })
  await migrate(server.url)
  const client = new pg.Client({ connectionString: server.url })
  await client.connect()
  await generateCentre(client, { watches, due: Math.min(10_000, Math.floor(watches / 10)), today: TODAY })
  await client.query('vacuum analyze')
  await client.end()
  const database = await openDatabase(server.url, { poolSize: 6 })
  const reading = readConfig({ LOG_LEVEL: 'silent', JOBS: 'off', CENTRE_TIME_ZONE: 'UTC' })
  if (!reading.ok) throw new Error(reading.faults.join('\n'))
  return {
    service: {
      config: reading.config,
      database,
      clock: { now: () => new Date(`${TODAY}T12:00:00Z`) },
      log: makeLog('silent'),
    },
    close: async () => {
      await database.close()
      await server.stop()
      await rm(folder, { recursive: true, force: true })
    },
  }
}

export const median = (values: readonly number[]): number =>
  [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)] as number
export const round = (value: number, places = 2): number => Math.round(value * 10 ** places) / 10 ** places
