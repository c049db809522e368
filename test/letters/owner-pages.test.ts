import supertest from 'supertest'
import { afterAll, beforeAll, beforeEach, expect, test } from 'vitest'
import { type HandingOver, openHandingOver } from '../../src/features/notices/handing-over.ts'
import { type Relay, startRelay } from '../faults/delivery/relay.ts'
import { type House, openHouse } from '../support/house.ts'
import { ownerWithWatch, queueLetter } from './book.ts'
import { due } from './sample.ts'

let relay: Relay
let house: House
let letters: HandingOver

beforeAll(async () => {
  relay = await startRelay()
  house = await openHouse({
    env: {
      SMTP_URL: relay.url,
      LETTERS_FROM: 'letters@centre.example',
      PUBLIC_URL: 'https://watches.centre.example',
      TRUSTED_PROXIES: '127.0.0.1',
    },
  })
  letters = openHandingOver(house.service, async () => new Map())
})
afterAll(async () => {
  await letters.close()
  await house.close()
  await relay.close()
})
beforeEach(() => house.setNow('2026-11-25'))

type Mailed = { ownerId: string; watchId: string; stop: string; answer: string; noticeId: string }

/** An owner who has just had a letter, with the paths of its two links as they stood in it. */
async function mailed(
  more: Parameters<typeof ownerWithWatch>[1] & { kind?: 'cell-change' | 'complete-service' | 'water-check' } = {},
): Promise<Mailed> {
  const { ownerId, watchId } = await ownerWithWatch(house, more)
  const parts = [due({ watchId, recordId: ownerId, kind: more.kind ?? 'cell-change' })]
  const noticeId = await queueLetter(house, ownerId, watchId, { parts, language: more.language ?? 'en' })
  await letters.round()
  const raw = relay.kept.at(-1)?.raw.toString('utf8').replaceAll('=\r\n', '') ?? ''
  const link = (path: string) => new RegExp(`${path}/[A-Za-z0-9_-]{43}`).exec(raw)?.[0] ?? ''
  return { ownerId, watchId, noticeId, stop: link('/your-letters'), answer: link('/your-watches') }
}

let address = 0
/** Each call from another address, but where the limit itself is tried. */
const from = () => `198.51.100.${(address++ % 250) + 1}`
const get = (path: string) => supertest(house.app.server).get(path).set('x-forwarded-for', from())
const post = (path: string, fields: object) =>
  supertest(house.app.server).post(path).set('x-forwarded-for', from()).type('form').send(fields)

const choices = async (ownerId: string) => {
  const { body } = await house.as('counter').get(`/v1/owners/${ownerId}`).expect(200)
  return Object.fromEntries(body.noticeChoices.map((one: { kind: string; choice: string }) => [one.kind, one.choice]))
}
const dues = async (watchId: string) => {
  const { body } = await house.as('counter').get(`/v1/watches/${watchId}`).expect(200)
  return Object.fromEntries(body.obligations.map((one: { kind: string; dueOn: string }) => [one.kind, one.dueOn]))
}
const factCount = async () => {
  const { rows } = await house.database.pool.query(
    `select (select count(*) from watch_event)::int as events, (select count(*) from wear_statement)::int as wear, (select count(*) from ownership)::int as owners,
       (select count(*) from notice_choice)::int as choices, (select count(*) from owner_answer)::int as answers, (select count(*) from task)::int as tasks`,
  )
  return rows[0]
}

