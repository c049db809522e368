import { mkdtemp, rm } from 'node:fs/promises'
import os from 'node:os'
import path from 'node:path'
import { type App, buildApp } from '../../src/app.ts'
import { readConfig } from '../../src/config.ts'
import { startEmbedded } from '../../src/db/embedded.ts'
import { migrate } from '../../src/db/migrate.ts'
import { openDatabase } from '../../src/db/open.ts'
import { addStaffKey } from '../../src/features/staff-keys/staff-keys.ts'
import { act, type Role, roles, type Service } from '../../src/http/service.ts'
import { makeLog } from '../../src/log.ts'

export type Stand = { app: App; service: Service; keys: Record<Role, string>; close: () => Promise<void> }

/** The whole service in this process, over a throwaway server of its own: for runs that are started by hand. */
export async function standAlone(): Promise<Stand> {
  const folder = await mkdtemp(path.join(os.tmpdir(), 'mainplate-stand-'))
  const server = await startEmbedded({ dataFolder: path.join(folder, 'data'), throwaway: true })
  await migrate(server.url)
  const reading = readConfig({ DATA_FOLDER: folder, LOG_LEVEL: 'silent', JOBS: 'off' })
  if (!reading.ok) throw new Error(reading.faults.join('\n'))
  const database = await openDatabase(server.url, { poolSize: 10 })
  const now = new Date('2026-11-25T12:00:00Z')
  const service: Service = { config: reading.config, database, clock: { now: () => now }, log: makeLog('silent') }
  const app = await buildApp(service)
  const keys = {} as Record<Role, string>
  for (const role of roles) {
    const made = await act(service, { keyId: null, name: 'stand', role: 'service' }, (doing) =>
      addStaffKey(doing, { name: `${role} of the stand`, role }),
    )
    keys[role] = (made.body as { key: string }).key
  }
  return {
    app,
    service,
    keys,
    close: async () => {
      await app.close()
      await database.close()
      await server.stop()
      await rm(folder, { recursive: true, force: true })
    },
  }
}
