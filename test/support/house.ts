import { randomUUID } from 'node:crypto'
import { mkdtemp, rm } from 'node:fs/promises'
import os from 'node:os'
import path from 'node:path'
import supertest from 'supertest'
import { type App, buildApp } from '../../src/app.ts'
import { readConfig } from '../../src/config.ts'
import { type Database, openDatabase } from '../../src/db/open.ts'
import { addStaffKey } from '../../src/features/staff-keys/staff-keys.ts'
import { act, type Role, roles, type Service } from '../../src/http/service.ts'
import { makeLog } from '../../src/log.ts'
import { freshDatabase } from './database.ts'

export type House = {
  app: App
  service: Service
  database: Database
  databaseUrl: string
  keys: Record<Role, string>
  /** moves the house's clock: a full instant, or a day (then noon at the centre, which is in UTC here) */
  setNow: (instant: string) => void
  as: (role: Role) => Caller
  close: () => Promise<void>
}

export type Caller = {
  get: (path: string) => supertest.Test
  /** a POST with a fresh Idempotency-Key, unless one is given */
  post: (path: string, body?: object, idempotencyKey?: string) => supertest.Test
  /** a PATCH with If-Match */
  patch: (path: string, body: object, etag: string) => supertest.Test
}

/** The whole service over a database of its own, with a key for each role and a clock that stands still. */
export async function openHouse(options: { now?: string; env?: Record<string, string> } = {}): Promise<House> {
  const { url, drop } = await freshDatabase()
  const folder = await mkdtemp(path.join(os.tmpdir(), 'mainplate-house-'))
  const reading = readConfig({
    DATA_FOLDER: folder,
    CENTRE_TIME_ZONE: 'UTC',
    CENTRE_NAME: 'Test Centre',
    LOG_LEVEL: 'silent',
    JOBS: 'off',
    ...options.env,
  })
  if (!reading.ok) throw new Error(reading.faults.join('\n'))
  const database = await openDatabase(url, { poolSize: 10 })
  let now = instant(options.now ?? '2026-11-25')
  const service: Service = {
    config: reading.config,
    database,
    clock: { now: () => now },
    log: makeLog(process.env.TEST_LOG ?? 'silent'),
  }
  const app = await buildApp(service)
  await app.listen({ host: '127.0.0.1', port: 0 })

  const keys = {} as Record<Role, string>
  for (const role of roles) {
    const made = await act(service, { keyId: null, name: 'test', role: 'service' }, (doing) =>
      addStaffKey(doing, { name: `${role} of the test`, role }),
    )
    keys[role] = (made.body as { key: string }).key
  }
  const as = (role: Role): Caller => {
    const signed = (test: supertest.Test) => test.set('authorization', `Bearer ${keys[role]}`)
    return {
      get: (url) => signed(supertest(app.server).get(url)),
      post: (url, body, idempotencyKey = `"${randomUUID()}"`) =>
        signed(supertest(app.server).post(url)).set('idempotency-key', idempotencyKey).send(body),
      patch: (url, body, etag) => signed(supertest(app.server).patch(url)).set('if-match', etag).send(body),
    }
  }
  return {
    app,
    service,
    database,
    databaseUrl: url,
    keys,
    setNow: (value) => {
      now = instant(value)
    },
    as,
    close: async () => {
      await app.close()
      await database.close()
      await drop()
      await rm(folder, { recursive: true, force: true })
    },
  }
}

const instant = (value: string) => new Date(value.length === 10 ? `${value}T12:00:00Z` : value)
