import { createHash, randomBytes, randomUUID } from 'node:crypto'
import fc from 'fast-check'
import Fastify from 'fastify'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { registerGuard } from '../../src/http/guard.ts'
import { type Role, roles } from '../../src/http/service.ts'
import { anyOf, granted } from '../support/any-body.ts'
import { type Description, describedBy, filled, type Operation } from '../support/description.ts'
import { type House, openHouse } from '../support/house.ts'

/** Who may do what, over every operation that the API describes: routes that come later are asked without a line here. */
let house: House
let description: Description
let keyed: (Operation & { roles: readonly Role[] })[]
beforeAll(async () => {
  house = await openHouse()
  description = await describedBy(house.app)
  keyed = description.operations.filter((one): one is (typeof keyed)[number] => Array.isArray(one.roles))
})
afterAll(() => house.close())

const nobody = '01890000-0000-7000-8000-000000000000'
const inPath = (operation: Operation, name: string) => {
  const schema = operation.parameters.find((one) => one.name === name)?.schema
  if (schema?.format === 'date') return '1999-01-01'
  return schema?.type === 'integer' ? '1' : nobody
}
let addresses = 0
/** each from its own address, so that the brake on failed keys, which is tried apart, does not answer in their place */
const ask = (operation: Operation, headers: Record<string, string>, body?: unknown, query = '') => {
  addresses += 1
  return house.app.inject({
    method: operation.method,
    url: filled(operation.path, (name) => inPath(operation, name)) + query,
    remoteAddress: `10.${addresses >> 16}.${(addresses >> 8) & 255}.${addresses & 255}`,
    headers: { 'idempotency-key': `"${randomUUID()}"`, 'if-match': '*', ...headers },
    ...(body !== undefined && { payload: body as object }),
  })
}
/** Bodies with a rule that no schema tells: a lot, or why it is not known. */
const madeByHand: Record<string, object> = {
  'POST /v1/tickets/{ticket}/seal-replacements': {
    seals: [{ position: 'case back', lotUnknownBecause: 'an old drawer' }],
  },
  'POST /v1/tickets/{ticket}/cell-fittings': { designation: 'SR626SW', lotUnknownBecause: 'an old drawer' },
}
const answered = (answer: Awaited<ReturnType<typeof ask>>) => [answer.statusCode, answer.json().type]

async function key(role: Role, ended: { expires_at?: Date; revoked_at?: Date }): Promise<string> {
  const id = randomUUID()
  const secret = randomBytes(32).toString('base64url')
  await house.database.pool.query(
    `insert into staff_key (id, name, role, secret_hash, created_by, expires_at, revoked_at, revoked_by) values ($1, 'a key that ended', $2, $3, 'test', $4, $5, $6)`,
    [
      id,
      role,
      createHash('sha256').update(secret).digest(),
      ended.expires_at ?? null,
      ended.revoked_at ?? null,
      ended.revoked_at ? 'test' : null,
    ],
  )
  return `Bearer mp_${id.replaceAll('-', '')}_${secret}`
}

describe('every operation that wants a key', () => {
  test('refuses who has none, a malformed, an unknown, a foreign, a revoked and an expired one', async () => {
    expect(keyed.length).toBeGreaterThan(30)
    const secret = house.keys.manager.split('_').slice(2).join('_')
    const ended = {
      'a revoked one': await key('manager', { revoked_at: new Date('2026-11-24T00:00:00Z') }),
      'one that has just expired': await key('manager', { expires_at: new Date('2026-11-25T12:00:00Z') }),
    }
    const refused: Record<string, string> = {
      'a malformed one': 'Bearer nonsense',
      'another scheme': `Basic ${Buffer.from(`a:${house.keys.manager}`).toString('base64')}`,
      'an unknown id': `Bearer mp_${'0'.repeat(32)}_${secret}`,
      'another secret': house.keys.manager.replace(secret, 'A'.repeat(43)).replace(/^/, 'Bearer '),
      'two keys': `Bearer ${house.keys.manager}, Bearer ${house.keys.manager}`,
      'a statement for its id': `Bearer mp_' or true--_${secret}`,
      ...ended,
    }
    const wrong: string[] = []
    for (const operation of keyed) {
      const none = await ask(operation, {})
      if (answered(none).join() !== '401,/problems/key-missing' || none.headers['www-authenticate'] !== 'Bearer')
        wrong.push(`${operation.name}, no key: ${answered(none)}`)
      for (const [what, authorization] of Object.entries(refused)) {
        const answer = await ask(operation, { authorization })
        if (answered(answer).join() !== '401,/problems/key-refused')
          wrong.push(`${operation.name}, ${what}: ${answered(answer)}`)
      }
    }
    expect(wrong).toEqual([])
  })

  test('refuses every role it does not state, and not those it does', async () => {
    const wrong: string[] = []
    for (const operation of keyed)
      for (const role of roles) {
        const answer = await ask(operation, { authorization: `Bearer ${house.keys[role]}` })
        const refused = answered(answer).join() === '403,/problems/role-refused'
        if (refused === operation.roles.includes(role)) wrong.push(`${role} ${operation.name}: ${answered(answer)}`)
      }
    expect(wrong).toEqual([])
  })

  test('answers 404 where the thing named in its address is not there, whatever the body asks', async () => {
    const wrong: string[] = []
    const named = keyed.filter((one) => one.path.includes('{'))
    expect(named.length).toBeGreaterThan(15)
    for (const operation of named) {
      const role = operation.roles.at(-1) as Role
      const schema = operation.bodies['application/json']?.schema
      // some bodies that fit the schema are still refused for what a schema cannot say; one of many is not
      const made = schema ? fc.sample(anyOf(schema, 0), 40) : [undefined]
      const bodies = operation.name in madeByHand ? [madeByHand[operation.name]] : made
      const met = new Set<string>()
      for (const body of bodies) {
        const answer = await ask(
          operation,
          { authorization: `Bearer ${house.keys[role]}` },
          granted(body, () => randomUUID()),
        )
        met.add(answered(answer).join())
        if (answer.statusCode !== 400) break
      }
      if (![...met].includes('404,/problems/not-found')) wrong.push(`${operation.name}: ${[...met]}`)
    }
    expect(wrong).toEqual([])
  })
})

