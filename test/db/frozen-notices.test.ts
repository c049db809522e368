import pg from 'pg'
import { afterAll, beforeAll, beforeEach, describe, expect, test } from 'vitest'
import { sealHistory, verifyHistory } from '../../src/db/history.ts'
import { type House, openHouse } from '../support/house.ts'

/** A letter at its end is history: the database holds it, and the chain shows who got past the database. */
let house: House
let superuser: pg.Client
let owner: string
let watch: string
beforeAll(async () => {
  house = await openHouse()
  superuser = new pg.Client({ connectionString: house.databaseUrl })
  await superuser.connect()
})
afterAll(async () => {
  await superuser.end()
  await house.close()
})
beforeEach(async () => {
  owner = (await house.as('counter').post('/v1/owners', { name: 'Written To', confirmedNew: true }).expect(201)).body.id
  watch = (
    await house.as('counter').post('/v1/watches', { maker: 'Norrsken', kind: 'quartz', ownerId: owner }).expect(201)
  ).body.id
})

const sql = (text: string, values: unknown[] = []) => house.database.pool.query(text, values)
async function letter(state = 'queued'): Promise<string> {
  const { rows } = await sql(
    `with n as (insert into notice (owner_id, run_on, language, text_version, come_by, plan, trace)
       values ($1, '2026-11-25', 'en', '1', '2026-12-02', '{"parts": []}', '{}') returning id),
     i as (insert into notice_item (notice_id, owner_id, watch_id, kind, cycle, round, stage, rule, booked, run_on, due_on, standing)
       select id, $1, $2, 'cell-change', id::text, '2026-11-25', '1', 'cell-life', 'letter', '2026-11-25', '2026-12-01', 'due' from n)
     select id from n`,
    [owner, watch],
  )
  const id = rows[0].id as string
  if (state === 'sent')
    await sql(`update notice set state = 'sent', sent_at = now(), response = '250 kept as 1' where id = $1`, [id])
  else if (state !== 'queued') {
    await sql(`update notice set state = $2, last_error = '550 no' where id = $1`, [id, state])
    await sql('update notice_item set key_taken = false where notice_id = $1', [id])
  }
  return id
}
const findings = async () => (await verifyHistory(house.database.pool)).findings
/** Does it past the triggers, looks, and puts it back. */
async function tampered(change: string, back: string): Promise<string> {
  await superuser.query(`begin; set local session_replication_role = replica; ${change}; commit`)
  const found = (await findings()).join('; ')
  await superuser.query(`begin; set local session_replication_role = replica; ${back}; commit`)
  expect(await findings()).toEqual([])
  return found
}

describe.each(['sent', 'failed', 'withdrawn'])('a letter that is %s', (state) => {
  test.each([
    `state = 'queued'`,
    `plan = '{}'`,
    `trace = '{"items": []}'`,
    `sent_at = '2020-01-01'`,
    `response = 'another'`,
    `owner_id = owner_id, attempt = 9`,
    `ended_at = now() - interval '1 day'`,
  ])('is not changed: %s', async (change) => {
    const id = await letter(state)
    await expect(sql(`update notice set ${change} where id = $1`, [id])).rejects.toThrow(/never changed or deleted/)
  })

  test('is not deleted, nor are its items, nor are they changed', async () => {
    const id = await letter(state)
    for (const change of [
      `delete from notice_item where notice_id = $1`,
      `update notice_item set stage = '2' where notice_id = $1`,
      `update notice_item set booked = 'skipped' where notice_id = $1`,
    ])
      await expect(sql(change, [id]), change).rejects.toThrow(/never changed or deleted/)
    await superuser.query(
      `begin; set local session_replication_role = replica; delete from notice_item where notice_id = '${id}'; commit`,
    )
    await expect(sql('delete from notice where id = $1', [id])).rejects.toThrow(/never changed or deleted/)
    await superuser.query(
      `begin; set local session_replication_role = replica; delete from notice where id = '${id}'; commit`,
    )
  })

  test('takes once, and once only, that it came back', async () => {
    const id = await letter(state)
    await sql(`update notice set returned_at = now() where id = $1`, [id])
    await sql(`update notice set returned_at = coalesce(returned_at, now()) where id = $1`, [id])
    await expect(sql(`update notice set returned_at = null where id = $1`, [id])).rejects.toThrow(/told once/)
  })
})

test('one that waits is not deleted either, and the key of one that was sent never comes free', async () => {
  const waiting = await letter()
  await expect(sql('delete from notice where id = $1', [waiting])).rejects.toThrow(/never changed or deleted/)
  await expect(sql('truncate notice cascade')).rejects.toThrow(/never changed or deleted/)
  const sent = await letter('sent')
  const free = 'update notice_item set key_taken = false where notice_id = $1'
  await expect(sql(free, [sent])).rejects.toThrow(/stay taken/)
  await sql(free, [waiting])
  await expect(sql('update notice_item set key_taken = true where notice_id = $1', [waiting])).rejects.toThrow(
    /told once/,
  )
  await sql(`update notice set state = 'withdrawn' where id = $1`, [waiting])
})

