import { createWriteStream, existsSync } from 'node:fs'
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises'
import os from 'node:os'
import path from 'node:path'
import { gunzipSync, gzipSync } from 'node:zlib'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { backUp, bringBack, erasedPersons } from '../../src/db/backup.ts'
import { sealHistory, verifyHistory } from '../../src/db/history.ts'
import { type Database, openDatabase } from '../../src/db/open.ts'
import type { Day } from '../../src/domain/day.ts'
import { keeperOf, reapply } from '../../src/features/persons/erasure.ts'
import { act } from '../../src/http/service.ts'
import { freshDatabase } from '../support/database.ts'
import { type House, openHouse } from '../support/house.ts'

let house: House
let folder: string
beforeAll(async () => {
  house = await openHouse()
  folder = await mkdtemp(path.join(os.tmpdir(), 'mainplate-backup-'))
  await house
    .as('manager')
    .post('/v1/calibres', { name: 'N-1', energy: 'primary-cell', consumptionMaxMicroamps: 1.25 })
    .expect(201)
})
afterAll(async () => {
  await house.close()
  await rm(folder, { recursive: true, force: true })
})

async function put(name: string): Promise<{ owner: string; watch: string }> {
  const contacts = [{ means: 'e-mail', value: `${name.toLowerCase()}@example.org` }]
  const owner = (await house.as('counter').post('/v1/owners', { name, contacts }).expect(201)).body.id
  const watch = (
    await house.as('counter').post('/v1/watches', { maker: 'Norrsken', kind: 'quartz', ownerId: owner }).expect(201)
  ).body.id
  const fitted = {
    event: 'cell-fitted',
    on: '2024-02',
    source: 'paper',
    capacityMah: 27.5,
    consumptionMicroamps: 1.3,
    note: 'a "quoted"\nnote\\ \u{1f570}',
  }
  await house.as('bench').post(`/v1/watches/${watch}/events`, fitted).expect(201)
  await house.as('counter').patch(`/v1/owners/${owner}`, { language: 'de' }, '"v1"').expect(200)
  return { owner, watch }
}

/** Every row of every table as text, so that nothing can be lost on the way without showing. */
async function content(database: Database): Promise<Record<string, string>> {
  const { rows } = await database.pool.query<{ t: string }>(
    `select tablename as t from pg_tables where schemaname = 'public' and tablename <> 'schema_migration' order by 1`,
  )
  const whole: Record<string, string> = {}
  for (const { t } of rows) {
    const found = await database.pool.query<{ all: string }>(
      `select coalesce(string_agg(r::text, E'\\n' order by r::text), '') as all from "${t}" r`,
    )
    whole[t] = found.rows[0]?.all ?? ''
  }
  return whole
}

async function emptyDatabase<T>(work: (database: Database) => Promise<T>): Promise<T> {
  const fresh = await freshDatabase()
  const database = await openDatabase(fresh.url)
  try {
    return await work(database)
  } finally {
    await database.close()
    await fresh.drop()
  }
}

test('what comes back is the same, row by row: the obligations, the history and its hash; and the forgotten are forgotten again', async () => {
  const kept = await put('Kept')
  const leaving = await put('Leaving')
  await sealHistory(house.database.pool, new Date())
  const file = path.join(folder, 'whole.backup')
  const made = await backUp(house.database.pool, file, new Date())
  expect(made.rows).toBeGreaterThan(15)
  const before = await content(house.database)
  const { head } = await verifyHistory(house.database.pool)
  // after the backup somebody is forgotten
  await house.as('manager').post(`/v1/owners/${leaving.owner}/erasures`, { how: 'by letter' }).expect(201)
  const erased = (await erasedPersons(house.database.pool)).map((one) => ({ ...one, askedOn: one.askedOn as Day }))
  expect(JSON.stringify(erased)).not.toContain('Leaving')

  await emptyDatabase(async (database) => {
    const back = await bringBack(database.pool, file)
    expect(back.rows).toBe(made.rows)
    expect(await content(database)).toEqual(before)
    const verdict = await verifyHistory(database.pool, head ?? undefined)
    expect([verdict.findings, verdict.head]).toEqual([[], head])
    // the triggers are back in force
    await expect(database.pool.query('delete from watch_event')).rejects.toThrow(/never changed or deleted/)

    const service = { ...house.service, database }
    const again = await act(service, { keyId: null, name: 'restore', role: 'service' }, (doing) =>
      reapply(doing, erased, keeperOf(service)),
    )
    expect(again).toEqual([leaving.owner])
    const after = Object.values(await content(database)).join('\n')
    expect(after.toLowerCase()).not.toContain('leaving@example.org')
    expect(after).toContain('kept@example.org')
    expect((await verifyHistory(database.pool)).findings).toEqual([])
    const { rows } = await database.pool.query('select count(*)::int as n from watch_event where watch_id = any($1)', [
      [kept.watch, leaving.watch],
    ])
    expect(rows[0].n).toBe(2)
  })
})

test.runIf(existsSync('/dev/full'))('a disk that is full ends the backup, its snapshot and its file', async () => {
  const file = path.join(folder, 'full.backup')
  // more than is kept in memory between reading and writing, so that reading waits for the disk; it does not pack well
  await house.database.pool.query(
    `insert into owner (name, search_name, created_by) select string_agg(md5(n || ' ' || m), ''), 'filler', 'test' from generate_series(1, 3000) n, generate_series(1, 5) m group by n`,
  )
  // opens like any file and answers every write with ENOSPC (full(4) of Linux)
  await expect(backUp(house.database.pool, file, new Date(), () => createWriteStream('/dev/full'))).rejects.toThrow(
    'ENOSPC',
  )
  expect(existsSync(file)).toBe(false)
  const { rows } = await house.database.pool.query(
    `select count(*)::int as n from pg_stat_activity where datname = current_database() and application_name = 'mainplate' and backend_xmin is not null and pid <> pg_backend_pid()`,
  )
  expect(rows[0].n).toBe(0)
  await house.database.pool.query(`delete from owner where search_name = 'filler'`)
})

test('a file that was cut short or changed is refused before anything is written, and so is a database that is not empty', async () => {
  const file = path.join(folder, 'fine.backup')
  await backUp(house.database.pool, file, new Date())
  await expect(bringBack(house.database.pool, file)).rejects.toThrow(/not empty/)
  const text = gunzipSync(await readFile(file)).toString()
  const changed = path.join(folder, 'changed.backup')
  await emptyDatabase(async (database) => {
    const untouched = await content(database)
    for (const wrong of [
      text.replace('Norrsken', 'Norrskem'),
      text.split('\n').slice(0, -2).join('\n'),
      '{"mainplate":1}\n',
    ]) {
      await writeFile(changed, gzipSync(wrong))
      await expect(bringBack(database.pool, changed)).rejects.toThrow(/cut short or changed/)
    }
    expect(await content(database)).toEqual(untouched)
  })
  await expect(backUp(house.database.pool, file, new Date())).rejects.toThrow(/EEXIST/)
})
