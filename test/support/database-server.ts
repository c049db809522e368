import { mkdtemp, rm } from 'node:fs/promises'
import os from 'node:os'
import path from 'node:path'
import pg from 'pg'
import type { TestProject } from 'vitest/node'
import { startEmbedded } from '../../src/db/embedded.ts'
import { migrate } from '../../src/db/migrate.ts'

const TEMPLATE = 'mainplate_template'

declare module 'vitest' {
  export interface ProvidedContext {
    databaseServer: string
  }
}

/**
 * One PostgreSQL for the whole run (TEST_DATABASE_URL, or an embedded one that may lose its data) with one migrated
 * template; each test file clones it. The template's own zone is not UTC, so that anything that leans on it shows.
 */
export default async function setup(project: TestProject) {
  const given = process.env.TEST_DATABASE_URL
  const folder = given ? null : await mkdtemp(path.join(os.tmpdir(), 'mainplate-test-'))
  const embedded = folder
    ? await startEmbedded({
        dataFolder: path.join(folder, 'data'),
        throwaway: true,
        settings: { max_connections: '200' },
      })
    : null
  const server = given ?? embedded?.url ?? ''
  const admin = new pg.Client({ connectionString: at(server, 'postgres') })
  await admin.connect()
  await admin.query(`drop database if exists ${TEMPLATE} with (force)`)
  await admin.query(`create database ${TEMPLATE}`)
  await admin.query(`alter database ${TEMPLATE} set timezone = 'Asia/Tokyo'`)
  await admin.end()
  await migrate(at(server, TEMPLATE))
  project.provide('databaseServer', server)
  return async () => {
    await embedded?.stop()
    if (folder) await rm(folder, { recursive: true, force: true })
  }
}

export function at(server: string, database: string): string {
  const url = new URL(server)
  url.pathname = `/${database}`
  return url.toString()
}