test('the chain holds a letter from its end on, and shows every later change of it and of its items', async () => {
  const waiting = await letter()
  const [sent, failed] = [await letter('sent'), await letter('failed')]
  await sealHistory(house.database.pool, new Date())
  const before = await verifyHistory(house.database.pool)
  expect([before.findings, before.unsealed]).toEqual([[], 0])
  // on its way it changes, and that is no finding; at its end it waits to be sealed
  await sql(`update notice set state = 'claimed', attempt = 1 where id = $1`, [waiting])
  expect(await findings()).toEqual([])
  await sql(`update notice set state = 'sent', response = '250 ok' where id = $1`, [waiting])
  const after = await verifyHistory(house.database.pool)
  expect([after.findings, after.unsealed]).toEqual([[], 1])
  expect((await sealHistory(house.database.pool, new Date())).rows).toBe(1)

  const of = (column: string, value: string, id = sent) => `update notice set ${column} = ${value} where id = '${id}'`
  expect(await tampered(of('state', `'queued'`), of('state', `'sent'`))).toMatch(/notice: 1 rows were changed/)
  expect(await tampered(of('plan', `'{}'`), of('plan', `'{"parts": []}'`))).toMatch(/notice: 1 rows were changed/)
  expect(await tampered(of('come_by', `'2026-12-03'`), of('come_by', `'2026-12-02'`))).toMatch(/were changed/)
  expect(await tampered(of('response', `'250 other'`), of('response', `'250 kept as 1'`))).toMatch(
    /notice: 1 rows were changed in what they say of a person/,
  )
  const item = (set: string, id = sent) => `update notice_item set ${set} where notice_id = '${id}'`
  expect(await tampered(item(`stage = '2'`), item(`stage = '1'`))).toMatch(/notice_item: 1 rows were changed/)
  expect(await tampered(item('key_taken = false'), item('key_taken = true'))).toMatch(/does not fit what became/)
  expect(await tampered(item('key_taken = true', failed), item('key_taken = false', failed))).toMatch(/does not fit/)
  await superuser.query('create temporary table kept as select * from notice_item')
  expect(
    await tampered(
      `delete from notice_item where notice_id = '${failed}'`,
      `insert into notice_item select * from kept where notice_id = '${failed}'`,
    ),
  ).toMatch(/notice_item: 1 rows were deleted/)
  // one put in by hand that says it ended long ago
  const forged = `insert into notice (id, owner_id, run_on, state, language, text_version, come_by, plan, trace, ended_at)
    values ('01890000-0000-7000-8000-00000000000f', '${owner}', '2026-01-01', 'sent', 'en', '1', '2026-02-01', '{}', '{}', now() - interval '1 day')`
  expect(await tampered(forged, `delete from notice where id = '01890000-0000-7000-8000-00000000000f'`)).toMatch(
    /put in later than they say/,
  )
})

const fixed = (id: string) =>
  sql(
    `insert into letter (notice_id, contents, text_version, digest) values ($1, '{"owner": "Written To"}', '1', 'x')`,
    [id],
  )

test('what a letter says is fixed once; what its hand-over counts changes until its notice is at its end', async () => {
  const id = await letter()
  const change = (set: string) => sql(`update letter set ${set} where notice_id = $1`, [id])
  await sql(`insert into letter (notice_id, text_version, refusals) values ($1, '', 1)`, [id])
  await expect(sql('delete from letter where notice_id = $1', [id])).rejects.toThrow(/never changed or deleted/)
  await change(`contents = '{"owner": "Written To"}', text_version = '1', written_at = now()`)
  for (const set of [
    `contents = '{}'`,
    'contents = null',
    `text_version = '2'`,
    `written_at = 'epoch'`,
    'fixed_at = null',
  ])
    await expect(change(set), set).rejects.toThrow(/never changed or deleted/)
  await expect(change('contents = null, personal_salt = null')).rejects.toThrow(/never changed or deleted/)
  await expect(sql('delete from letter where notice_id = $1', [id])).rejects.toThrow(/never changed or deleted/)
  await expect(sql('truncate letter')).rejects.toThrow(/never changed or deleted/)
  await change(`refusals = 2, first_tried_at = now(), digest = 'x'`)
  await sealHistory(house.database.pool, new Date())
  await change('refusals = 3')
  expect(await findings()).toEqual([])
  await sql(`update notice set state = 'sent' where id = $1`, [id])
  for (const set of ['refusals = 4', `digest = 'y'`, 'first_tried_at = null'])
    await expect(change(set), set).rejects.toThrow(/at its end is never changed/)

  const past = (set: string) => `update letter set ${set} where notice_id = '${id}'`
  expect(await tampered(past(`text_version = '2'`), past(`text_version = '1'`))).toMatch(/letter: 1 rows were changed/)
  expect(await tampered(past(`contents = '{}'`), past(`contents = '{"owner": "Written To"}'`))).toMatch(
    /letter: 1 rows were changed in what they say of a person/,
  )
})

test('erasing a person empties what was said of them in words, and nothing else; the chain accounts for it', async () => {
  const id = await letter('sent')
  await fixed(id)
  const held = await letter()
  await sql(`update notice set state = 'held', held_why = 'she is abroad' where id = $1`, [held])
  await sealHistory(house.database.pool, new Date())
  await house.as('manager').post(`/v1/owners/${owner}/erasures`, { how: 'by letter' }).expect(201)
  const { rows } = await sql(
    'select state, response, held_why, withdrawn_why, plan from notice where id = any($1) order by array_position($1, id)',
    [[id, held]],
  )
  expect(rows).toEqual([
    { state: 'sent', response: 'erased', held_why: null, withdrawn_why: null, plan: { parts: [] } },
    { state: 'withdrawn', response: null, held_why: 'erased', withdrawn_why: 'erased', plan: { parts: [] } },
  ])
  expect((await sql('select contents from letter where notice_id = $1', [id])).rows).toEqual([{ contents: null }])
  expect(await findings()).toEqual([])
  await sealHistory(house.database.pool, new Date())
  expect(await findings()).toEqual([])
  // the same without an erasure on file is a finding
  const other = await letter('sent')
  await expect(
    sql(`update notice set response = 'erased', personal_salt = null where id = $1`, [other]),
  ).rejects.toThrow(/never changed/)
})
