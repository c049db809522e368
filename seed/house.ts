import { rm } from 'node:fs/promises'
import path from 'node:path'
import pg from 'pg'
import { type Config, readConfig } from '../src/config.ts'
import { startEmbedded } from '../src/db/embedded.ts'
import { migrate } from '../src/db/migrate.ts'
import { openDatabase } from '../src/db/open.ts'
import type { Day } from '../src/domain/day.ts'
import { instantOf, type Service } from '../src/http/service.ts'
import { makeLog } from '../src/log.ts'

export const demoDay = '2026-11-25' as Day

/** The centre of the demo is named here; where it listens may be chosen by PORT and HOST. Its database is always its own. */
export function demoConfig(env: Record<string, string | undefined>): Config {
  const reading = readConfig({
    PORT: env.PORT,
    HOST: env.HOST,
    // owners' links in the letters lead back to the demo
    PUBLIC_URL: `http://127.0.0.1:${env.PORT?.trim() || 8080}`,
    LOG_LEVEL: env.LOG_LEVEL ?? 'warn',
    DATA_FOLDER: path.join('.data', 'demo'),
    CENTRE_NAME: 'Lanternside Watch Service',
    CENTRE_ADDRESS: 'Lanternside 9, Hollowmere',
    CENTRE_PHONE: '+44 1632 960000',
    CENTRE_COUNTRY: 'GB',
    CENTRE_TIME_ZONE: 'Europe/London',
    CENTRE_CURRENCY: 'EUR',
    LETTERS_FROM: 'Lanternside Watch Service <letters@example.org>',
    // written here for all to read: a demo has nothing to protect
    LINK_SECRET: 'the demo keeps no secret from anybody at all',
  })
  if (!reading.ok) throw new Error(reading.faults.join('\n'))
  return reading.config
}

/** Runs on from nine in the morning of the demo's day. */
export function demoClock(config: Config): Service['clock'] {
  const began = Date.now()
  const morning = instantOf(demoDay, '09:00', config.centre.timeZone).getTime()
  return { now: () => new Date(morning + Date.now() - began) }
}

export type OpenDemo = { service: Service; close: () => Promise<void> }

/**
 * The demo's own database server, with an empty database in it: it goes when the demo stops, and what an earlier demo
 * that was killed left behind is thrown away. The letters stay until the next demo.
 */
export async function openDemo(config: Config): Promise<OpenDemo> {
  const server = await startEmbedded({ dataFolder: path.join(config.dataFolder, 'database'), throwaway: true })
  await emptied(server.url)
  await rm(config.letters.folder, { recursive: true, force: true })
  await migrate(server.url)
  const log = makeLog(config.logLevel)
  let closing = false
  const database = await openDatabase(server.url, {
    // idle connections that the stopping server cuts off are no news
    onError: (err) => closing || log.error({ err }, 'idle database connection failed'),
  })
  return {
    service: { config, database, clock: demoClock(config), log },
    close: async () => {
      closing = true
      await database.close()
      await server.stop()
    },
  }
}

async function emptied(url: string): Promise<void> {
  const admin = new URL(url)
  const name = admin.pathname.slice(1)
  admin.pathname = '/postgres'
  const client = new pg.Client({ connectionString: admin.toString() })
  await client.connect()
  try {
    const inUse = await client.query('select 1 from pg_stat_activity where datname = $1 limit 1', [name])
    if (inUse.rowCount) throw new Error('another demo of this checkout is up: stop it first (Ctrl-C in its window)')
    await client.query(`drop database if exists ${client.escapeIdentifier(name)}`)
    await client.query(`create database ${client.escapeIdentifier(name)}`)
  } finally {
    await client.end()
  }
}
