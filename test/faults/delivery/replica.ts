import pg from 'pg'
import { deliverDue } from '../../../src/letters/delivery.ts'
import type { Point } from '../../../src/letters/outgoing.ts'
import { smtpTransport } from '../../../src/letters/smtp.ts'
import { NO_WAITS, nothingWithheld, plainLetters } from './queue.ts'

/**
 * A replica that may be killed: nothing but the hand-over, round after round, in a process of its own. Told by its
 * environment; CRASH_AT ends it, as kill -9 does, when the first letter reaches that point.
 */
const env = process.env
const pool = new pg.Pool({ connectionString: env.REPLICA_DATABASE, max: 4, options: '-c TimeZone=UTC' })
pool.on('error', () => {})

let crashed = false
const at = async (point: Point) => {
  if (point === 'after-claim') if (process.connected) process.send?.('claimed')
  if (point !== env.CRASH_AT || crashed) return
  crashed = true
  // the bytes handed to the socket so far are let out, as they would be by a slower death
  if (point === 'mid-body' || point === 'after-body') await new Promise((resolve) => setTimeout(resolve, 30))
  process.kill(process.pid, 'SIGKILL')
  await new Promise(() => {})
}

const transport = smtpTransport({
  url: env.REPLICA_RELAY ?? '',
  name: 'centre.example',
  connections: Number(env.REPLICA_CONNECTIONS ?? 5),
  timeouts: { connection: 2000, greeting: 2000, socket: 2500 },
  at,
})

// never outlives the one that started it
process.on('disconnect', () => process.exit())
if (process.connected) process.send?.('started')
for (;;) {
  await deliverDue({
    pool,
    transport,
    prepare: plainLetters,
    withheld: nothingWithheld,
    policy: env.REPLICA_POLICY === 'resend' ? 'resend' : 'hold',
    leases: { claim: Number(env.REPLICA_LEASE ?? 3), handOver: Number(env.REPLICA_LEASE ?? 3) },
    waits: NO_WAITS,
    batch: Number(env.REPLICA_BATCH ?? 10),
    at,
  }).catch(() => {})
  await new Promise((resolve) => setTimeout(resolve, 40))
}
