import { readdir, readFile } from 'node:fs/promises'
import path from 'node:path'
import pg from 'pg'
import supertest from 'supertest'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { buildApp } from '../../src/app.ts'
import { refusalOf } from '../../src/http/problems.ts'
import { type House, openHouse } from '../support/house.ts'

let house: House

beforeAll(async () => {
  house = await openHouse()
})
afterAll(() => house.close())

describe('what is not there', () => {
  test.each([
    ['GET', '/nothing', 404],
    ['DELETE', '/v1/owners', 405],
    ['PUT', '/v1/watches/01890000-0000-7000-8000-000000000000', 405],
  ])('%s %s is a problem of %d', async (method, path, status) => {
    const answer = await supertest(house.app.server)[method.toLowerCase() as 'get'](path)
    expect([answer.status, answer.type]).toEqual([status, 'application/problem+json'])
    if (status === 405) expect(answer.headers.allow).toMatch(/GET/)
  })

  test('every problem type has an address that explains it', async () => {
    const { body } = await supertest(house.app.server).get('/problems/fact-in-future').expect(200)
    expect(body).toEqual({ type: '/problems/fact-in-future', title: 'Fact in future', status: 400 })
  })
})

describe('bodies that are none', () => {
  test.each([
    ['no JSON', '{"name', 'application/json', 400, 'not-json'],
    ['nothing', '', 'application/json', 400, 'not-json'],
    ['another type', 'a=b', 'application/x-www-form-urlencoded', 415, 'unsupported-media-type'],
    ['plain text', 'hello', 'text/plain', 415, 'unsupported-media-type'],
    ['a tab in the type', '{}', 'application/json\ta', 415, 'unsupported-media-type'],
    ['too much', `{"name":"${'x'.repeat(300_000)}"}`, 'application/json', 413, 'body-too-large'],
    ['a prototype', '{"name":"a","__proto__":{"x":1}}', 'application/json', 400, 'faulty-input'],
    ['half of a surrogate pair', '{"name":"a\\ud800b"}', 'application/json', 400, 'faulty-input'],
    ['a zero byte', '{"name":"a\\u0000b"}', 'application/json', 400, 'faulty-input'],
  ])('%s', async (_title, body, type, status, code) => {
    const answer = await supertest(house.app.server)
      .post('/v1/owners')
      .set('authorization', `Bearer ${house.keys.counter}`)
      .set('idempotency-key', '"a"')
      .set('content-type', type)
      .send(body)
    expect([answer.status, answer.body.type]).toEqual([status, `/problems/${code}`])
  })
})

test('an answer carries the request’s id, asked for or given, and no cache keeps it', async () => {
  const given = await house.as('counter').get('/v1/owners').set('x-request-id', 'counter-7.0001')
  expect([given.headers['x-request-id'], given.headers['cache-control']]).toEqual(['counter-7.0001', 'no-store'])
  const refused = await house.as('counter').get('/v1/owners').set('x-request-id', 'a b\tc')
  expect(refused.headers['x-request-id']).toMatch(/^[0-9a-f-]{36}$/)
})

test('metrics, health and the readable description answer without a key', async () => {
  for (const path of ['/livez', '/readyz', '/metrics', '/docs', '/openapi.json'])
    await supertest(house.app.server).get(path).expect(200)
})

test('every Location that an answer may carry is an address that can be read', async () => {
  const folder = path.join(import.meta.dirname, '../../src/features')
  const named = new Set<string>()
  for (const file of await readdir(folder, { recursive: true })) {
    if (!file.endsWith('.ts')) continue
    for (const [, location] of (await readFile(path.join(folder, file), 'utf8')).matchAll(
      /location: ?[`']([^`']+)[`']/g,
    ))
      named.add((location as string).replace(/\$\{[^}]*\}/g, '{}'))
  }
  expect(named.size).toBeGreaterThan(25)
  const { body } = await supertest(house.app.server).get('/openapi.json').expect(200)
  const readable = new Set(
    Object.entries(body.paths as Record<string, object>).flatMap(([address, operations]) =>
      'get' in operations ? [address.replace(/\{[^}]*\}/g, '{}')] : [],
    ),
  )
  expect([...named].filter((location) => !readable.has(location))).toEqual([])
})

describe('a database that is away for a moment is a refusal to come again, not a fault of ours', () => {
  const asked = async (pool: pg.Pool, after = () => {}) => {
    pool.on('error', () => {})
    const app = await buildApp({ ...house.service, database: { ...house.database, pool } })
    try {
      const answer = await app.inject({
        method: 'GET',
        url: '/v1/owners',
        headers: { authorization: `Bearer ${house.keys.counter}` },
      })
      return [answer.statusCode, answer.json().type, answer.headers['retry-after']]
    } finally {
      after()
      await app.close()
      await pool.end()
    }
  }
  const busy = [503, '/problems/service-busy', '2']

  test('all its connections are taken', async () => {
    const pool = new pg.Pool({ connectionString: house.databaseUrl, max: 1 })
    const taken = await pool.connect()
    pool.options.connectionTimeoutMillis = 20
    expect(await asked(pool, () => taken.release())).toEqual(busy)
  })

  test('its name is not found, or nobody listens there', async () => {
    expect(await asked(new pg.Pool({ host: 'database.invalid' }))).toEqual(busy)
    expect(await asked(new pg.Pool({ host: '127.0.0.1', port: 1 }))).toEqual(busy)
  })

  test('somebody ends what it was doing', async () => {
    const blocker = await house.database.pool.connect()
    await blocker.query('begin; lock table owner in exclusive mode')
    const answer = house
      .as('counter')
      .post('/v1/owners', { name: 'Cancelled' })
      .then((one) => one)
    const cancel = `select pg_cancel_backend(pid) from pg_locks where relation = 'owner'::regclass and not granted and database = (select oid from pg_database where datname = current_database())`
    while ((await house.database.pool.query(cancel)).rowCount === 0);
    const { status, body, headers } = await answer
    await blocker.query('rollback')
    blocker.release()
    expect([status, body.type, headers['retry-after']]).toEqual(busy)
  })

  // codes of Node's system errors (errno(3)) and of PostgreSQL (its Appendix A)
  test.each(['EPIPE', 'ETIMEDOUT', 'EAI_AGAIN', 'EHOSTUNREACH', 'ENETUNREACH', '57P02', '57P05', '25P03', '08006'])(
    '%s, from pg and from within Prisma',
    (code) => {
      expect(refusalOf(Object.assign(new Error('it broke'), { code })).code).toBe('service-busy')
      const within = { code: 'P2010', meta: { driverAdapterError: { cause: { originalCode: code } } } }
      expect(refusalOf(/^E/.test(code) ? new Error(`connect ${code} 192.0.2.1`) : within).code).toBe('service-busy')
    },
  )
})
