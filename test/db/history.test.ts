import pg from 'pg'
import { afterAll, beforeAll, beforeEach, describe, expect, test } from 'vitest'
import { sealHistory, verifyHistory } from '../../src/db/history.ts'
import { type House, openHouse } from '../support/house.ts'

/** Whoever may switch the triggers off can rewrite a row; the chain shows it. */
let house: House
let superuser: pg.Client
let watch: string
beforeAll(async () => {
  house = await openHouse()
  superuser = new pg.Client({ connectionString: house.databaseUrl })
  await superuser.connect()
  const owner = (await house.as('counter').post('/v1/owners', { name: 'Lindgren' }).expect(201)).body.id
  watch = (
    await house.as('counter').post('/v1/watches', { maker: 'Norrsken', kind: 'quartz', ownerId: owner }).expect(201)
  ).body.id
  for (const on of ['2021-03-01', '2022-03-01', '2023-03-01', '2024-03-01'])
    await house
      .as('bench')
      .post(`/v1/watches/${watch}/events`, { event: 'case-opened', on, source: 'own-record' })
      .expect(201)
  await sealHistory(house.database.pool, new Date())
})
afterAll(async () => {
  await superuser.end()
  await house.close()
})
beforeEach(() => superuser.query('begin'))

const verify = () => verifyHistory(house.database.pool)
/** Does it past the triggers, looks, and takes it back. */
async function tampered(sql: string): Promise<string[]> {
  await superuser.query(`set local session_replication_role = replica; ${sql}; commit`)
  const { findings } = await verify()
  return findings
}
async function restored(sql: string): Promise<void> {
  await superuser.query(`begin; set local session_replication_role = replica; ${sql}; commit`)
  expect((await verify()).findings).toEqual([])
}

test('what was done through the service is in order, and every table that refuses rewriting is in the chain', async () => {
  await superuser.query('rollback')
  const verdict = await verify()
  expect(verdict.findings).toEqual([])
  expect(verdict.rows).toBe(5)
  expect(verdict.unsealed).toBe(0)
  const { rows } = await house.database.pool.query<{ n: number }>(
    `select count(distinct tgrelid)::int as n from pg_trigger where tgname like '%_append_only' and tgrelid <> 'history_batch'::regclass`,
  )
  const { rows: guarded } = await house.database.pool.query<{ n: number }>(
    `select count(distinct tgrelid)::int as n from pg_trigger t join pg_proc p on p.oid = tgfoid where proname like 'refuse_rewriting%' and tgrelid <> 'history_batch'::regclass`,
  )
  expect(guarded[0]?.n).toBe(rows[0]?.n)
})

test('a second sealing finds nothing, and what comes later is sealed after it', async () => {
  await superuser.query('rollback')
  expect(await sealHistory(house.database.pool, new Date())).toMatchObject({ rows: 0, batches: 0 })
  const before = (await verify()).head?.number ?? 0
  await house
    .as('bench')
    .post(`/v1/watches/${watch}/events`, { event: 'sign', sign: 'stopped', on: '2024-05-01', source: 'paper' })
    .expect(201)
  expect((await verify()).unsealed).toBe(1)
  const sealed = await sealHistory(house.database.pool, new Date())
  expect([sealed.rows, sealed.head?.number]).toEqual([1, before + 1])
})

test('a row whose transaction commits after a sealing that began later is sealed with the next, and is no finding', async () => {
  await superuser.query('rollback')
  const late = new pg.Client({ connectionString: house.databaseUrl })
  await late.connect()
  await late.query('begin')
  await late.query(
    `insert into strike (fact_id, fact_table, watch_id, reason, learned, recorded_by) values ('01890000-0000-7000-8000-000000000001', 'hazard', $1, 'late', '2026-11-25', 'test')`,
    [watch],
  )
  await sealHistory(house.database.pool, new Date())
  await late.query('commit')
  await late.end()
  expect((await sealHistory(house.database.pool, new Date())).rows).toBe(1)
  expect((await verify()).findings).toEqual([])
})

