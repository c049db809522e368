import { randomUUID } from 'node:crypto'
import http from 'node:http'
import pg from 'pg'
import { afterAll, beforeAll, describe, expect, test, vi } from 'vitest'
import { sealHistory, verifyHistory } from '../../src/db/history.ts'
import { freshDatabase } from '../support/database.ts'
import { openHouse } from '../support/house.ts'
import { type Answer, aKey, ask, type Running, startService } from './service-process.ts'

/**
 * What stops a service in the middle: signals, its connections, its clock. Afterwards the book is judged by
 * what is in it, not by the absence of errors: who was told "done" is in it, once; who was not is in it once or not at all,
 * and the repetition with the same key settles which.
 */
let database: Awaited<ReturnType<typeof freshDatabase>>
let pool: pg.Pool
// the first manager key of a database is taken once
const key = aKey()
// each starts the service as a process, which takes its time on a crowded machine
vi.setConfig({ testTimeout: 300_000, hookTimeout: 300_000 })
beforeAll(async () => {
  database = await freshDatabase()
  pool = new pg.Pool({ connectionString: database.url, max: 4, options: '-c timezone=UTC' })
  pool.on('error', () => {})
})
afterAll(async () => {
  await pool.end()
  await database.drop()
})

const countOf = async (names: string[], from: pg.Pool = pool) =>
  (
    await from.query<{ name: string; n: number }>(
      'select name, count(*)::int as n from owner where name = any($1) group by name',
      [names],
    )
  ).rows
const until = async (holds: () => Promise<boolean> | boolean) => {
  while (!(await holds())) await new Promise((resolve) => setTimeout(resolve, 10))
}

type Wanted = { name: string; key: string; answer: Answer | null }

/** Eight counters put owners on file until told to stop; what each was answered is noted. */
function load(running: () => Pick<Running, 'port' | 'key'>, prefix: string, agent: http.Agent | false = false) {
  const wanted: Wanted[] = []
  let stopped = false
  const counters = Array.from({ length: 8 }, async () => {
    while (!stopped) {
      const one: Wanted = { name: `${prefix} ${randomUUID()}`, key: `"${randomUUID()}"`, answer: null }
      wanted.push(one)
      one.answer = await ask(running(), 'POST', '/v1/owners', { name: one.name }, one.key, agent)
    }
  })
  const answered = () => wanted.filter((one) => one.answer?.status === 201).length
  return {
    wanted,
    answered,
    stop: async () => {
      stopped = true
      await Promise.all(counters)
    },
  }
}

async function settle(running: Pick<Running, 'port' | 'key'>, wanted: Wanted[], from: pg.Pool = pool): Promise<void> {
  const before = new Map(
    (
      await countOf(
        wanted.map((one) => one.name),
        from,
      )
    ).map((row) => [row.name, row.n]),
  )
  for (const { name, answer } of wanted) {
    if (answer?.status === 201) expect(before.get(name), `${name} was told done`).toBe(1)
    else expect(before.get(name) ?? 0, name).toBeLessThanOrEqual(1)
    if (answer && answer.status !== 201)
      expect([answer.status, answer.type.split(';')[0]]).toEqual([503, 'application/problem+json'])
  }
  for (const one of wanted.filter((all) => all.answer?.status !== 201)) {
    const again = await ask(running, 'POST', '/v1/owners', { name: one.name }, one.key)
    expect([again?.status, one.name]).toEqual([201, one.name])
  }
  const after = await countOf(
    wanted.map((one) => one.name),
    from,
  )
  expect(after.length).toBe(new Set(wanted.map((one) => one.name)).size)
  expect(after.filter((row) => row.n !== 1)).toEqual([])
}

