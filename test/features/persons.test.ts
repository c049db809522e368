import { existsSync } from 'node:fs'
import { mkdir, writeFile } from 'node:fs/promises'
import path from 'node:path'
import { afterAll, beforeAll, beforeEach, describe, expect, test } from 'vitest'
import { sealHistory, verifyHistory } from '../../src/db/history.ts'
import { keeperOf, reapply } from '../../src/features/persons/erasure.ts'
import { suppressedAmong } from '../../src/features/persons/suppression.ts'
import { act } from '../../src/http/service.ts'
import { tickHousekeeping } from '../../src/jobs/housekeeping.ts'
import { linkSecret } from '../../src/letters/links.ts'
import { type House, openHouse } from '../support/house.ts'

/** GDPR: Article 12(3) one month to answer, 15 a copy, 17 erasure and its exceptions, 20 a form for machines. */
let house: House
let secret: string
beforeAll(async () => {
  house = await openHouse()
  secret = linkSecret(house.service.config.linkSecret, house.service.config.dataFolder)
})
afterAll(() => house.close())

// words that stand nowhere else, so that every trace can be looked for
const trace = {
  name: 'Zacharina Quillfeather',
  mail: 'zq.heron@example.org',
  phone: '+41446681899',
  street: 'Larkspur Lane 7',
}
let owner: string
let watch: string
let n = 0
const tax = () => `ZQ-TAX-${n}-`
beforeEach(async () => {
  n += 1
  const contacts = [
    { means: 'e-mail', value: `${n}.${trace.mail}` },
    { means: 'phone', value: trace.phone },
    { means: 'post', value: trace.street },
  ]
  const made = await house
    .as('counter')
    .post('/v1/owners', {
      name: trace.name,
      formOfAddress: 'Ms',
      isFirm: true,
      taxNumber: tax(),
      contacts,
      confirmedNew: true,
    })
    .expect(201)
  owner = made.body.id
  const body = { maker: 'Norrsken', kind: 'quartz', serial: `ZQ${n}`, ownerId: owner }
  watch = (await house.as('counter').post('/v1/watches', body).expect(201)).body.id
  await house
    .as('bench')
    .post(`/v1/watches/${watch}/events`, { event: 'cell-fitted', on: '2025-03-01', source: 'own-record' })
    .expect(201)
  await house
    .as('counter')
    .patch(`/v1/owners/${owner}`, { name: `${trace.name} the Second`, reason: trace.street }, '"v1"')
    .expect(200)
})

const erase = (id: string, body: object = { how: 'by letter' }) =>
  house.as('manager').post(`/v1/owners/${id}/erasures`, body)
const sql = async <T extends object>(text: string, values: unknown[] = []) =>
  (await house.database.pool.query<T>(text, values)).rows

/** Every table in which any of the words is still to be read. */
async function traces(
  words: string[] = [trace.name, `${n}.${trace.mail}`, '446681899', trace.street, tax()],
): Promise<string[]> {
  const tables = await sql<{ t: string }>(
    `select quote_ident(tablename) as t from pg_tables where schemaname = 'public'`,
  )
  const found: string[] = []
  for (const { t } of tables) {
    const [row] = await sql<{ n: number }>(
      `select count(*)::int as n from ${t} as r where exists (select from unnest($1::text[]) as w where position(lower(w) in lower(to_jsonb(r)::text)) > 0)`,
      [words],
    )
    if ((row?.n ?? 0) > 0) found.push(t)
  }
  return found
}
const onlyMine = () => [`${n}.${trace.mail}`, tax()]

async function queuedNotice(state = 'queued'): Promise<string> {
  const [row] = await sql<{ id: string }>(
    `insert into notice (owner_id, run_on, state, language, text_version, come_by, plan, trace) values ($1, '2026-11-25', $2, 'en', '1', '2026-12-02', '{}', '{}') returning id`,
    [owner, state],
  )
  return row?.id ?? ''
}