describe('keys', () => {
  test('a revoked key is refused at the very next request', async () => {
    const made = (await house.as('manager').post('/v1/staff-keys', { name: 'short', role: 'bench' }).expect(201)).body
    const authorization = `Bearer ${made.key}`
    expect((await house.app.inject({ url: '/v1/watches', headers: { authorization } })).statusCode).toBe(200)
    await house.as('manager').post(`/v1/staff-keys/${made.id}/revocation`).expect(200)
    expect((await house.app.inject({ url: '/v1/watches', headers: { authorization } })).statusCode).toBe(401)
  })

  test('twenty failed keys a minute from one address, then 429 with the time to wait; a good key still passes from there', async () => {
    const from = { remoteAddress: '192.0.2.7', url: '/v1/owners' }
    const answers: number[] = []
    for (let n = 0; n < 22; n++)
      answers.push((await house.app.inject({ ...from, headers: { authorization: 'Bearer guess' } })).statusCode)
    expect(answers).toEqual([...Array(20).fill(401), 429, 429])
    const waiting = await house.app.inject({ ...from, headers: { authorization: 'Bearer guess' } })
    expect(Number(waiting.headers['retry-after'])).toBeGreaterThan(0)
    const good = await house.app.inject({ ...from, headers: { authorization: `Bearer ${house.keys.counter}` } })
    expect(good.statusCode).toBe(200)
  })
})

describe('the pages of every list', () => {
  type List = Operation & { roles: readonly Role[] }
  /** A cursor as the service makes it, for the list without any filter. */
  const cursor = (list: List, values: readonly unknown[]) => {
    const route = list.path.replaceAll('{', ':').replaceAll('}', '')
    const params = Object.fromEntries(
      [...list.path.matchAll(/\{(\w+)\}/g)].map(([, name]) => [name, inPath(list, name ?? '')]),
    )
    const asked = list.parameters
      .filter((one) => one.in === 'query' && (one.required || one.schema.default !== undefined) && one.name !== 'limit')
      .map((one) => [one.name, one.schema.default ?? 'ab'])
    const mark = createHash('sha256').update(`${route} ${JSON.stringify(params)} ${JSON.stringify(asked.sort())}`)
    const after = Buffer.from(JSON.stringify([mark.digest('base64url').slice(0, 12), ...values])).toString('base64url')
    const required = list.parameters.filter((one) => one.in === 'query' && one.required).map((one) => `&${one.name}=ab`)
    return `?after=${after}${required.join('')}`
  }

  test('begin after what a list is sorted by, and an edited cursor is refused at the door', async () => {
    const lists = keyed.filter((one) => one.parameters.some((parameter) => parameter.name === 'after'))
    expect(lists.length).toBeGreaterThan(20)
    const from = async (list: List, values: readonly unknown[]) => {
      const authorization = `Bearer ${house.keys[list.roles[0] as Role]}`
      return answered(await ask(list, { authorization }, undefined, cursor(list, values)))
    }
    const sorted = [[nobody], ['2026-11-25'], ['2026-11-25', nobody], [5]]
    const never = ['\u0000', '\ud800', 5.5, -1, 1e300, null, {}, ['2026-11-25']]
    const noIdOrDay = ['x', '', '2026-02-30', '2026-11-25x', `${nobody}0`]
    const wrong: string[] = []
    for (const list of lists) {
      const answers = await Promise.all(sorted.map((values) => from(list, values)))
      const good: unknown[] = sorted.find((_, i) => answers[i]?.[0] !== 400) ?? []
      if (good.length === 0) wrong.push(`${list.name} takes no cursor: ${answers.join(' ')}`)
      const edited: unknown[][] = []
      for (const i of good.keys()) {
        const byName = (await from(list, good.with(i, 'Name')))[0] !== 400
        edited.push(...[...never, ...(byName ? [] : noIdOrDay)].map((one) => good.with(i, one)))
      }
      for (const values of [...edited, [], [...good, nobody]]) {
        const answer = await from(list, values)
        if (answer.join() !== '400,/problems/cursor-refused')
          wrong.push(`${list.name} ${JSON.stringify(values)}: ${answer}`)
      }
    }
    expect(wrong).toEqual([])
  })
})

describe('the description', () => {
  test('has a stated audience for every operation', () => {
    for (const { name, roles: stated } of description.operations)
      expect(Array.isArray(stated) ? stated.length > 0 : stated === 'public' || stated === 'owner-link', name).toBe(
        true,
      )
  })

  test('a route that does not state its roles stops the start', () => {
    const app = Fastify()
    registerGuard(app, house.service)
    expect(() => app.get('/v1/unstated', () => 'x')).toThrow('GET /v1/unstated does not state its roles')
  })
})
