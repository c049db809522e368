import { readFile } from 'node:fs/promises'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { sealHistory } from '../../src/db/history.ts'
import { type House, openHouse } from '../support/house.ts'

let house: House
beforeAll(async () => {
  house = await openHouse()
})
afterAll(() => house.close())

const metrics = async () => (await house.app.inject('/metrics')).body

test('tell what waits, and every alert asks for a metric that is there', async () => {
  const owner = (await house.as('counter').post('/v1/owners', { name: 'Lindgren' }).expect(201)).body.id
  const notice = (state: string, age: string) =>
    house.database.pool.query(
      `insert into notice (owner_id, run_on, state, language, text_version, come_by, plan, trace, made_at)
       values ($1, '2026-11-25', $2, 'en', '1', '2026-12-02', '{}', '{}', now() - $3::interval)`,
      [owner, state, age],
    )
  await notice('queued', '2 hours')
  await notice('queued', '1 hour')
  await notice('in-doubt', '1 day')
  await house.database.pool.query(
    `insert into nightly_run (job, local_date, state, finished_at) values ('nightly', '2026-11-24', 'finished', now() - interval '30 hours'), ('nightly', '2026-11-25', 'running', null)`,
  )
  await house.as('counter').patch(`/v1/owners/${owner}`, { language: 'de' }, '*').expect(200)
  await sealHistory(house.database.pool, new Date())

  const text = await metrics()
  const value = (metric: string) =>
    Number(new RegExp(`^${metric.replace(/[{}"]/g, '\\$&')} (\\S+)$`, 'm').exec(text)?.[1])
  expect(value('notices{state="queued"}')).toBe(2)
  expect(value('notices{state="in-doubt"}')).toBe(1)
  expect(Math.round(value('oldest_queued_notice_seconds') / 3600)).toBe(2)
  expect(Math.round(value('nightly_age_seconds{job="nightly"}') / 3600)).toBe(30)
  expect(value('tickets_open')).toBe(0)
  expect(value('history_sealed_age_seconds')).toBeGreaterThanOrEqual(0)
  expect(value('database_connections{use="idle"}')).toBeGreaterThan(0)

  const file = new URL('../../src/features/metrics/alerts.json', import.meta.url)
  const { groups } = JSON.parse(await readFile(file, 'utf8')) as {
    groups: { rules: { alert: string; expr: string; annotations: { summary: string } }[] }[]
  }
  const rules = groups.flatMap((group) => group.rules)
  expect(rules.length).toBeGreaterThan(7)
  for (const { alert, expr, annotations } of rules) {
    const names = [...expr.replace(/\{[^}]*\}|\[[^\]]*\]/g, '').matchAll(/[a-z][a-z0-9_]{5,}/g)].map(([found]) => found)
    const asked = names.filter((found) => found !== 'increase')
    expect(asked.length, alert).toBeGreaterThan(0)
    for (const one of asked) expect(text, alert).toContain(`# TYPE ${one.replace(/_count$/, '')} `)
    expect(annotations.summary.length).toBeGreaterThan(20)
  }
})