describe('export', () => {
  test('holds everything that names the person, and what is said of the watch; nothing of another owner', async () => {
    const stranger = (
      await house.as('counter').post('/v1/owners', { name: 'Somebody Else', confirmedNew: true }).expect(201)
    ).body.id
    await house
      .as('counter')
      .post(`/v1/watches/${watch}/ownerships`, { ownerId: stranger, from: '2020-01-01', how: 'owner before' })
    const { body, headers } = await house.as('manager').get(`/v1/owners/${owner}/export`).expect(200)
    expect(headers['content-disposition']).toContain('attachment')
    expect(body.ownerIds).toEqual([owner])
    expect(body.records.owner[0]).toMatchObject({ id: owner, name: `${trace.name} the Second` })
    expect(body.records.contact).toHaveLength(3)
    expect(body.records.edit[0].before.name).toBe(trace.name)
    expect(body.records.watch[0].serial).toBe(`ZQ${n}`)
    expect(body.records.watchEvent[0]).toMatchObject({ event: 'cell-fitted', happened: '2025-03-01' })
    expect(JSON.stringify(body)).not.toContain(stranger)
    expect(JSON.stringify(body)).not.toContain('personalSalt')
  })

  test('is for managers, and of nobody it is a 404', async () => {
    await house.as('counter').get(`/v1/owners/${owner}/export`).expect(403)
    await house.as('manager').get('/v1/owners/01890000-0000-7000-8000-000000000000/export').expect(404)
  })
})

