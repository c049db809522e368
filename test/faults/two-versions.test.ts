import { randomUUID } from 'node:crypto'
import { cp, mkdir, mkdtemp, rm, symlink, writeFile } from 'node:fs/promises'
import os from 'node:os'
import path from 'node:path'
import { expect, test } from 'vitest'
import { addDays, addMonths } from '../../src/domain/day.ts'
import { runNight } from '../../src/features/nightly-runs/run.ts'
import { todayAt } from '../../src/http/service.ts'
import { addOwner, serviced } from '../jobs/book.ts'
import { openHouse } from '../support/house.ts'
import { startRelay } from './delivery/relay.ts'
import { aKey, ask, type Running, startService } from './service-process.ts'

/**
 * A rolling update: the next version comes up beside this one on the same database, brings a later migration and works
 * along, while this one goes on, and is started anew after it. The later migration is one that may come while an older
 * version runs: a nullable column, here on every table there is, which is the worst such a migration can do.
 */
const later = `-- Up Migration
do $$
declare t text;
begin
  for t in select tablename from pg_tables where schemaname = 'public' and tablename <> 'schema_migration' loop
    execute format('alter table %I add column of_the_next_version text', t);
  end loop;
end $$;
`

async function nextVersion(): Promise<string> {
  const folder = await mkdtemp(path.join(os.tmpdir(), 'mainplate-next-'))
  for (const part of ['src', 'prisma', 'package.json', 'tsconfig.json'])
    await cp(part, path.join(folder, part), { recursive: true })
  await symlink(path.resolve('node_modules'), path.join(folder, 'node_modules'))
  await mkdir(path.join(folder, 'prisma/migrations'), { recursive: true })
  await writeFile(path.join(folder, 'prisma/migrations/9000_of_the_next_version.sql'), later)
  return folder
}

/** Whether every list and report that asks for nothing answers well. */
async function answersAll(running: Running): Promise<string[]> {
  const { paths } = JSON.parse((await ask(running, 'GET', '/openapi.json'))?.body ?? '{}') as {
    paths: Record<string, { get?: { parameters?: { required?: boolean }[] } }>
  }
  const asked = Object.entries(paths).flatMap(([url, { get }]) =>
    get && !url.includes('{') && !(get.parameters ?? []).some((one) => one.required) ? [url] : [],
  )
  expect(asked.length).toBeGreaterThan(15)
  const answers = await Promise.all(asked.map(async (url) => [url, (await ask(running, 'GET', url))?.status] as const))
  return answers.filter(([, status]) => status !== 200).map(([url, status]) => `${url} ${status}`)
}

