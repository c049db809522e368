import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, test } from 'vitest'
import { type Database, openDatabase } from '../../../src/db/open.ts'
import { type DeliveryOptions, deliverDue } from '../../../src/letters/delivery.ts'
import type { Transport } from '../../../src/letters/outgoing.ts'
import { smtpTransport } from '../../../src/letters/smtp.ts'
import { freshDatabase } from '../../support/database.ts'
import { NO_WAITS, nothingWithheld, plainLetters, queueNotices, queueWithItem, rowOf } from './queue.ts'
import { type Fault, type Phase, phases, type Relay, startRelay } from './relay.ts'

let database: Database
let drop: () => Promise<void>
let relay: Relay
let transport: Transport
let impatient: Transport

beforeAll(async () => {
  const fresh = await freshDatabase()
  drop = fresh.drop
  database = await openDatabase(fresh.url)
})
afterAll(async () => {
  await database.close()
  await drop()
})
beforeEach(async () => {
  relay = await startRelay()
  const line = { url: relay.url, name: 'centre.example', connections: 1 }
  transport = smtpTransport(line)
  impatient = smtpTransport({ ...line, timeouts: { greeting: 400, socket: 400 } })
  await database.pool.query(`update notice set state = 'withdrawn' where state not in ('sent', 'failed', 'withdrawn')`)
})
afterEach(async () => {
  await transport.close()
  await impatient.close()
  await relay.close()
})

const round = (more: Partial<DeliveryOptions> = {}) =>
  deliverDue({
    pool: database.pool,
    transport,
    prepare: plainLetters,
    withheld: nothingWithheld,
    policy: 'hold',
    waits: NO_WAITS,
    ...more,
  })

/** The fault befalls the first letter that comes so far, and no other. */
const once = (fault: Fault) => {
  relay.fault = () => (relay.broken > 0 ? null : fault)
}

/**
 * Silence is only waited for until it has come: relay and client share one event loop, and a stall of it must not make
 * a healthy conversation a broken one.
 */
const untilSilent: Transport = {
  kind: 'smtp',
  idempotent: false,
  connections: 1,
  send: (letter, mark) => (relay.broken > 0 ? transport : impatient).send(letter, mark),
  close: async () => {},
}

const broken = phases.flatMap((at) => (['close', 'reset', 'silence'] as const).map((how) => ({ at, do: how })))
/** after these the body has begun to flow: only then can the relay have the letter */
const afterBody = new Set<Phase>(['body', 'dot', 'after-dot'])

describe.each(['hold', 'resend'] as const)('policy %s: a connection that breaks', (policy) => {
  test.each(broken)('$do at $at', async (fault) => {
    const [id = ''] = await queueNotices(database.pool, 1)
    once(fault)
    const over = fault.do === 'silence' ? untilSilent : transport
    await round({ policy, transport: over })
    while ((await rowOf(database.pool, id)).state === 'queued') await round({ policy, transport: over })
    const row = await rowOf(database.pool, id)
    const copies = relay.kept.filter((letter) => letter.messageId === id)
    if (policy === 'hold' && afterBody.has(fault.at)) {
      expect(row.state).toBe('in-doubt')
      expect(copies.length).toBe(fault.at === 'after-dot' ? 1 : 0)
    } else {
      expect(row.state).toBe('sent')
      expect(row.response).toMatch(/^250 /)
      // sent again by policy: the second copy is the first one to the byte
      expect(copies.length).toBe(fault.at === 'after-dot' ? 2 : 1)
      expect(new Set(copies.map((copy) => copy.raw.toString('latin1'))).size).toBe(1)
    }
    for (const copy of copies) expect(copy.to).toEqual([`owner.${id}@owner.example`])
  })
})

const answers = (['mail', 'rcpt', 'data', 'dot'] as const).flatMap((at) => [
  { at, reply: '450 4.2.1 try later', state: 'queued' },
  { at, reply: '550 5.1.1 no such mailbox', state: 'failed' },
])

test.each(answers)(
  '$reply at $at leaves it $state, and the key of a failed one is free',
  async ({ at, reply, state }) => {
    const id = await queueWithItem(database.pool)
    once({ at, do: 'answer', reply })
    const told: { badAddress: string | null }[] = []
    await round({
      waits: { refused: [1800], unreachable: [60], giveUp: 432_000 },
      onRefused: async (refusal) => void told.push(refusal),
    })
    const { rows } = await database.pool.query(
      `select n.state, n.last_error, round(extract(epoch from n.next_at - now()) / 60) as minutes, i.key_taken
     from notice n join notice_item i on i.notice_id = n.id where n.id = $1`,
      [id],
    )
    expect(rows[0].state).toBe(state)
    expect(rows[0].last_error).toContain(reply.slice(0, 9))
    expect(relay.kept).toEqual([])
    if (state === 'queued') expect([Number(rows[0].minutes), rows[0].key_taken, told]).toEqual([30, true, []])
    else expect([rows[0].key_taken, told[0]?.badAddress != null]).toEqual([false, at === 'rcpt'])
  },
)