describe('with the triggers out of the way', () => {
  test('a changed value', async () => {
    const findings = await tampered(`update watch_event set happened = '2023-04-01' where happened = '2023-03-01'`)
    expect(findings.join()).toMatch(/watch_event: 1 rows were changed/)
    await restored(`update watch_event set happened = '2023-03-01' where happened = '2023-04-01'`)
  })

  test('a value taken out', async () => {
    const { rows } = await superuser.query(`select id, source from watch_event where happened = '2022-03-01'`)
    const findings = await tampered(`update watch_event set note = 'x' where id = '${rows[0].id}'`)
    expect(findings.join()).toMatch(new RegExp(`were changed: ${rows[0].id}`))
    await restored(`update watch_event set note = null where id = '${rows[0].id}'`)
  })

  test('a deleted row, and a whole emptied table', async () => {
    await superuser.query('create temporary table kept as select * from watch_event')
    const one = await tampered(`delete from watch_event where happened = '2021-03-01'`)
    expect(one.join()).toMatch(/watch_event: 1 rows were deleted/)
    await superuser.query('begin')
    const all = await tampered('delete from watch_event')
    expect(all.join()).toMatch(/watch_event: 5 rows were deleted/)
    await restored('insert into watch_event select * from kept')
  })

  test('a row put in later that says it was there before', async () => {
    const like = `insert into watch_event (id, watch_id, event, happened, source, learned, recorded_at, recorded_by)`
    const findings = await tampered(
      `${like} select '01890000-0000-7000-8000-000000000009', watch_id, event, '2020-01-01', source, learned, recorded_at - interval '1 day', recorded_by from watch_event limit 1`,
    )
    expect(findings.join()).toMatch(/put in later than they say: 01890000-0000-7000-8000-000000000009/)
    // sealing it does not hide it
    await sealHistory(house.database.pool, new Date())
    expect((await verify()).findings.join()).toMatch(/put in later than they say/)
    await superuser.query(
      `begin; set local session_replication_role = replica; delete from watch_event where happened = '2020-01-01'; delete from history_batch where number = (select max(number) from history_batch); commit`,
    )
    expect((await verify()).findings).toEqual([])
  })

  test('a person’s details changed in an old record', async () => {
    await superuser.query('rollback')
    const owner = (await house.as('counter').post('/v1/owners', { name: 'Before' }).expect(201)).body.id
    await house.as('counter').patch(`/v1/owners/${owner}`, { name: 'After' }, '"v1"').expect(200)
    await sealHistory(house.database.pool, new Date())
    await superuser.query('begin')
    const findings = await tampered(`update edit set before = '{"name": "Other"}' where record_id = '${owner}'`)
    expect(findings.join()).toMatch(/edit: 1 rows were changed in what they say of a person/)
    await superuser.query('begin')
    const emptied = await tampered(`update edit set before = '{}', personal_salt = null where record_id = '${owner}'`)
    expect(emptied.join()).toMatch(/edit: 1 rows are emptied, but the erasures on file account for 0/)
    await superuser.query(
      `begin; set local session_replication_role = replica; delete from edit where record_id = '${owner}'; delete from history_batch where number = (select max(number) from history_batch); commit`,
    )
  })

  test('a batch changed, taken out, cut off, or the whole chain made anew', async () => {
    const noted = (await verify()).head ?? undefined
    await superuser.query('create temporary table chain as select * from history_batch')
    const cut = `delete from history_batch where number = ${noted?.number}`
    expect(
      await tampered(`update history_batch set sealed_at = sealed_at - interval '1 day' where number = 1`),
    ).not.toEqual([])
    await restored('delete from history_batch; insert into history_batch select * from chain')
    await superuser.query('begin')
    expect((await tampered('delete from history_batch where number = 2')).join()).toMatch(/batches 2 to 2 are missing/)
    await restored('delete from history_batch; insert into history_batch select * from chain')
    await superuser.query('begin')
    await tampered(cut)
    expect((await verifyHistory(house.database.pool, noted)).findings.join()).toMatch(/cut off or made anew/)
    await superuser.query('begin')
    await tampered('delete from history_batch')
    await sealHistory(house.database.pool, new Date())
    expect((await verify()).findings).toEqual([])
    expect((await verifyHistory(house.database.pool, noted)).findings.join()).toMatch(/cut off or made anew/)
  })

  test('a guard that was switched off or taken away', async () => {
    await superuser.query('alter table hazard disable trigger hazard_append_only; commit')
    expect((await verify()).findings.join()).toMatch(/hazard: the trigger that refuses rewriting is switched off/)
    await superuser.query('alter table hazard enable trigger hazard_append_only')
  })
})

test.each(['update', 'delete'])(
  'the service’s own role is refused an %s, on every table of the history',
  async (what) => {
    await superuser.query('rollback')
    const { rows } = await house.database.pool.query<{ t: string; c: string }>(
      `select c.relname as t, (select attname from pg_attribute where attrelid = c.oid and attnum = 1) as c
     from pg_trigger g join pg_proc p on p.oid = g.tgfoid join pg_class c on c.oid = g.tgrelid
     where p.proname like 'refuse_rewriting%' and g.tgtype & 27 = 27`,
    )
    expect(rows.length).toBeGreaterThan(25)
    // a trigger of the row is asked only where there is a row; the others are counted above
    const filled: string[] = []
    for (const { t, c } of rows) {
      const some = await house.database.pool.query(`select 1 from "${t}" limit 1`)
      if (some.rowCount === 0) continue
      filled.push(t)
      const sql = what === 'update' ? `update "${t}" set "${c}" = "${c}"` : `delete from "${t}"`
      await expect(house.database.pool.query(sql), t).rejects.toThrow(/never changed or deleted/)
    }
    expect(filled).toEqual(expect.arrayContaining(['watch_event', 'ownership', 'strike', 'history_batch']))
  },
)
