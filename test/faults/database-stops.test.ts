import { randomUUID } from 'node:crypto'
import { rm } from 'node:fs/promises'
import path from 'node:path'
import pg from 'pg'
import { expect, test } from 'vitest'
import { startEmbedded } from '../../src/db/embedded.ts'
import { sealHistory, verifyHistory } from '../../src/db/history.ts'
import { enterableFolder } from '../support/folder.ts'
import { type Answer, aKey, ask, lineTo, type Running, startService } from './service-process.ts'

/**
 * PostgreSQL itself is stopped at once, in the middle of commits, and started again. Whoever is told "done" is in the book,
 * once and whole; whoever is not is told to come again, and the repetition with the same key settles it.
 */
const until = async (holds: () => Promise<boolean> | boolean) => {
  while (!(await holds())) await new Promise((resolve) => setTimeout(resolve, 10))
}
type Wanted = { name: string; key: string; answer: Answer | null | undefined }

/** Booking in with a new owner and a new watch: some ten rows of seven tables in one act. */
const booking = (name: string) => ({
  owner: { new: { name }, confirmedNew: true },
  watch: { new: { maker: 'Norrsken', kind: 'quartz' }, confirmedNew: true },
  complaint: 'stopped',
  place: 'counter',
})
const send = (running: Running, one: Wanted) => ask(running, 'POST', '/v1/tickets', booking(one.name), one.key)

/** What was written for each of these owners, table by table. */
const written = `
  select o.name, count(distinct w.id)::int as watches, count(distinct t.id)::int as tickets, count(distinct r.id)::int as records,
    count(distinct c.id)::int as moves, count(distinct b.kind)::int as obligations, bool_and(w.in_house) as in_house
  from owner o left join watch w on w.owner_id = o.id left join ticket t on t.owner_id = o.id left join ticket_record r on r.ticket_id = t.id
    left join custody_move c on c.ticket_id = t.id left join obligation b on b.watch_id = w.id
  where o.name = any($1) group by o.id, o.name`
const whole = { watches: 1, tickets: 1, records: 2, moves: 1, obligations: 4, in_house: true }

test('PostgreSQL stopped at once under load and started again: refusals to come again meanwhile, alive all the time, the book whole', async () => {
  const folder = await enterableFolder('stopped')
  // not one that may lose its data: what was committed must be there after the crash
  let server = await startEmbedded({ dataFolder: path.join(folder, 'data') })
  const line = await lineTo(Number(new URL(server.url).port))
  const through = new URL(server.url)
  through.port = String(line.port)
  const pool = new pg.Pool({ connectionString: through.toString(), max: 2, options: '-c timezone=UTC' })
  pool.on('error', () => {})
  pool.on('connect', (client) => client.on('error', () => {}))
  const running = await startService(through.toString(), aKey(), { DATABASE_POOL_SIZE: '4' })
  const wanted: Wanted[] = []
  let stopped = false
  const counters = Array.from({ length: 8 }, async (_, counter) => {
    while (!stopped) {
      const one: Wanted = { name: `Booked ${counter} ${randomUUID()}`, key: `"${randomUUID()}"`, answer: undefined }
      wanted.push(one)
      one.answer = await send(running, one)
    }
  })
  const told = (status: number) => wanted.filter((one) => one.answer?.status === status)
  try {
    await until(() => told(201).length >= 40)
    const { rows } = await pool.query<{ pid: string }>(
      `select split_part(pg_read_file('postmaster.pid'), E'\\n', 1) as pid`,
    )
    // SIGQUIT is PostgreSQL's immediate stop: no checkpoint, recovery at the next start
    process.kill(Number(rows[0]?.pid), 'SIGQUIT')
    line.to(null)
    await until(() => wanted.filter((one) => one.answer && one.answer.status !== 201).length >= 8)
    expect((await ask(running, 'GET', '/livez'))?.status).toBe(200)
    const ready = await ask(running, 'GET', '/readyz')
    expect([ready?.status, ready?.type.split(';')[0], ready?.retryAfter]).toEqual([
      503,
      'application/problem+json',
      '2',
    ])
    stopped = true
    await Promise.all(counters)
    // nobody hung, nobody was cut off, and nobody was told anything but "done" or "come again"
    expect(wanted.filter((one) => one.answer === undefined || one.answer === null)).toEqual([])
    expect(told(201).length + told(503).length).toBe(wanted.length)
    for (const { answer } of told(503))
      expect([answer?.type.split(';')[0], answer?.retryAfter]).toEqual(['application/problem+json', '2'])

    await server.stop()
    server = await startEmbedded({ dataFolder: path.join(folder, 'data') })
    line.to(Number(new URL(server.url).port))
    await until(async () => (await ask(running, 'GET', '/readyz'))?.status === 200)

    const names = wanted.map((one) => one.name)
    const after = new Map((await pool.query(written, [names])).rows.map(({ name, ...counts }) => [name, counts]))
    // who was told "done", and perhaps some whose answer was lost with the connection; none of them by half
    for (const one of told(201)) expect(after.get(one.name), one.name).toEqual(whole)
    for (const counts of after.values()) expect(counts).toEqual(whole)
    // of the many that were refused quickly once nothing was there, the first; those in the middle are among them
    for (const one of told(503).slice(0, 40)) {
      const again = await send(running, one)
      expect([again?.status, one.name]).toEqual([201, one.name])
    }
    const settled = [...told(201), ...told(503).slice(0, 40)].map((one) => one.name)
    const { rows: last } = await pool.query(written, [settled])
    expect(last.length).toBe(settled.length)
    for (const { name, ...counts } of last) expect(counts, name).toEqual(whole)
    const { rows: keys } = await pool.query('select count(*)::int as n from idempotency_key where status is null')
    expect(keys[0].n).toBe(0)
    await sealHistory(pool, new Date())
    expect((await verifyHistory(pool)).findings).toEqual([])
    running.process.kill('SIGTERM')
    expect((await running.exited).code).toBe(0)
  } finally {
    stopped = true
    running.process.kill('SIGKILL')
    await pool.end()
    await line.close()
    await server.stop()
    await rm(folder, { recursive: true, force: true })
  }
}, 300_000)