test('waits grow with each refusal and end after five days (RFC 5321 4.5.4.1)', async () => {
  const [id = ''] = await queueNotices(database.pool, 1)
  relay.fault = () => ({ at: 'rcpt', do: 'answer', reply: '451 4.3.0 later' })
  const minutes: number[] = []
  for (let n = 0; n < 6; n++) {
    await round({ waits: undefined })
    const { rows } = await database.pool.query(
      `update notice set next_at = now() where id = $1 returning state,
      (select round(extract(epoch from o.next_at - now()) / 60) from notice o where o.id = $1) as minutes`,
      [id],
    )
    minutes.push(Number(rows[0].minutes))
  }
  expect(minutes).toEqual([30, 60, 120, 240, 480, 480])
  await database.pool.query(`update letter set first_tried_at = now() - interval '5 days' where notice_id = $1`, [id])
  await round({ waits: undefined })
  expect((await rowOf(database.pool, id)).state).toBe('failed')
})

test('an answer of 421 while the service logs in or greets says nothing about the letter', async () => {
  const [id = ''] = await queueNotices(database.pool, 1)
  once({ at: 'greeting', do: 'answer', reply: '421 4.3.2 not now' })
  await round()
  while ((await rowOf(database.pool, id)).state === 'queued') await round()
  expect((await rowOf(database.pool, id)).state).toBe('sent')
})

test('a relay that cannot be reached costs no letter its place: the round ends, the claims are given back', async () => {
  await queueNotices(database.pool, 40)
  // a port below 1024 is given to nobody who asks for a free one
  const nowhere = smtpTransport({ url: 'smtp://127.0.0.1:1', name: 'centre.example', connections: 1 })
  const waits = { refused: [1800], unreachable: [60], giveUp: 432_000 }
  const counts = await round({ transport: nowhere, waits, batch: 40 })
  await nowhere.close()
  const { rows } =
    await database.pool.query(`select count(*)::int as n, count(*) filter (where next_at > now() + interval '50 seconds')::int as later
    from notice where state = 'queued'`)
  expect(rows[0]).toEqual({ n: 40, later: 40 })
  expect(counts.putBack).toBeLessThan(40)
})

test('a replica that lost its lease transmits nothing', async () => {
  const [id = ''] = await queueNotices(database.pool, 1)
  const counts = await round({
    prepare: async (claims) => {
      // another replica swept the claim and took it
      await database.pool.query(
        `update notice set state = 'claimed', attempt = attempt + 1, lease_owner = gen_random_uuid() where id = $1`,
        [id],
      )
      return plainLetters(claims)
    },
  })
  expect(counts.fenced).toBe(1)
  expect(relay.kept).toEqual([])
})

test('an item that falls between claim and hand-over takes the whole letter back and frees its keys', async () => {
  const id = await queueWithItem(database.pool)
  const counts = await round({ withheld: async () => new Map([[id, ['owner-deceased', 'watch-in-house']]]) })
  const { rows } = await database.pool.query(
    'select n.state, n.withdrawn_why, i.key_taken from notice n join notice_item i on i.notice_id = n.id where n.id = $1',
    [id],
  )
  expect(rows[0]).toEqual({ state: 'withdrawn', withdrawn_why: 'owner-deceased, watch-in-house', key_taken: false })
  expect([counts.withdrawn, relay.kept]).toEqual([1, []])
})

test('a letter that may have arrived and would now read differently is held, not sent', async () => {
  const [id = ''] = await queueNotices(database.pool, 1)
  await database.pool.query(`insert into letter (notice_id, text_version) values ($1, '1')`, [id])
  once({ at: 'after-dot', do: 'close' })
  await round({ policy: 'resend' })
  expect((await rowOf(database.pool, id)).state).not.toBe('in-doubt')
  await database.pool.query(`update notice set state = 'queued', next_at = now(), lease_owner = null where id = $1`, [
    id,
  ])
  const kept = relay.kept.length
  await database.pool.query(`update letter set digest = '\\x00' where notice_id = $1`, [id])
  const counts = await round({ policy: 'resend' })
  expect([counts.inDoubt, relay.kept.length]).toEqual([1, kept])
  expect((await rowOf(database.pool, id)).state).toBe('in-doubt')
})

test('the relay is asked for reports that name the notice (RFC 3461)', async () => {
  const [id = ''] = await queueNotices(database.pool, 1)
  await round()
  expect(relay.kept[0]?.envid).toBe(id)
})