describe('signals', () => {
  test.each([
    ['each request on a connection of its own', false],
    ['connections that are kept', true],
  ])(
    'SIGTERM under load, %s: what is in flight is answered, nothing is done by half, then the process leaves with 0',
    async (_title, kept) => {
      const running = await startService(database.url, key)
      const agent = kept ? new http.Agent({ keepAlive: true }) : false
      const send = (method: string, url: string, body: object) =>
        ask(running, method, url, body, `"${randomUUID()}"`, agent)
      const ids = await Promise.all(
        Array.from(
          { length: 6 },
          async () =>
            JSON.parse((await send('POST', '/v1/owners', { name: 'At rest', confirmedNew: true }))?.body ?? '{}').id,
        ),
      )
      const busy = load(() => running, `Stopped, ${kept}`, agent)
      await until(() => busy.answered() >= 40)
      // these are certainly in the middle when the signal comes: they wait for a row that somebody holds
      const name = `In flight, ${kept}`
      const blocker = await pool.connect()
      await blocker.query('begin')
      await blocker.query('select 1 from owner where id = any($1) for update', [ids])
      const flights = ids.map((id) => send('PATCH', `/v1/owners/${id}`, { name }))
      const waits = `select count(*)::int as n from pg_stat_activity where datname = current_database() and application_name = 'mainplate' and wait_event_type = 'Lock' and wait_event in ('transactionid', 'tuple')`
      // asked outside the blocker's transaction: within one, PostgreSQL goes on showing the sessions it saw first
      await until(async () => (await pool.query(waits)).rows[0].n >= ids.length)
      running.process.kill('SIGTERM')
      await running.said('stopping')
      await blocker.query('rollback')
      blocker.release()
      expect((await Promise.all(flights)).map((answer) => answer?.status)).toEqual(ids.map(() => 200))
      expect(await running.exited).toEqual({ code: 0, signal: null })
      await busy.stop()
      if (agent) agent.destroy()
      expect(await countOf([name])).toEqual([{ name, n: ids.length }])
      const there = new Map((await countOf(busy.wanted.map((one) => one.name))).map((row) => [row.name, row.n]))
      for (const { name, answer } of busy.wanted) {
        // whoever came too late finds the door shut, or is told so
        expect([201, 503, null], name).toContain(answer?.status ?? null)
        expect(there.get(name) ?? 0, `${name}: ${answer?.status ?? 'no answer'}`).toBe(answer?.status === 201 ? 1 : 0)
      }
      expect(await ask(running, 'GET', '/livez')).toBeNull()
    },
  )

  test('SIGKILL under load, three times: nobody who was told "done" is missing, nobody is there twice', async () => {
    let running = await startService(database.url, key)
    const all: Wanted[] = []
    for (let round = 0; round < 3; round++) {
      const busy = load(() => running, `Killed ${round}`)
      await until(() => busy.answered() >= 25)
      running.process.kill('SIGKILL')
      expect((await running.exited).signal).toBe('SIGKILL')
      await busy.stop()
      all.push(...busy.wanted.slice(0, busy.answered() + 200))
      running = await startService(database.url, key)
    }
    await settle(running, all)
    running.process.kill('SIGTERM')
    expect((await running.exited).code).toBe(0)
  })
})

test('backends terminated in the middle of commits: a refusal to try again, and the repetition settles it', async () => {
  const running = await startService(database.url, key)
  const busy = load(() => running, 'Terminated')
  for (let round = 0; round < 8; round++) {
    const answered = busy.answered()
    await until(() => busy.answered() > answered + 2)
    await until(async () => {
      const { rowCount } = await pool.query(
        `select pg_terminate_backend(pid) from pg_stat_activity where datname = current_database() and application_name = 'mainplate' and state <> 'idle'`,
      )
      return (rowCount ?? 0) > 0
    })
  }
  await busy.stop()
  await settle(running, busy.wanted)
  running.process.kill('SIGTERM')
  expect((await running.exited).code).toBe(0)
})

test('a clock that steps back three days: work goes on, nothing is taken for a rewriting', async () => {
  const house = await openHouse()
  try {
    const owner = (await house.as('counter').post('/v1/owners', { name: 'Before the step' }).expect(201)).body.id
    const watch = (
      await house.as('counter').post('/v1/watches', { maker: 'Norrsken', kind: 'quartz', ownerId: owner }).expect(201)
    ).body.id
    const open = (on: string) =>
      house.as('bench').post(`/v1/watches/${watch}/events`, { event: 'case-opened', on, source: 'own-record' })
    await open('2026-11-25').expect(201)
    await sealHistory(house.database.pool, house.service.clock.now())
    house.setNow('2026-11-22')
    expect((await open('2026-11-25')).body.type).toBe('/problems/fact-in-future')
    await open('2026-11-22').expect(201)
    await house.as('counter').patch(`/v1/owners/${owner}`, { language: 'de' }, '"v1"').expect(200)
    await sealHistory(house.database.pool, house.service.clock.now())
    const verdict = await verifyHistory(house.database.pool)
    expect([verdict.findings, verdict.unsealed]).toEqual([[], 0])
    const { body } = await house.as('bench').get(`/v1/watches/${watch}/history`).expect(200)
    expect(JSON.stringify(body)).toContain('2026-11-22')
  } finally {
    await house.close()
  }
})
