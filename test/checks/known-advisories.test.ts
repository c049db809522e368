import { readFileSync } from 'node:fs'
import { expect, test } from 'vitest'

/**
 * Versions below which a published advisory about something that we use applies. `npm audit` says more where the registry
 * answers it; this holds wherever the tests run, for every copy of a package in the lock file that goes to production, also
 * a nested one. (mailauth, an oracle of the tests, brings an older nodemailer of its own, which sends nothing.)
 */
const floors: [name: string, version: string, advisory: string][] = [
  ['nodemailer', '10.4.1', 'CVE-2026-125755: a recipient is cut at a comment and goes to another domain'],
  ['nodemailer', '10.1.4', 'CVE-2026-121424: nested comments and groups lead to other recipients'],
  ['nodemailer', '8.0.9', 'CVE-2026-82661: line breaks in List-* comments become headers'],
  ['fastify', '5.12.1', 'CVE-2026-16732: the number of proxies trusted is spoofed'],
  ['fastify', '5.8.5', 'CVE-2026-33806: a leading space skips the check of a body'],
  ['fastify', '5.8.3', 'CVE-2026-3635: X-Forwarded headers are believed'],
  ['fastify', '5.7.3', 'CVE-2026-25223: a tab in Content-Type skips the check of a body'],
  ['node-cron', '4.4.1', 'node-cron/node-cron#492: a change of clocks spins the loop'],
]

const { packages } = JSON.parse(readFileSync(new URL('../../package-lock.json', import.meta.url), 'utf8')) as {
  packages: Record<string, { version?: string; dev?: boolean }>
}
const parts = (version: string) => version.split(/[.-]/).map(Number)
const atLeast = (version: string, floor: string) => {
  const [a, b] = [parts(version), parts(floor)]
  for (let n = 0; n < 3; n++) if (a[n] !== b[n]) return (a[n] ?? 0) > (b[n] ?? 0)
  return true
}

test.each(floors)('%s is at %s or later (%s)', (name, floor) => {
  const versions = Object.entries(packages)
    .filter(
      ([path, { dev }]) => dev !== true && (path === `node_modules/${name}` || path.endsWith(`/node_modules/${name}`)),
    )
    .map(([, one]) => one.version ?? '0')
  expect(versions.length).toBeGreaterThan(0)
  for (const version of versions) expect(atLeast(version, floor), version).toBe(true)
})

test('versions are compared by number, not by letter', () => {
  expect([atLeast('10.0.0', '9.9.9'), atLeast('5.7.10', '5.7.3'), atLeast('5.7.2', '5.7.3')]).toEqual([
    true,
    true,
    false,
  ])
})