test('RFC 8058: one POST of 26 bytes, without cookie, key or redirect, stops the letters; repeated it is answered alike', async () => {
  const { ownerId, watchId, stop } = await mailed()
  const waiting = await queueLetter(house, ownerId, watchId)
  const body = 'List-Unsubscribe=One-Click'
  expect(Buffer.byteLength(body)).toBe(26)
  for (const attempt of [1, 2]) {
    const answer = await supertest(house.app.server)
      .post(stop)
      .set('x-forwarded-for', from())
      .type('application/x-www-form-urlencoded')
      .send(body)
    expect([attempt, answer.status, answer.headers['set-cookie'], answer.headers.location]).toEqual([
      attempt,
      200,
      undefined,
      undefined,
    ])
  }
  expect(await choices(ownerId)).toEqual({ 'complete-service': 'no', 'water-check': 'no', 'cell-change': 'no' })
  const { rows } = await house.database.pool.query('select state from notice where id = $1', [waiting])
  expect(rows[0].state).toBe('withdrawn')
  const { rows: answers } = await house.database.pool.query(`select answer from owner_answer where owner_id = $1`, [
    ownerId,
  ])
  expect(answers).toEqual([{ answer: 'stop' }])
})

test('RFC 8058 allows multipart/form-data as well', async () => {
  const { ownerId, stop } = await mailed()
  await supertest(house.app.server)
    .post(stop)
    .set('x-forwarded-for', from())
    .field('List-Unsubscribe', 'One-Click')
    .expect(200)
  expect(await choices(ownerId)).toMatchObject({ 'cell-change': 'no' })
})

