import fc from 'fast-check'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { type DeliveryOptions, deliverDue } from '../../../src/letters/delivery.ts'
import type { Transport } from '../../../src/letters/outgoing.ts'
import { smtpTransport } from '../../../src/letters/smtp.ts'
import { claimDue, LEASES, takeSteps } from '../../../src/letters/statements.ts'
import { type House, openHouse } from '../../support/house.ts'
import { emptyQueue, NO_WAITS, plainLetters, queueNotices, states } from './queue.ts'
import { type Fault, type Relay, startRelay } from './relay.ts'

/**
 * Anything that can happen to a queue of letters, in any order: rounds of one replica or two against a relay that
 * refuses and breaks, replicas that die at a claim or after the mark, replies that come after the lease ran out, leases
 * that run out, owners who stop letters, a manager who holds, releases and settles doubts. After each step every row is
 * held against what the relay has kept.
 */
type Policy = 'hold' | 'resend'
type Late = { leaseOwner: string; id: string; attempt: number }
type World = { policy: Policy; transport: Transport; ended: Map<string, string>; stopped: Set<string>; late: Late[] }
/** all that is known is on file and at the relay: the model itself is only how many letters there are */
type Model = { letters: number }
type Command = fc.AsyncCommand<Model, World>

let house: House
let relay: Relay

beforeAll(async () => {
  relay = await startRelay()
  house = await openHouse()
})
afterAll(async () => {
  await house.close()
  await relay.close()
})

const pool = () => house.database.pool
const copiesOf = (id: string) => relay.kept.filter((letter) => letter.messageId === id)
const ended = ['sent', 'failed', 'withdrawn']
const rows = async () =>
  (await pool().query<{ id: string; state: string }>('select id, state from notice order by id')).rows

/** What must hold at every moment. */
async function judge(world: World): Promise<void> {
  for (const { id, state } of await rows()) {
    const copies = copiesOf(id)
    expect(new Set(copies.map((copy) => copy.raw.toString('latin1'))).size).toBeLessThanOrEqual(1)
    const before = world.ended.get(id)
    if (before !== undefined) expect([id, state]).toEqual([id, before])
    if (ended.includes(state)) world.ended.set(id, state)
    if (state === 'sent') expect(copies.length).toBeGreaterThanOrEqual(1)
    if (world.policy === 'resend') continue
    expect(copies.length).toBeLessThanOrEqual(1)
    if (state === 'failed' || state === 'withdrawn' || state === 'queued') expect(copies.length).toBe(0)
  }
}

const optionsOf = (world: World): DeliveryOptions => ({
  pool: pool(),
  transport: world.transport,
  prepare: plainLetters,
  withheld: async (ids) => new Map(ids.filter((id) => world.stopped.has(id)).map((id) => [id, ['letters-refused']])),
  policy: world.policy,
  waits: NO_WAITS,
  batch: 2,
})

const command = (name: string, run: (world: World, model: Model) => Promise<void>): Command => ({
  check: () => true,
  run: async (model, world) => {
    await run(world, model)
    await judge(world)
  },
  toString: () => name,
})

const faults: Fault[] = [
  ...(['mail', 'rcpt', 'data', 'body', 'dot', 'after-dot'] as const).flatMap((at): Fault[] => [
    { at, do: 'close' },
    { at, do: 'reset' },
  ]),
  ...(['mail', 'rcpt', 'data', 'dot'] as const).flatMap((at): Fault[] => [
    { at, do: 'answer', reply: '451 4.3.0 later' },
    { at, do: 'answer', reply: '550 5.7.1 no' },
  ]),
]

const nth = (list: readonly { id: string }[], at: number) => list[at % Math.max(1, list.length)]
const inState = async (...wanted: string[]) => (await rows()).filter((row) => wanted.includes(row.state))
const asked = (path: string, body?: object) => house.as('manager').post(path, body)

