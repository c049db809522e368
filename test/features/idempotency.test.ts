import { randomUUID } from 'node:crypto'
import { connect } from 'node:net'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { forgetOldKeys } from '../../src/jobs/housekeeping.ts'
import { type House, openHouse } from '../support/house.ts'

/**
 * Outside values: draft-ietf-httpapi-idempotency-key-header-06 (missing key 400, other payload 422, first one still
 * running 409, a repetition gets the first result), RFC 9110 13.1.1 (If-Match compares strongly), RFC 6585 (428).
 */
let house: House
beforeAll(async () => {
  house = await openHouse()
})
afterAll(() => house.close())

const owners = async (name: string) =>
  Number((await house.database.pool.query('select count(*) as n from owner where name = $1', [name])).rows[0].n)
const create = (key: string, body: object) => house.as('counter').post('/v1/owners', body, `"${key}"`)
/** Where the first takes longer than the others wait for it, they are told to come again, and do. */
const insist = async (key: string, body: object) => {
  for (;;) {
    const answer = await create(key, body)
    if (answer.body.type !== '/problems/idempotency-key-in-flight') return answer
  }
}

describe('the same key at once', () => {
  test.each([2, 20])('%d requests: one owner, and every one is told the same', async (many) => {
    const [key, name] = [randomUUID(), `Racer ${many}`]
    const answers = await Promise.all(Array.from({ length: many }, () => insist(key, { name })))
    expect(answers.map((answer) => answer.status)).toEqual(Array(many).fill(201))
    expect(new Set(answers.map((answer) => JSON.stringify(answer.body))).size).toBe(1)
    expect(new Set(answers.map((answer) => `${answer.headers.location} ${answer.headers.etag}`)).size).toBe(1)
    const first = answers.filter((answer) => answer.headers['idempotent-replayed'] === undefined)
    expect([first.length, await owners(name)]).toEqual([1, 1])
  })

  test('twenty with twenty bodies: one is done, the others are told that the key is taken', async () => {
    const key = randomUUID()
    const answers = await Promise.all(
      Array.from({ length: 20 }, (_, n) => insist(key, { name: `Contender ${n}`, standing: 'normal' })),
    )
    expect(answers.map((answer) => answer.status).sort()).toEqual([201, ...Array(19).fill(422)])
    expect(await owners(answers.find((answer) => answer.status === 201)?.body.name)).toBe(1)
    const { rows } = await house.database.pool.query(
      `select count(*)::int as n from owner where name like 'Contender %'`,
    )
    expect(rows[0].n).toBe(1)
  })

  test('and with another key, another signer or another address the same body is another act', async () => {
    const key = randomUUID()
    const body = { name: 'Scoped' }
    const made = [
      await create(key, body),
      await house.as('manager').post('/v1/owners', body, `"${key}"`),
      await create(randomUUID(), body),
    ]
    expect(new Set(made.map((answer) => answer.body.id)).size).toBe(3)
    const elsewhere = await house.as('manager').post('/v1/calibres', { name: key, energy: 'none' }, `"${key}"`)
    expect(elsewhere.status).toBe(201)
  })
})

describe('the same key later', () => {
  test('the same request in another order of its members is the same request', async () => {
    const key = randomUUID()
    const first = await create(key, { name: 'Order', language: 'de', isFirm: true })
    const again = await create(key, { isFirm: true, language: 'de', name: 'Order' })
    expect([again.status, again.headers['idempotent-replayed'], again.body]).toEqual([201, 'true', first.body])
  })

  test('another body: 422, and nothing is written', async () => {
    const key = randomUUID()
    await create(key, { name: 'Once' }).expect(201)
    const other = await create(key, { name: 'Twice' })
    expect([other.status, other.body.type, await owners('Twice')]).toEqual([422, '/problems/idempotency-key-reused', 0])
  })

  test('a refusal takes no key: the mended request may use it', async () => {
    const key = randomUUID()
    const refused = await create(key, { name: 'Mended', contacts: [{ means: 'e-mail', value: 'nobody' }] })
    expect([refused.status, refused.body.errors[0].pointer]).toEqual([400, '#/contacts/0/value'])
    await create(key, { name: 'Mended', contacts: [{ means: 'e-mail', value: 'nobody@example.org' }] }).expect(201)
    expect(await owners('Mended')).toBe(1)
  })

  test.each([
    ['no key', undefined, 'idempotency-key-missing'],
    ['a bare word', 'abc', 'idempotency-key-malformed'],
    ['an empty string', '""', 'idempotency-key-malformed'],
    ['a quote within', '"a"b"', 'idempotency-key-malformed'],
    ['two strings', '"a", "b"', 'idempotency-key-malformed'],
    ['201 characters', `"${'k'.repeat(201)}"`, 'idempotency-key-malformed'],
  ])('%s: 400', async (_title, key, code) => {
    const answer = await house.app.inject({
      method: 'POST',
      url: '/v1/owners',
      headers: { authorization: `Bearer ${house.keys.counter}`, ...(key && { 'idempotency-key': key }) },
      payload: { name: 'Keyless' },
    })
    expect([answer.statusCode, answer.json().type, await owners('Keyless')]).toEqual([400, `/problems/${code}`, 0])
  })
})

