import { randomBytes } from 'node:crypto'
import pg from 'pg'
import { inject } from 'vitest'
import { at } from './database-server.ts'

/** A database of its own, cloned from the migrated template; `drop` removes it. */
export async function freshDatabase(): Promise<{ url: string; drop: () => Promise<void> }> {
  const server = inject('databaseServer')
  const name = `mainplate_${randomBytes(6).toString('hex')}`
  await admin(server, `create database ${name} template mainplate_template`)
  await admin(server, `alter database ${name} set timezone = 'Asia/Tokyo'`)
  return { url: at(server, name), drop: () => admin(server, `drop database if exists ${name} with (force)`) }
}

/** Another one with all that is in the first, ids and all; nobody may be connected to that. */
export async function copyOf(url: string): Promise<{ url: string; drop: () => Promise<void> }> {
  const server = inject('databaseServer')
  const name = `mainplate_${randomBytes(6).toString('hex')}`
  await admin(server, `create database ${name} template ${new URL(url).pathname.slice(1)}`)
  await admin(server, `alter database ${name} set timezone = 'Asia/Tokyo'`)
  return { url: at(server, name), drop: () => admin(server, `drop database if exists ${name} with (force)`) }
}

async function admin(server: string, sql: string): Promise<void> {
  const client = new pg.Client({ connectionString: at(server, 'postgres') })
  await client.connect()
  try {
    await client.query(sql)
  } finally {
    await client.end()
  }
}
