import { rm } from 'node:fs/promises'
import path from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { type EmbeddedServer, startEmbedded } from '../../../src/db/embedded.ts'
import { migrate } from '../../../src/db/migrate.ts'
import { type Database, openDatabase } from '../../../src/db/open.ts'
import { deliverDue } from '../../../src/letters/delivery.ts'
import { smtpTransport } from '../../../src/letters/smtp.ts'
import { enterableFolder } from '../../support/folder.ts'
import { emptyQueue, NO_WAITS, nothingWithheld, plainLetters, queueNotices, states } from './queue.ts'
import { startRelay } from './relay.ts'

/**
 * PostgreSQL itself dies while letters are on the line: one of its processes is ended by SIGKILL, whereupon it ends all
 * others, throws its memory away and comes back from its log. The server has its usual safety: what it said was
 * committed is there. For the sender each crash is the commit whose outcome it never hears.
 */
let folder: string
let server: EmbeddedServer
let database: Database

beforeAll(async () => {
  folder = await enterableFolder('crash')
  server = await startEmbedded({ dataFolder: path.join(folder, 'data') })
  await migrate(server.url)
  database = await openDatabase(server.url)
})
afterAll(async () => {
  await database?.close()
  await server?.stop()
  await rm(folder, { recursive: true, force: true })
})

const again = async <T>(work: () => Promise<T>): Promise<T> => {
  for (;;) {
    try {
      return await work()
    } catch {
      // it is coming back
      await new Promise((resolve) => setTimeout(resolve, 50))
    }
  }
}

/** Ends one process of the server that serves somebody else than this call. */
async function crash(): Promise<void> {
  const { rows } = await database.pool.query<{ pid: number }>(
    `select pid from pg_stat_activity where backend_type = 'client backend' and pid <> pg_backend_pid() order by pid limit 1`,
  )
  const pid = rows[0]?.pid
  if (!pid) throw new Error('nobody else is served at this moment')
  process.kill(pid, 'SIGKILL')
}

describe.each(['hold', 'resend'] as const)('policy %s', (policy) => {
  test('no crash of the database loses a letter or sends one twice', { timeout: 600_000 }, async () => {
    const letters = 240
    const wanted = 5
    await emptyQueue(database.pool)
    const ids = await queueNotices(database.pool, letters)
    const relay = await startRelay()
    let crashes = 0
    let crashing: Promise<void> | undefined
    relay.onKept = () => {
      if (crashing || crashes >= wanted || relay.kept.length < (crashes + 1) * 25) return
      crashing = crash().then(
        () => {
          crashes++
          crashing = undefined
        },
        () => {
          crashing = undefined
        },
      )
    }
    const replica = async () => {
      const transport = smtpTransport({ url: relay.url, name: 'centre.example', connections: 3 })
      for (;;) {
        await deliverDue({
          pool: database.pool,
          transport,
          prepare: plainLetters,
          withheld: nothingWithheld,
          policy,
          leases: { claim: 1, handOver: 1 },
          waits: NO_WAITS,
          batch: 10,
        }).catch(() => {})
        const now = await again(() => states(database.pool))
        if (!now.queued && !now.claimed && !now['handing-over']) break
      }
      await transport.close()
    }
    await Promise.all([replica(), replica(), replica()])
    await crashing
    await relay.close()

    expect(crashes).toBe(wanted)
    const { rows } = await again(() =>
      database.pool.query<{ id: string; state: string }>('select id, state from notice order by id'),
    )
    expect(rows.map((row) => row.id)).toEqual([...ids].sort())
    for (const { id, state } of rows) {
      const copies = relay.kept.filter((letter) => letter.messageId === id)
      if (policy === 'hold') {
        expect(copies.length).toBeLessThanOrEqual(1)
        if (state !== 'in-doubt') expect([state, copies.length]).toEqual(['sent', 1])
      } else {
        expect(state).toBe('sent')
        expect(copies.length).toBeGreaterThanOrEqual(1)
        expect(new Set(copies.map((copy) => copy.raw.toString('latin1'))).size).toBe(1)
      }
    }
    // the crashes were in the middle: somebody's outcome was lost with each, and no more than what was on the line
    const doubtful = rows.filter((row) => row.state === 'in-doubt').length
    expect(doubtful).toBeLessThanOrEqual(wanted * 3 * 3 * 2)
  })
})
