import supertest from 'supertest'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { type House, openHouse } from '../support/house.ts'

let house: House
beforeAll(async () => {
  house = await openHouse()
})
afterAll(() => house.close())

test('a key works until it is revoked, and is refused from that moment on', async () => {
  const made = await house.as('manager').post('/v1/staff-keys', { name: 'Bench three', role: 'bench' }).expect(201)
  const call = () => supertest(house.app.server).get('/v1/staff-keys').set('authorization', `Bearer ${made.body.key}`)
  expect((await call()).body).toMatchObject({ type: '/problems/role-refused', status: 403, role: 'bench' })
  await house.as('manager').post(`/v1/staff-keys/${made.body.id}/revocation`).expect(200)
  const after = await call()
  expect(after.status).toBe(401)
  expect(after.headers['www-authenticate']).toBe('Bearer')
  expect(after.headers['content-type']).toMatch(/^application\/problem\+json/)
})

test('the secret is stored hashed and shown once: a repeated request is answered without it', async () => {
  const first = await house
    .as('manager')
    .post('/v1/staff-keys', { name: 'Counter two', role: 'counter' }, '"once"')
    .expect(201)
  const again = await house
    .as('manager')
    .post('/v1/staff-keys', { role: 'counter', name: 'Counter two' }, '"once"')
    .expect(201)
  expect(again.body).toEqual({ ...first.body, key: null })
  expect(again.headers['idempotent-replayed']).toBe('true')
  const secret = first.body.key.split('_').slice(2).join('_')
  const { rows } = await house.database.pool.query(
    'select count(*)::int as n from staff_key where position($1::bytea in secret_hash) > 0',
    [Buffer.from(secret)],
  )
  expect(rows[0].n).toBe(0)
})

test('the last manager key cannot be revoked', async () => {
  const { body } = await house.as('manager').get('/v1/staff-keys').expect(200)
  const manager = body.items.find((key: { role: string }) => key.role === 'manager')
  const answer = await house.as('manager').post(`/v1/staff-keys/${manager.id}/revocation`)
  expect(answer.body).toMatchObject({ type: '/problems/manager-key-last', status: 409 })
})

test.each([
  ['no key', undefined, '"k"', { name: 'X', role: 'bench' }, 401, 'key-missing'],
  ['a malformed key', 'Bearer nonsense', '"k"', { name: 'X', role: 'bench' }, 401, 'key-refused'],
  ['no Idempotency-Key', 'manager', undefined, { name: 'X', role: 'bench' }, 400, 'idempotency-key-missing'],
  ['an Idempotency-Key without quotes', 'manager', 'k', { name: 'X', role: 'bench' }, 400, 'idempotency-key-malformed'],
  ['faulty input', 'manager', '"k"', { name: '', role: 'boss', extra: 1 }, 400, 'faulty-input'],
])('%s is refused with a problem', async (_title, authorization, key, body, status, code) => {
  let call = supertest(house.app.server).post('/v1/staff-keys')
  if (authorization)
    call = call.set('authorization', authorization === 'manager' ? `Bearer ${house.keys.manager}` : authorization)
  if (key) call = call.set('idempotency-key', key)
  const answer = await call.send(body)
  expect([answer.status, answer.body.type]).toEqual([status, `/problems/${code}`])
})

test('the same key with another body is refused, and so is a second request while the first is worked on', async () => {
  await house.as('manager').post('/v1/staff-keys', { name: 'A', role: 'bench' }, '"twice"').expect(201)
  const other = await house.as('manager').post('/v1/staff-keys', { name: 'B', role: 'bench' }, '"twice"')
  expect([other.status, other.body.type]).toEqual([422, '/problems/idempotency-key-reused'])

  const blocker = await house.database.pool.connect()
  try {
    const { rows } = await blocker.query('select staff_key_id from idempotency_key limit 1')
    await blocker.query('begin')
    await blocker.query(
      `insert into idempotency_key (staff_key_id, route, key, fingerprint) values ($1, 'POST /v1/staff-keys', 'busy', '\\x00')`,
      [rows[0].staff_key_id],
    )
    const waiting = await house.as('manager').post('/v1/staff-keys', { name: 'C', role: 'bench' }, '"busy"')
    expect([waiting.status, waiting.body.type]).toEqual([409, '/problems/idempotency-key-in-flight'])
  } finally {
    await blocker.query('rollback')
    blocker.release()
  }
})

test('pages follow one another by Link and show every key once', async () => {
  for (let n = 0; n < 5; n++)
    await house
      .as('manager')
      .post('/v1/staff-keys', { name: `Page ${n}`, role: 'stock' })
      .expect(201)
  const seen: string[] = []
  let next: string | undefined = '/v1/staff-keys?limit=2'
  while (next) {
    const answer: supertest.Response = await house.as('manager').get(next).expect(200)
    seen.push(...answer.body.items.map((item: { id: string }) => item.id))
    next = /<([^>]+)>; rel="next"/.exec(answer.headers.link ?? '')?.[1]
  }
  const { rows } = await house.database.pool.query('select id from staff_key order by id')
  expect(seen).toEqual(rows.map((row) => row.id))
  const carried = await house.as('manager').get('/v1/staff-keys?after=WyJ4IiwieSJd')
  expect(carried.body.type).toBe('/problems/cursor-refused')
})