test('two versions on one database: the older goes on while and after the newer migrates, also when started anew; nothing is done twice', async () => {
  // where it is about noon, so that the day of the centre does not change under the test (the sign in such names is reversed)
  const ahead = 12 - new Date().getUTCHours()
  const zone = { CENTRE_TIME_ZONE: ahead === 0 ? 'UTC' : `Etc/GMT${ahead > 0 ? '-' : '+'}${Math.abs(ahead)}` }
  const house = await openHouse({ now: new Date().toISOString(), env: { ...zone, NIGHTLY_AT: '00:00' } })
  const relay = await startRelay()
  const newer = await nextVersion()
  const running: Running[] = []
  let stopped = false
  try {
    const today = todayAt(house.service)
    const due = addDays(addMonths(today, -60), 20)
    const sooner = await Promise.all(Array.from({ length: 12 }, () => addOwner(house)))
    for (const owner of sooner) await serviced(house, owner, due)
    await runNight(house.service, addDays(today, -1))
    // and some whom the night to come writes to: both versions will want to run it
    for (let n = 0; n < 6; n++) await serviced(house, await addOwner(house), due)
    const env = {
      ...zone,
      NIGHTLY_AT: '00:00',
      SMTP_URL: relay.url,
      LETTERS_FROM: 'letters@centre.example',
      LINK_SECRET: 'a secret that all replicas have in common',
    }
    const start = async (version?: string) => {
      const one = { ...(await startService(house.databaseUrl, aKey(), env, version)), key: house.keys.manager }
      running.push(one)
      return one
    }
    const sql = async (text: string, values: unknown[] = []) => (await house.database.pool.query(text, values)).rows
    const counters: Promise<void>[] = []
    const answered = new Map<Running, number[]>()
    /** As a counter does: told to come again while every table is locked for the change, it comes again, with the same key. */
    const insist = async (at: Running, method: string, url: string, body?: object) => {
      const key = `"${randomUUID()}"`
      for (;;) {
        const answer = await ask(at, method, url, body, key)
        if (answer?.retryAfter === undefined) return answer
      }
    }
    const load = (at: Running) => {
      const statuses: number[] = []
      answered.set(at, statuses)
      const name = `Booked by ${running.indexOf(at)}`
      const counter = async (which: number) => {
        for (let n = 0; !stopped; n++) {
          const owner = await insist(at, 'POST', '/v1/owners', { name: `${name} ${which} ${n}`, confirmedNew: true })
          const { id } = JSON.parse(owner?.body ?? '{}')
          const watch = await insist(at, 'POST', '/v1/watches', { maker: 'Norrsken', kind: 'quartz', ownerId: id })
          const body = { owner: { id }, watch: { id: JSON.parse(watch?.body ?? '{}').id }, complaint: 'x', place: 'y' }
          const ticket = await insist(at, 'POST', '/v1/tickets', body)
          const read = await insist(at, 'GET', `/v1/tickets/${JSON.parse(ticket?.body ?? '{}').id}`)
          statuses.push(...[owner, watch, ticket, read].map((answer) => answer?.status ?? 0))
        }
      }
      counters.push(counter(1), counter(2))
      return statuses
    }
    const until = async (holds: () => Promise<boolean> | boolean) => {
      while (!(await holds())) await new Promise((resolve) => setTimeout(resolve, 10))
    }

    const old = await start()
    const statuses = load(old)
    await until(() => statuses.length >= 24)
    const next = await start(newer)
    const atMigration = statuses.length
    await next.said('database brought up to date')
    load(next)
    await until(() => statuses.length >= atMigration + 24 && (answered.get(next)?.length ?? 0) >= 24)
    stopped = true
    await Promise.all(counters)
    expect(await answersAll(old)).toEqual([])
    expect(await answersAll(next)).toEqual([])
    for (const each of answered.values()) expect(new Set(each)).toEqual(new Set([200, 201]))

    // the older version, stopped and started anew on the newer schema
    old.process.kill('SIGTERM')
    expect((await old.exited).code).toBe(0)
    const again = await start()
    expect(await answersAll(again)).toEqual([])

    // by now what was to go has gone and the night has been run, by whichever of the three
    await until(
      async () =>
        (await sql(`select 1 from notice where state <> 'sent' and owner_id = any($1)`, [sooner])).length === 0,
    )
    await until(
      async () =>
        (
          await sql(`select 1 from nightly_run where state = 'finished' and job = 'nightly' and local_date = $1`, [
            today,
          ])
        ).length === 1,
    )
    const twice = await sql(`select owner_id from notice group by owner_id having count(*) > 1`)
    expect(twice).toEqual([])
    expect(await sql(`select count(*)::int as n from notice`)).toEqual([{ n: 18 }])
    expect((await sql(`select attempt from nightly_run where job = 'nightly'`)).map((row) => row.attempt)).toEqual(
      expect.arrayContaining([1]),
    )
    const ids = relay.kept.map((letter) => letter.messageId)
    expect(ids.length).toBeGreaterThanOrEqual(12)
    expect(new Set(ids).size).toBe(ids.length)
    expect(
      await sql(`select count(*)::int as n from schema_migration where name = '9000_of_the_next_version'`),
    ).toEqual([{ n: 1 }])
  } finally {
    stopped = true
    for (const one of running) one.process.kill('SIGKILL')
    await Promise.all(running.map((one) => one.exited))
    await house.close()
    await relay.close()
    await rm(newer, { recursive: true, force: true })
  }
}, 300_000)
