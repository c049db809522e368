import { readFileSync } from 'node:fs'
import { expect, test } from 'vitest'
import { readConfig } from '../src/config.ts'

test('everything has a default that works on one machine', () => {
  const reading = readConfig({})
  expect(reading.ok && reading.config).toMatchObject({
    http: { host: '127.0.0.1', port: 8080 },
    centre: { timeZone: 'UTC' },
    jobs: { on: true, nightlyAt: '02:30' },
  })
  expect(reading.ok && reading.config.database.url).toBeUndefined()
})

test('a blank setting is an unset one', () => {
  const reading = readConfig({ PORT: '', DATABASE_URL: ' ', SMTP_URL: '' })
  expect(reading.ok && reading.config.http.port).toBe(8080)
})

test('every fault is told at once, by name and in plain words', () => {
  const reading = readConfig({
    PORT: 'eighty',
    CENTRE_TIME_ZONE: 'Europe/Nowhere',
    DATABASE_URL: 'mysql://x',
    NIGHTLY_AT: '25:00',
    FIRST_MANAGER_KEY: 'short',
    LETTERS_IN_DOUBT: 'maybe',
    LOG_LEVEL: 'loud',
  })
  expect(reading.ok).toBe(false)
  const faults = reading.ok ? [] : reading.faults
  expect(faults.map((fault) => fault.split(' ')[0]).sort()).toEqual([
    'CENTRE_TIME_ZONE',
    'DATABASE_URL',
    'FIRST_MANAGER_KEY',
    'LETTERS_IN_DOUBT',
    'LOG_LEVEL',
    'NIGHTLY_AT',
    'PORT',
  ])
  for (const fault of faults) expect(fault).not.toMatch(/Invalid|undefined|NaN/)
})

test('settings that go together are asked for together', () => {
  const reading = readConfig({
    SMTP_URL: 'smtp://localhost:25',
    DKIM_DOMAIN: 'example.org',
    TRUSTED_PROXIES: '10.0.0.0/8, proxy',
  })
  expect(reading.ok ? [] : reading.faults.map((fault) => fault.split(' ')[0])).toEqual([
    'LETTERS_FROM',
    'DKIM_DOMAIN',
    'TRUSTED_PROXIES',
  ])
})

test.each(['10.0.0.0/33', '10.0.0.0/', '::1/129', '10.0.0.0/8/8', '10.0.0.0/-1', '10.0.0.0/8x'])(
  'a range of proxies that is none is told: %s',
  (range) => {
    const reading = readConfig({ TRUSTED_PROXIES: `10.0.0.0/8, ::1/128, 192.0.2.1, ${range}` })
    expect(reading).toEqual({
      ok: false,
      faults: [`TRUSTED_PROXIES has "${range}", which is not an address or CIDR range`],
    })
  },
)

test('a key file that is not there, or holds no key, is told with the other faults', () => {
  for (const file of ['/nowhere/dkim.pem', import.meta.filename]) {
    const env = { DKIM_DOMAIN: 'example.org', DKIM_SELECTOR: 'a', DKIM_KEY_FILE: file }
    expect(readConfig(env)).toEqual({
      ok: false,
      faults: [`DKIM_KEY_FILE names ${file}, where no PEM private key can be read`],
    })
  }
})

test('every name that is read is explained in .env.example, which docker compose passes on whole', () => {
  const read = [...readFileSync('src/config.ts', 'utf8').matchAll(/^ {4}([A-Z_]+): /gm)].map((found) => found[1])
  const explained = [...readFileSync('.env.example', 'utf8').matchAll(/^(?:# )?([A-Z_]+)=/gm)].map((found) => found[1])
  expect(read.length).toBeGreaterThan(25)
  expect(explained.sort()).toEqual(read.sort())
  expect(readFileSync('docker-compose.yml', 'utf8')).toMatch(/env_file:\n\s+- path: \.env\n/)
})