const commands = [
  fc.integer({ min: 1, max: 4 }).map((count) =>
    command(`queue ${count}`, async (_, model) => {
      await queueNotices(pool(), count)
      model.letters += count
    }),
  ),
  fc
    .record({
      plan: fc.array(fc.option(fc.constantFrom(...faults)), { maxLength: 5 }),
      replicas: fc.constantFrom(1, 2),
    })
    .map(({ plan, replicas }) =>
      command(`round of ${replicas}, ${JSON.stringify(plan)}`, async (world) => {
        let conversations = 0
        relay.fault = () => plan[conversations++] ?? null
        await Promise.all(Array.from({ length: replicas }, () => deliverDue(optionsOf(world))))
        relay.fault = () => null
      }),
    ),
  fc.integer({ min: 1, max: 3 }).map((count) =>
    command(`a replica claims ${count} and dies`, async () => {
      await claimDue(pool(), crypto.randomUUID(), count, LEASES)
    }),
  ),
  fc.constant(
    command('a replica marks and dies', async () => {
      const leaseOwner = crypto.randomUUID()
      for (const { id, attempt } of await claimDue(pool(), leaseOwner, 1, LEASES))
        await takeSteps(pool(), leaseOwner, [{ mark: { id, attempt, messageId: `<${id}@x>`, digest: null } }], LEASES)
    }),
  ),
  fc.constant(
    command('a replica hands over and is slow to say so', async (world) => {
      const leaseOwner = crypto.randomUUID()
      const claims = await claimDue(pool(), leaseOwner, 1, LEASES)
      const letters = await plainLetters(claims)
      for (const { id, attempt } of claims) {
        const letter = letters.get(id)
        if (!letter || 'cannot' in letter) continue
        const outcome = await world.transport.send(letter, async () => {
          const mark = { id, attempt, messageId: letter.messageId, digest: null }
          expect(await takeSteps(pool(), leaseOwner, [{ mark }], LEASES)).toEqual([true])
        })
        expect(outcome.kind).toBe('accepted')
        world.late.push({ leaseOwner, id, attempt })
      }
    }),
  ),
  fc.constant(
    command('the slow ones say so', async (world) => {
      for (const { leaseOwner, id, attempt } of world.late.splice(0))
        await takeSteps(pool(), leaseOwner, [{ sent: { id, attempt, response: '250 late' } }], LEASES)
    }),
  ),
  fc.constant(
    command('leases run out', async () => {
      await pool().query(
        `update notice set lease_until = now() - interval '1 second' where state in ('claimed', 'handing-over')`,
      )
    }),
  ),
  fc.nat(20).map((at) =>
    command(`an owner stops letters (${at})`, async (world) => {
      const one = nth(await rows(), at)
      if (one) world.stopped.add(one.id)
    }),
  ),
  fc.nat(20).map((at) =>
    command(`the manager holds (${at})`, async () => {
      const one = nth(await rows(), at)
      if (one) expect([200, 409]).toContain((await asked(`/v1/notices/${one.id}/hold`, { why: 'wait' })).status)
    }),
  ),
  fc.nat(20).map((at) =>
    command(`the manager releases (${at})`, async () => {
      const one = nth(await inState('held'), at)
      if (one) await asked(`/v1/notices/${one.id}/release`).expect(200)
    }),
  ),
  fc.nat(20).map((at) =>
    command(`the manager settles a doubt (${at})`, async (world) => {
      const one = nth(await inState('in-doubt'), at)
      if (!one || world.late.some((late) => late.id === one.id)) return
      await asked(`/v1/notices/${one.id}/doubt`, { arrived: copiesOf(one.id).length > 0 }).expect(200)
    }),
  ),
]

/** Whatever was done: once the relay behaves and leases have run out, no letter is left on its way. */
async function drain(world: World): Promise<void> {
  await pool().query(`update notice set lease_until = now() - interval '1 second' where lease_until is not null`)
  for (;;) {
    await deliverDue(optionsOf(world))
    const now = await states(pool())
    if (!now.queued && !now.claimed && !now['handing-over']) break
  }
  await judge(world)
}

describe.each(['hold', 'resend'] as const)('policy %s', (policy) => {
  test('whatever happens, in whatever order, no letter is lost or sent twice', { timeout: 600_000 }, async () => {
    await fc.assert(
      fc.asyncProperty(fc.commands(commands, { maxCommands: 30, size: 'max' }), async (run) => {
        await emptyQueue(pool())
        relay.kept.length = 0
        relay.fault = () => null
        const world: World = {
          policy,
          transport: smtpTransport({ url: relay.url, name: 'centre.example', connections: 2 }),
          ended: new Map(),
          stopped: new Set(),
          late: [],
        }
        try {
          const model = { letters: 0 }
          await fc.asyncModelRun(() => ({ model, real: world }), run)
          await drain(world)
          const all = await rows()
          expect(all.length).toBe(model.letters)
          const left = all.filter((row) => ![...ended, 'held', 'in-doubt'].includes(row.state))
          expect(left).toEqual([])
          // without a doubt that a person must settle, resending has ended every one
          if (policy === 'resend') expect(all.filter((row) => row.state === 'in-doubt')).toEqual([])
        } finally {
          await world.transport.close()
        }
      }),
      { numRuns: Number(process.env.MODEL_RUNS ?? 25) },
    )
  })
})
