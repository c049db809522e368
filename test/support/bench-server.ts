import { rm } from 'node:fs/promises'
import path from 'node:path'
import { startEmbedded } from '../../src/db/embedded.ts'
import { migrate } from '../../src/db/migrate.ts'
import { type Database, openDatabase } from '../../src/db/open.ts'
import { measuredOn } from './bench.ts'
import { enterableFolder } from './folder.ts'

export type BenchServer = { url: string; database: Database; folder: string; postmasterFile: string }

/** An empty migrated database on a server of its own, with the usual safety (fsync on); it goes when the work is done. */
export async function withServer(
  options: { settings?: Record<string, string>; poolSize?: number },
  work: (server: BenchServer) => Promise<void>,
): Promise<void> {
  const folder = await enterableFolder('bench')
  const server = await startEmbedded({ dataFolder: path.join(folder, 'data'), settings: options.settings })
  try {
    await migrate(server.url)
    const database = await openDatabase(server.url, { poolSize: options.poolSize ?? 10 })
    try {
      await measuredOn(database.pool)
      const { rows } = await database.pool.query<{ file: string }>(
        `select current_setting('data_directory') || '/postmaster.pid' as file`,
      )
      await work({ url: server.url, database, folder, postmasterFile: rows[0]?.file ?? '' })
    } finally {
      await database.close()
    }
  } finally {
    await server.stop()
    await rm(folder, { recursive: true, force: true })
  }
}