describe('erasure', () => {
  test('takes the person out of every table and leaves the watch’s technical life and an unbroken history', async () => {
    await sealHistory(house.database.pool, new Date())
    const before = (await house.as('manager').get(`/v1/watches/${watch}/obligations`).expect(200)).body
    expect((await traces(onlyMine())).length).toBeGreaterThan(1)
    const answer = await erase(owner).expect(201)
    expect(answer.body).toMatchObject({
      state: 'done',
      doneOn: '2026-11-25',
      askedOn: '2026-11-25',
      answerBy: '2026-12-25',
    })
    expect(answer.body.consequence).toMatch(/recall/)
    expect(await traces(onlyMine())).toEqual([])
    expect((await house.as('manager').get(`/v1/watches/${watch}/obligations`).expect(200)).body).toEqual(before)
    const [event] = await sql(`select event, happened from watch_event where watch_id = $1`, [watch])
    expect(event).toEqual({ event: 'cell-fitted', happened: '2025-03-01' })
    const verdict = await verifyHistory(house.database.pool)
    expect(verdict.findings).toEqual([])
    expect(verdict.erased).toBeGreaterThan(0)
  })

  test('takes the name out of the words at the facts of every watch that was ever theirs; the rest of them stays', async () => {
    const at = `/v1/watches/${watch}`
    const by = (role: 'bench' | 'counter', door: string, body: object) =>
      house.as(role).post(`${at}/${door}`, body).expect(201)
    const struck = (
      await by('bench', 'events', {
        event: 'sign',
        sign: 'hot-bath',
        on: '2026-11-01',
        source: 'owner-word',
        note: `${trace.name} says so`,
      })
    ).body
    await by('bench', 'events', {
      event: 'sign',
      sign: 'stopped',
      on: '2026-11-02',
      source: 'own-record',
      note: 'mainspring',
    })
    await by('bench', 'strikes', { factId: struck.id, reason: `${trace.name.toUpperCase()} meant another watch` })
    await by('bench', 'notes', {
      obligation: 'complete-service',
      months: 36,
      on: '2026-11-02',
      reason: `as ${trace.name} rides`,
    })
    await by('bench', 'hazards', { kind: 'radium', note: `told by ${trace.name}` })
    const next = (await house.as('counter').post('/v1/owners', { name: 'Next Holder', confirmedNew: true }).expect(201))
      .body.id
    await by('counter', 'ownerships', { ownerId: next, from: '2026-11-20', how: `sold by ${trace.name}, by letter` })
    await sealHistory(house.database.pool, new Date())
    await erase(owner).expect(201)
    const words = await sql(
      `select 'event' as at, note as words from watch_event where watch_id = $1 and note is not null
       union select 'strike', reason from strike where watch_id = $1 union select 'note', reason from watchmaker_note where watch_id = $1
       union select 'hazard', note from hazard where watch_id = $1 union select 'ownership', how from ownership where watch_id = $1 and owner_id = $2
       order by 1, 2`,
      [watch, next],
    )
    expect(words).toEqual([
      { at: 'event', words: 'erased says so' },
      { at: 'event', words: 'mainspring' },
      { at: 'hazard', words: 'told by erased' },
      { at: 'note', words: 'as erased rides' },
      { at: 'ownership', words: 'sold by erased, by letter' },
      { at: 'strike', words: 'erased meant another watch' },
    ])
    expect((await verifyHistory(house.database.pool)).findings).toEqual([])
    // nothing but an erasure does so
    await expect(
      sql(`update hazard set note = 'erased', personal_salt = null where watch_id = $1`, [watch]),
    ).rejects.toThrow(/never changed/)
  })

  test('withdraws pending letters in the same transaction, claimed ones too', async () => {
    const notices = [
      await queuedNotice(),
      await queuedNotice('held'),
      await queuedNotice('claimed'),
      await queuedNotice('sent'),
    ]
    await erase(owner).expect(201)
    const rows = await sql<{ state: string }>(
      'select state from notice where id = any($1) order by array_position($1, id)',
      [notices],
    )
    expect(rows.map((row) => row.state)).toEqual(['withdrawn', 'withdrawn', 'withdrawn', 'sent'])
    const [sameTransaction] = await sql<{ same: boolean }>(
      `select (select xmin::text from notice where id = $1) = (select xmin::text from erasure where owner_id = $2) as same`,
      [notices[0], owner],
    )
    expect(sameTransaction?.same).toBe(true)
  })

  test('removes letters that were written as files', async () => {
    const id = await queuedNotice('sent')
    const file = path.join(house.service.config.letters.folder, `${id}.eml`)
    await mkdir(path.dirname(file), { recursive: true })
    await writeFile(file, trace.name)
    await erase(owner).expect(201)
    expect(existsSync(file)).toBe(false)
  })

  test('makes a task for the answer within one month, by the calendar', async () => {
    house.setNow('2027-01-31')
    try {
      const { body } = await erase(owner).expect(201)
      expect(body.answerBy).toBe('2027-02-28')
      const [task] = await sql<{ due_on: string; role: string }>(`select due_on, role from task where dedupe = $1`, [
        `erasure-answer/${body.id}`,
      ])
      expect(task).toEqual({ due_on: '2027-02-28', role: 'manager' })
    } finally {
      house.setNow('2026-11-25')
    }
  })

  test('waits while a watch is in the house, says so, stops letters at once, and is done by itself afterwards', async () => {
    const notice = await queuedNotice()
    await sql('update watch set in_house = true where id = $1', [watch])
    const asked = await erase(owner).expect(201)
    expect(asked.body).toMatchObject({ state: 'postponed', because: [`watch ${watch} is in the house`], doneOn: null })
    expect((await sql<{ state: string }>('select state from notice where id = $1', [notice]))[0]?.state).toBe(
      'withdrawn',
    )
    expect(
      (await house.as('manager').get(`/v1/owners/${owner}`)).body.noticeChoices.map(
        (one: { choice: string }) => one.choice,
      ),
    ).toEqual(['no', 'no', 'no'])
    await tickHousekeeping(house.service)
    expect((await traces(onlyMine())).length).toBeGreaterThan(0)
    expect((await erase(owner)).body).toMatchObject({ type: '/problems/erasure-postponed', status: 409 })
    await sql('update watch set in_house = false where id = $1', [watch])
    await tickHousekeeping(house.service)
    expect(await traces(onlyMine())).toEqual([])
    expect((await house.as('manager').get(`/v1/erasures/${asked.body.id}`)).body.state).toBe('done')
  })

  test('sixty that wait keep nobody behind them waiting, and one that fails neither the others nor the history', async () => {
    await sql(`
      with owners as (
        insert into owner (name, search_name, standing, created_by)
        select 'Waiting ' || n, 'waiting ' || n, case when n <= 60 then 'in-dispute' else 'normal' end, 'test' from generate_series(1, 63) n returning id, name)
      insert into erasure (owner_id, asked_on, answer_by, how, state, because, recorded_by)
      select id, date '2026-01-01' + split_part(name, ' ', 2)::int, '2026-12-01', 'letter', 'postponed', '{x}', 'test' from owners`)
    await sql(`
      create function refuse_62() returns trigger language plpgsql as $$ begin raise 'not this one'; end $$;
      create trigger refuse_62 before update on owner for each row when (old.name = 'Waiting 62') execute function refuse_62()`)
    await expect(tickHousekeeping(house.service)).rejects.toThrow('1 parts of the housekeeping failed')
    const left = async () =>
      (await sql<{ name: string }>(`select name from owner where name like 'Waiting %' order by id`)).map(
        (one) => one.name,
      )
    expect((await left()).filter((name) => Number(name.slice(8)) > 60)).toEqual(['Waiting 62'])
    expect((await verifyHistory(house.database.pool)).unsealed).toBe(0)
    await sql('drop trigger refuse_62 on owner; drop function refuse_62()')
    await sql(`update owner set standing = 'normal' where name like 'Waiting %'`)
    await tickHousekeeping(house.service)
    expect(await left()).toEqual([])
  })

  test('a dispute postpones it too', async () => {
    await house.as('manager').patch(`/v1/owners/${owner}`, { standing: 'in-dispute' }, '*').expect(200)
    expect((await erase(owner).expect(201)).body.because).toEqual(['a claim or dispute is open'])
  })

  test('who asked under two records that are one person is forgotten once, and both requests are done', async () => {
    const other = (
      await house
        .as('counter')
        .post('/v1/owners', { name: 'Two Records', contacts: [], confirmedNew: true })
        .expect(201)
    ).body.id
    await house.as('manager').patch(`/v1/owners/${other}`, { standing: 'in-dispute' }, '*').expect(200)
    const first = await erase(other).expect(201)
    await house.as('manager').post(`/v1/owners/${other}/merge`, { into: owner }).expect(200)
    const second = await erase(owner).expect(201)
    expect([first.body.state, second.body.state]).toEqual(['postponed', 'postponed'])
    await sql(`update owner set standing = 'normal' where id = any($1)`, [[owner, other]])
    await tickHousekeeping(house.service)
    for (const { body } of [first, second])
      expect((await house.as('manager').get(`/v1/erasures/${body.id}`)).body).toMatchObject({
        state: 'done',
        because: [],
      })
    expect(await traces(onlyMine())).toEqual([])
  })

  test('takes merged records along', async () => {
    const other = (
      await house
        .as('counter')
        .post('/v1/owners', { name: `${trace.name} (double)`, confirmedNew: true })
        .expect(201)
    ).body.id
    await house.as('manager').post(`/v1/owners/${other}/merge`, { into: owner }).expect(200)
    const { body } = await erase(other).expect(201)
    expect(body.ownerId).toBe(owner)
    const rows = await sql<{ name: string }>('select name from owner where id = any($1)', [[owner, other]])
    expect(rows.map((row) => row.name)).toEqual(['erased', 'erased'])
  })

  test('a repetition of the request that put them on file gives nothing back', async () => {
    const make = () => house.as('counter').post('/v1/owners', { name: trace.name, confirmedNew: true }, `"once-${n}"`)
    const id = (await make().expect(201)).body.id
    await erase(id).expect(201)
    const again = await make()
    expect([again.status, again.body.type]).toEqual([410, '/problems/owner-erased'])
    await house.as('counter').patch(`/v1/owners/${id}`, { language: 'de' }, '*').expect(410)
    expect((await erase(id)).status).toBe(410)
  })
})