test('a connection that is cut in the middle leaves all or nothing, and the repetition settles it', async () => {
  const name = 'Cut off'
  const { port } = house.app.server.address() as { port: number }
  const key = randomUUID()
  // somebody holds the table, so that the request is certainly in the middle of its transaction when it is cut
  const blocker = await house.database.pool.connect()
  await blocker.query('begin')
  await blocker.query('lock table owner in exclusive mode')
  const body = JSON.stringify({ name })
  const socket = connect(port, '127.0.0.1')
  socket.write(
    `POST /v1/owners HTTP/1.1\r\nhost: x\r\nauthorization: Bearer ${house.keys.counter}\r\nidempotency-key: "${key}"\r\ncontent-type: application/json\r\ncontent-length: ${body.length}\r\n\r\n${body}`,
  )
  const waits = `select count(*)::int as n from pg_locks where relation = 'owner'::regclass and not granted and database = (select oid from pg_database where datname = current_database())`
  while ((await house.database.pool.query(waits)).rows[0].n === 0);
  socket.destroy()
  await blocker.query('rollback')
  blocker.release()
  const again = await create(key, { name })
  expect([again.status, await owners(name)]).toEqual([201, 1])
})

test.each([
  ['plainly', '/v1/owners', 'owner', async () => ({ name: 'In flight' })],
  [
    'by SQL',
    '/v1/tickets',
    'watch',
    async () => {
      const owner = (await house.as('counter').post('/v1/owners', { name: 'Flier' }).expect(201)).body.id
      const watch = { maker: 'Norrsken', kind: 'quartz', ownerId: owner }
      const { id } = (await house.as('counter').post('/v1/watches', watch).expect(201)).body
      return { owner: { id: owner }, watch: { id }, complaint: 'stopped', place: 'counter' }
    },
  ],
] as const)(
  'the first still runs (%s): 409 and when to come again; the first itself waits longer for what it needs',
  async (_title, url, table, body) => {
    const [key, sent] = [`"${randomUUID()}"`, await body()]
    const blocker = await house.database.pool.connect()
    await blocker.query(`begin; lock table ${table} in exclusive mode`)
    const first = house.as('counter').post(url, sent, key)
    // supertest sends when it is waited for
    const answered = first.then((answer) => answer)
    const waits = `select count(*)::int as n from pg_locks where relation = $1::regclass and not granted and database = (select oid from pg_database where datname = current_database())`
    while ((await house.database.pool.query(waits, [table])).rows[0].n === 0);
    const second = await house.as('counter').post(url, sent, key)
    expect([second.status, second.body.type, second.headers['retry-after']]).toEqual([
      409,
      '/problems/idempotency-key-in-flight',
      '2',
    ])
    await blocker.query('rollback')
    blocker.release()
    const { status, body: made } = await answered
    expect([status, typeof made.id]).toEqual([201, 'string'])
    const again = await house.as('counter').post(url, sent, key)
    expect([again.status, again.body.id, again.headers['idempotent-replayed']]).toEqual([201, made.id, 'true'])
  },
)

describe('If-Match', () => {
  const owner = async () => (await house.as('counter').post('/v1/owners', { name: 'Edited' }).expect(201)).body.id
  const edit = (id: string, tag: string, language = 'fr') =>
    house.as('counter').patch(`/v1/owners/${id}`, { language }, tag)

  test('twenty edits of one version: one is done, nineteen are told to read again', async () => {
    const id = await owner()
    const answers = await Promise.all(
      Array.from({ length: 20 }, (_, n) => edit(id, '"v1"', ['de', 'fr', 'es', 'pt'][n % 4])),
    )
    expect(answers.map((answer) => answer.status).sort()).toEqual([200, ...Array(19).fill(412)])
    const now = await house.as('counter').get(`/v1/owners/${id}`)
    expect([now.headers.etag, now.body.language]).toEqual([
      '"v2"',
      answers.find((answer) => answer.status === 200)?.body.language,
    ])
    const { rows } = await house.database.pool.query(`select count(*)::int as n from edit where record_id = $1`, [id])
    expect(rows[0].n).toBe(1)
  })

  // RFC 9110 8.8.3.2: under strong comparison a weak tag never matches, not even its like
  test.each([
    ['"v1"', 200],
    ['W/"v1"', 412],
    ['"v2"', 412],
    ['"v9", "v1"', 200],
    ['W/"v1", "v2"', 412],
    ['*', 200],
    ['v1', 412],
  ])('%s on version 1: %d', async (tag, status) => {
    expect((await edit(await owner(), tag)).status).toBe(status)
  })

  test('none at all: 428', async () => {
    const answer = await house.app.inject({
      method: 'PATCH',
      url: `/v1/owners/${await owner()}`,
      headers: { authorization: `Bearer ${house.keys.counter}` },
      payload: { language: 'de' },
    })
    expect([answer.statusCode, answer.json().type]).toEqual([428, '/problems/if-match-missing'])
  })
})

test('keys are forgotten after the 24 hours that the description tells, and no sooner', async () => {
  const description = (await house.app.inject('/openapi.json')).json().info.description
  expect(description).toContain('kept for 24 hours')
  const aged = async (key: string, hours: number) => {
    await create(key, { name: `Aged ${hours}` }).expect(201)
    const made = new Date(house.service.clock.now().getTime() - hours * 3_600_000)
    await house.database.pool.query('update idempotency_key set created_at = $2 where key = $1', [key, made])
  }
  await aged('young', 23.99)
  await aged('old', 24.01)
  await forgetOldKeys(house.service)
  expect((await create('young', { name: 'Aged 23.99' })).headers['idempotent-replayed']).toBe('true')
  expect((await create('old', { name: 'Aged 24.01' })).headers['idempotent-replayed']).toBeUndefined()
})
