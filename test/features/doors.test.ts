import { readdir, readFile } from 'node:fs/promises'
import path from 'node:path'
import supertest from 'supertest'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
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