test('looking at a page changes nothing, whoever looks and however often', async () => {
  const { stop, answer } = await mailed()
  const before = await factCount()
  for (const path of [stop, answer, `${stop}?List-Unsubscribe=One-Click&do=stop`, `${answer}?do=sold`]) {
    const page = await get(path).expect(200)
    expect(page.headers['content-type']).toBe('text/html; charset=utf-8')
    expect(page.headers['referrer-policy']).toBe('no-referrer')
    expect(page.headers['cache-control']).toBe('no-store')
    expect(page.headers['content-security-policy']).toMatch(/^default-src 'none'; style-src 'sha256-/)
    expect(page.text).not.toMatch(/<script|javascript:|https?:\/\//i)
    await supertest(house.app.server).head(path).set('x-forwarded-for', from())
  }
  expect(await factCount()).toEqual(before)
})

test('what is unknown, of another purpose, expired or revoked gets one and the same answer', async () => {
  const { stop, answer, ownerId, noticeId } = await mailed()
  const unknown = await get('/your-letters/AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA')
  const swapped = await get(answer.replace('your-watches', 'your-letters'))
  const malformed = await get('/your-letters/x')
  house.setNow('2027-01-10')
  const expired = await get(answer)
  expect((await get(stop)).status).toBe(200)
  await house.database.pool.query(
    `update owner_link set revoked_at = now(), revoked_by = 'test' where notice_id = $1 and purpose = 'stop'`,
    [noticeId],
  )
  const revoked = await get(stop)
  const posted = await post(stop, { 'List-Unsubscribe': 'One-Click' })
  const answers = [unknown, swapped, malformed, expired, revoked, posted]
  expect(answers.map((one) => one.status)).toEqual([404, 404, 404, 404, 404, 404])
  expect(new Set(answers.map((one) => one.text)).size).toBe(1)
  expect(await choices(ownerId)).toMatchObject({ 'cell-change': 'yes' })
})

test('tokens are stored hashed and differ for each purpose', async () => {
  const { stop, answer } = await mailed()
  const tokens = [stop, answer].map((path) => path.split('/').at(-1) ?? '')
  expect(new Set(tokens).size).toBe(2)
  const { rows } = await house.database.pool.query(
    `select (select string_agg(t::text, ' ') from owner_link t) || (select string_agg(t::text, ' ') from letter t) as all`,
  )
  for (const token of tokens) expect(rows[0].all).not.toContain(token)
})

test('one may choose kinds, and begin again', async () => {
  const { ownerId, stop } = await mailed()
  await post(stop, { do: 'choose', 'complete-service': 'yes', 'water-check': 'no', 'cell-change': 'yes' }).expect(200)
  expect(await choices(ownerId)).toEqual({ 'complete-service': 'yes', 'water-check': 'no', 'cell-change': 'yes' })
  await post(stop, { do: 'choose', 'complete-service': 'yes', 'water-check': 'yes', 'cell-change': 'yes' }).expect(200)
  expect(await choices(ownerId)).toMatchObject({ 'water-check': 'yes' })
  expect((await get(stop)).text).toMatch(/name="water-check" value="yes" checked/)
})

test('"it was done elsewhere" is a fact on the owner’s word, and the date moves at once', async () => {
  const { watchId, answer } = await mailed({ watch: { sold: '2020-03-01' } })
  expect((await dues(watchId))['cell-change']).toBe('2022-03-01')
  const page = await post(answer, {
    watch: watchId,
    do: 'done-elsewhere',
    kind: 'cell-change',
    day: '2026-10-05',
  }).expect(200)
  expect(page.text).toContain('reckoned the date anew')
  expect((await dues(watchId))['cell-change']).toBe('2028-10-05')
  await post(answer, { watch: watchId, do: 'done-elsewhere', kind: 'cell-change', day: '2026-10-05' }).expect(200)
  const { body } = await house.as('counter').get(`/v1/watches/${watchId}/history`).expect(200)
  const events = body.events.filter((one: { event: string }) => one.event === 'cell-fitted')
  expect(events).toHaveLength(1)
  expect(events[0]).toMatchObject({
    source: 'owner-word',
    on: '2026-10-05',
    learned: '2026-11-25',
    recordedBy: 'the owner, by a link in a letter',
  })
})

test('"never in water" and "only now and then" keep what else is known of the wear', async () => {
  const { watchId, answer } = await mailed({
    kind: 'complete-service',
    watch: { kind: 'hand-wound', sold: '2020-03-01' },
  })
  await house
    .as('counter')
    .post(`/v1/watches/${watchId}/wear`, { daily: 'yes', water: 'often', heat: 'yes', source: 'own-record' })
    .expect(201)
  expect(await dues(watchId)).toMatchObject({ 'complete-service': '2024-03-01', 'water-check': '2021-03-01' })
  await post(answer, { watch: watchId, do: 'never-in-water' }).expect(200)
  expect(await dues(watchId)).toEqual({ 'complete-service': '2024-03-01' })
  await post(answer, { watch: watchId, do: 'now-and-then' }).expect(200)
  expect(await dues(watchId)).toMatchObject({ 'complete-service': '2027-03-01' })
})

test('"I have sold it": the watch has no known owner from that moment, and letters about it stop', async () => {
  const { watchId, answer, ownerId } = await mailed()
  const waiting = await queueLetter(house, ownerId, watchId)
  await post(answer, { watch: watchId, do: 'sold' }).expect(200)
  const { body } = await house.as('counter').get(`/v1/watches/${watchId}`).expect(200)
  expect(body.ownerId).toBeNull()
  const { rows } = await house.database.pool.query('select state from notice where id = $1', [waiting])
  expect(rows[0].state).toBe('withdrawn')
  // the link no longer reaches it
  expect((await get(answer)).text).toContain('no watch')
  await post(answer, { watch: watchId, do: 'done-elsewhere', kind: 'cell-change', day: '2026-10-05' }).expect(400)
})

test('a proposed day is a task for the counter, not an appointment', async () => {
  const { watchId, answer } = await mailed()
  await post(answer, { watch: watchId, do: 'propose-day', day: '2026-12-03' }).expect(200)
  await post(answer, { watch: watchId, do: 'propose-day', day: '2026-12-03' }).expect(200)
  const { rows } = await house.database.pool.query(`select kind, role, words from task where watch_id = $1`, [watchId])
  expect(rows).toEqual([{ kind: 'proposed-day', role: 'counter', words: expect.stringContaining('2026-12-03') }])
})

test('what cannot be is refused on the page and writes nothing', async () => {
  const { watchId, answer, stop } = await mailed()
  const other = await mailed()
  const before = await factCount()
  const refused = [
    { watch: watchId, do: 'done-elsewhere', kind: 'cell-change', day: '2026-11-26' },
    { watch: watchId, do: 'done-elsewhere', kind: 'cell-change', day: '2026-02-30' },
    { watch: watchId, do: 'done-elsewhere', kind: 'cell-change', day: '' },
    { watch: watchId, do: 'done-elsewhere', kind: 'gold-plating', day: '2026-10-05' },
    { watch: watchId, do: 'propose-day', day: '2026-11-25' },
    { watch: watchId, do: 'propose-day', day: '2028-01-01' },
    { watch: watchId, do: 'burn' },
    { watch: other.watchId, do: 'sold' },
    { watch: "x' or 1=1", do: 'sold' },
    {},
  ]
  for (const fields of refused) expect([fields, (await post(answer, fields)).status]).toEqual([fields, 400])
  expect((await post(stop, { do: 'nothing' })).status).toBe(400)
  expect(await factCount()).toEqual(before)
})

test('a link is tried in vain only so often from one address', async () => {
  const same = '203.0.113.9'
  const statuses: number[] = []
  for (let n = 0; n < 45; n++)
    statuses.push(
      (
        await supertest(house.app.server)
          .get('/your-letters/AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA')
          .set('x-forwarded-for', same)
      ).status,
    )
  expect([statuses.slice(0, 40).every((one) => one === 404), statuses[44]]).toEqual([true, 429])
})

test.each([
  ['de', 'Briefe von uns', 'Keinen dieser Briefe mehr'],
  ['fr', 'Nos lettres', 'Ne plus recevoir ces lettres'],
  ['es', 'Nuestras cartas', 'No recibir más estas cartas'],
  ['pt', 'As nossas cartas', 'Não receber mais estas cartas'],
])('pages speak %s to an owner of that language', async (language, title, button) => {
  const { stop } = await mailed({ language })
  const page = await get(stop).expect(200)
  expect(page.text).toContain(`<html lang="${language}">`)
  expect(page.text).toContain(title)
  expect(page.text).toContain(button)
})

test('a name with markup in it is shown, not run', async () => {
  const { answer } = await mailed({ watch: { maker: '<img src=x onerror=alert(1)>' } })
  const page = await get(answer).expect(200)
  expect(page.text).not.toContain('<img')
  expect(page.text).toContain('&lt;img src=x')
})

test('an erased owner’s links lead nowhere', async () => {
  const { ownerId, stop } = await mailed()
  await house.database.pool.query(`update owner set erased_on = '2026-11-25' where id = $1`, [ownerId])
  await get(stop).expect(404)
})

test('an outage asks the owner to come again later, and a fault of ours is a 500 that the alert sees', async () => {
  const { stop } = await mailed({ language: 'de' })
  const { pool } = house.database
  const german = () => post(stop, { do: 'stop' }).set('accept-language', 'de')
  const blocker = await pool.connect()
  await blocker.query('begin; lock table owner_answer in exclusive mode')
  const waiting = german().then((one) => one)
  const cancel = `select pg_cancel_backend(pid) from pg_locks where relation = 'owner_answer'::regclass and not granted and database = (select oid from pg_database where datname = current_database())`
  while ((await pool.query(cancel)).rowCount === 0);
  const away = await waiting
  await blocker.query('rollback')
  blocker.release()
  expect([away.status, away.headers['retry-after'], away.type]).toEqual([503, '120', 'text/html'])
  await pool.query('alter table owner_answer rename to elsewhere')
  const fault = await german()
  await pool.query('alter table elsewhere rename to owner_answer')
  expect([fault.status, fault.type]).toEqual([500, 'text/html'])
  for (const { text } of [away, fault]) {
    expect(text).toContain('Bitte versuchen Sie es in einigen Minuten noch einmal')
    expect(text).not.toContain('Zu viele Versuche')
  }
  await german().expect(200)
})