describe('an address that was suppressed', () => {
  test('and comes back is not written to, until its owner says yes', async () => {
    await erase(owner).expect(201)
    expect((await sql<{ n: number }>('select count(*)::int as n from suppressed_address'))[0]?.n).toBeGreaterThan(0)
    const contacts = [{ means: 'e-mail', value: `${n}.ZQ.heron@example.org` }]
    owner = (await house.as('counter').post('/v1/owners', { name: 'From an old list', contacts }).expect(201)).body.id
    const notice = await queuedNotice()
    const withheld = () =>
      act(house.service, { keyId: null, name: 'test', role: 'service' }, ({ tx }) =>
        suppressedAmong(tx, secret, [notice]),
      )
    expect(await withheld()).toEqual(new Map([[notice, ['letters-refused']]]))
    const yes = { kind: 'cell-change', choice: 'yes', means: 'at the counter', wording: '1' }
    await house.as('counter').post(`/v1/owners/${owner}/notice-choices`, yes).expect(201)
    expect(await withheld()).toEqual(new Map())
  })
})

test('after an older backup came back, those forgotten since are forgotten again', async () => {
  const [copy] = await sql('select to_jsonb(owner) as row from owner where id = $1', [owner])
  expect(copy).toBeDefined()
  const forgotten = await act(house.service, { keyId: null, name: 'restore', role: 'service' }, (doing) =>
    reapply(
      doing,
      [
        { ownerId: owner, askedOn: '2026-11-20' as never },
        { ownerId: '01890000-0000-7000-8000-000000000000', askedOn: '2026-11-20' as never },
      ],
      keeperOf(house.service),
    ),
  )
  expect(forgotten).toEqual([owner])
  expect(await traces(onlyMine())).toEqual([])
})
