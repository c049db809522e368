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
