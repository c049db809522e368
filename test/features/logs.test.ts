import { Writable } from 'node:stream'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { buildApp } from '../../src/app.ts'
import { tickHousekeeping } from '../../src/jobs/housekeeping.ts'
import { makeLog } from '../../src/log.ts'
import { hostile } from '../support/any-body.ts'
import { type House, openHouse } from '../support/house.ts'

/** Canaries: a name, addresses, a number and secrets planted wherever one can come in; no line of the log may sing. */
const name = 'Zacharina Quillfeather'
const mail = 'zq.canary@heron.example.org'
const phone = '+41446681877'
const street = 'Larkspur Lane 77'
const secret = 'canary-secret-of-the-caller'
const canaries = [name, 'Quillfeather', mail, 'zq.canary', '446681877', street, 'Larkspur', secret, 'heron.example']

let house: House
let lines: string[]
let app: Awaited<ReturnType<typeof buildApp>>
beforeAll(async () => {
  house = await openHouse()
  lines = []
  const sink = new Writable({
    write: (chunk, _encoding, done) => {
      lines.push(String(chunk))
      done()
    },
  })
  app = await buildApp({ ...house.service, log: makeLog('debug', sink as never) })
})
afterAll(async () => {
  await app.close()
  await house.close()
})

const problems: string[] = []
async function ask(method: 'GET' | 'POST' | 'PATCH', url: string, payload?: object | string, headers: object = {}) {
  const answer = await app.inject({
    method,
    url,
    headers: {
      authorization: `Bearer ${house.keys.manager}`,
      'idempotency-key': `"${problems.length}-${lines.length}-${Math.round(performance.now() * 1000)}"`,
      'if-match': '*',
      'content-type': 'application/json',
      ...headers,
    },
    ...(payload !== undefined && { payload }),
  })
  if (answer.statusCode >= 400) problems.push(answer.body)
  return answer
}
const sings = (text: string) => canaries.filter((canary) => text.toLowerCase().includes(canary.toLowerCase()))

test('at level debug, over good requests, refusals and faults, no line of the log and no problem tells a person or a secret', async () => {
  const contacts = [
    { means: 'e-mail', value: mail },
    { means: 'phone', value: phone },
    { means: 'post', value: street },
  ]
  const owner = (await ask('POST', '/v1/owners', { name, contacts })).json().id
  expect(owner).toMatch(/^[0-9a-f-]{36}$/)
  await ask('GET', `/v1/owners?search=${encodeURIComponent(name)}`)
  await ask('GET', `/v1/owners?search=${encodeURIComponent(mail)}&limit=0`)
  await ask('GET', `/v1/owners/${encodeURIComponent(mail)}`)
  await ask('GET', `/${encodeURIComponent(name)}/${mail}`)
  await ask('PATCH', `/v1/owners/${owner}`, { name: `${name} II`, reason: street })
  await ask('POST', '/v1/owners', { name, contacts })
  await ask('POST', '/v1/owners', { name, [mail]: 1, standing: mail, contacts: [{ means: name, value: mail }] })
  await ask('POST', '/v1/owners', `{"name": "${name}", "contacts": [${mail}`)
  await ask('POST', '/v1/owners', `name=${name}`, { 'content-type': 'text/plain' })
  await ask('POST', `/v1/owners/${owner}/deceased`, { toldBy: name })
  await ask('POST', '/v1/staff-keys', { name: 'Canary', role: 'bench' }, { authorization: `Bearer ${secret}` })
  await ask('POST', '/v1/owners', { name }, { 'idempotency-key': mail, authorization: `Basic ${secret}` })
  await ask('GET', `/v1/owners?token=${secret}`)
  await ask('GET', '/v1/owners', undefined, {
    'x-request-id': mail,
    cookie: secret,
    referer: `https://${mail}/${secret}`,
  })
  for (const way of ['/your-letters', '/your-watches'])
    await ask('GET', `${way}/${secret}${'A'.repeat(43 - secret.length)}`)
  for (const text of hostile.filter((one) => !one.includes('\ud800')))
    await ask('POST', '/v1/owners', { name: `${name}${text}`, [text]: mail })

  // faults of ours, from below: the database says what it was given
  const { pool, prisma } = house.database
  const query = pool.query.bind(pool)
  const broken = new Error(`duplicate key: (value)=(${mail}) near "${mail}"`)
  broken.stack = `Error: ${mail}\n    at somewhere`
  Object.assign(pool, {
    query: (...args: unknown[]) =>
      JSON.stringify(args[0])?.includes('staff-key') ? query(...(args as [string])) : Promise.reject(broken),
  })
  await ask('GET', '/v1/cell-sizes')
  await ask('GET', `/v1/owners/${owner}/export`)
  await ask('GET', '/readyz')
  Object.assign(pool, { query })
  await prisma.$executeRawUnsafe('alter table owner add constraint never_again check (name is null) not valid')
  const fault = await ask('POST', '/v1/owners', { name, confirmedNew: true, contacts })
  expect(fault.statusCode).toBe(500)
  await prisma.$executeRawUnsafe('alter table owner drop constraint never_again')
  await tickHousekeeping({ ...house.service, log: app.log })

  expect(lines.length).toBeGreaterThan(40)
  expect(lines.some((line) => line.includes('request failed'))).toBe(true)
  for (const line of lines) expect(sings(line), line).toEqual([])
  // a problem may give back the address that was asked for in an id, never what is on file or a secret
  expect(problems.length).toBeGreaterThan(30)
  const told = problems.map((problem) => ({
    problem,
    sung: sings(problem).filter(
      (canary) => canary === secret || ![name, 'Quillfeather', mail, 'zq.canary', 'heron.example'].includes(canary),
    ),
  }))
  for (const { problem, sung } of told) expect(sung, problem).toEqual([])
  expect(sings(fault.body)).toEqual([])
})
