import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { type Database, openDatabase } from '../../../src/db/open.ts'
import { deliverDue } from '../../../src/letters/delivery.ts'
import { smtpTransport } from '../../../src/letters/smtp.ts'
import { freshDatabase } from '../../support/database.ts'
import { killRun } from './kill-run.ts'
import { emptyQueue, NO_WAITS, nothingWithheld, plainLetters, queueNotices, rowOf, states } from './queue.ts'
import { startRelay } from './relay.ts'
import { ended, startReplica } from './replicas.ts'

let database: Database
let url: string
let drop: () => Promise<void>

beforeAll(async () => {
  const fresh = await freshDatabase()
  url = fresh.url
  drop = fresh.drop
  database = await openDatabase(url)
})
afterAll(async () => {
  await database.close()
  await drop()
})

const points = [
  'after-claim',
  'before-mark',
  'after-mark',
  'mid-body',
  'after-body',
  'after-reply',
  'after-record',
] as const

const doubtfulAfter = {
  'after-claim': [0, 0],
  'before-mark': [0, 0],
  'after-mark': [1, 1],
  'mid-body': [1, 1],
  'after-body': [1, 1],
  'after-reply': [1, 2],
  'after-record': [0, 1],
} as const

/** Another replica, of this process: its own lease owner and connections, round after round until nothing is open. */
async function replicaHere(relayUrl: string, policy: 'hold' | 'resend'): Promise<void> {
  const transport = smtpTransport({ url: relayUrl, name: 'centre.example', connections: 2 })
  const leases = { claim: 0.5, handOver: 0.5 }
  for (;;) {
    await deliverDue({
      pool: database.pool,
      transport,
      prepare: plainLetters,
      withheld: nothingWithheld,
      policy,
      leases,
      waits: NO_WAITS,
      batch: 2,
    })
    const now = await states(database.pool)
    if (!now.queued && !now.claimed && !now['handing-over']) break
  }
  await transport.close()
}

describe.each([1, 3])('%i replicas', (replicas) => {
  describe.each(['hold', 'resend'] as const)('policy %s', (policy) => {
    test.each(points)('killed %s', async (point) => {
      await emptyQueue(database.pool)
      const ids = await queueNotices(database.pool, 6)
      const relay = await startRelay()
      const victim = startReplica({
        databaseUrl: url,
        relayUrl: relay.url,
        policy,
        crashAt: point,
        leaseSeconds: 0.5,
        batch: 1,
        connections: 1,
      })
      await ended(victim)
      expect(victim.signalCode).toBe('SIGKILL')
      const handedBefore = relay.kept.length
      await Promise.all(Array.from({ length: replicas }, () => replicaHere(relay.url, policy)))
      await relay.close()
      for (const id of ids) {
        const { state } = await rowOf(database.pool, id)
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
      // the one at the crash point, and at the end of a letter perhaps the next one on the same connection
      const doubtful = (await states(database.pool))['in-doubt'] ?? 0
      const [least, most] = policy === 'resend' ? [0, 0] : doubtfulAfter[point]
      expect(doubtful).toBeGreaterThanOrEqual(least)
      expect(doubtful).toBeLessThanOrEqual(most)
      expect(handedBefore).toBeLessThan(ids.length)
    })
  })
})

describe.each(['hold', 'resend'] as const)('policy %s: random kills', (policy) => {
  test('no letter is lost, none is sent twice through our fault', async () => {
    const result = await killRun({
      databaseUrl: url,
      seed: 11,
      policy,
      notices: 400,
      kills: 8,
      replicas: 3,
      replyMs: 20,
    })
    expect(result.kills).toBe(8)
    expect([result.lost, result.twiceOtherwise]).toEqual([0, 0])
    if (policy === 'hold') expect(result.twice).toBe(0)
    else expect([result.inDoubt, result.distinctKeys]).toEqual([0, 400])
  })
})
