import { readFile } from 'node:fs/promises'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { sealHistory } from '../../src/db/history.ts'
import { tickFlagLots } from '../../src/jobs/flag-lots.ts'
import { type House, openHouse } from '../support/house.ts'

let house: House
beforeAll(async () => {
  house = await openHouse()
})
afterAll(() => house.close())

const metrics = async () => (await house.app.inject('/metrics')).body

/** Every gauge that is named for a manager's IT, each seen with a value that was brought about. */
test('each tells what was brought about: stuck tickets, lots under their guard, overdue tasks, persons who wait', async () => {
  const shop = await openHouse({ now: '2026-06-01' })
  try {
    const owner = (await shop.as('counter').post('/v1/owners', { name: 'Waits' }).expect(201)).body.id
    const watch = { new: { maker: 'Norrsken', kind: 'quartz' } }
    await shop
      .as('counter')
      .post('/v1/tickets', { owner: { id: owner }, watch, complaint: 'stopped', place: 'counter' })
      .expect(201)
    await shop.as('manager').post(`/v1/owners/${owner}/erasures`, { how: 'by letter' }).expect(201)
    await shop.as('stock').post('/v1/designations', { designation: 'SR626SW', drain: 'low' }).expect(201)
    const lot = {
      designation: 'SR626SW',
      supplier: 'Harbour Parts',
      receivedOn: '2026-06-01',
      unitCost: { amount: 92, currency: 'EUR' },
    }
    for (const [lotNumber, pieces, bestBefore] of [
      ['young', 40, '2029-12-31'],
      ['ageing', 7, '2028-01-31'],
      ['old', 3, '2026-08-31'],
    ])
      await shop
        .as('stock')
        .post('/v1/cell-lots', { ...lot, lotNumber, pieces, bestBefore, storagePlace: `drawer ${lotNumber}` })
        .expect(201)
    shop.setNow('2026-09-15')
    await tickFlagLots(shop.service)
    const text = (await shop.app.inject('/metrics')).body
    const values = Object.fromEntries(
      [...text.matchAll(/^([a-z0-9_]+(?:\{[^}]*\})?) (\S+)$/gm)].map(([, name, value]) => [name, Number(value)]),
    )
    expect(values).toMatchObject({
      tickets_open: 1,
      'tickets_past_their_date{actor="counter"}': 1,
      'lots_on_shelf{bucket="over-180-days"}': 1,
      'lots_on_shelf{bucket="past-full-life"}': 1,
      'lots_on_shelf{bucket="expired"}': 1,
      'lot_pieces{bucket="past-full-life"}': 7,
      'lot_pieces{bucket="expired"}': 3,
      'tasks_past_their_date{role="manager"}': 1,
      erasures_waiting: 1,
      erasures_past_their_answer: 1,
      'notices{state="queued"}': 0,
      'notices{state="in-doubt"}': 0,
      'notices{state="failed"}': 0,
      oldest_queued_notice_seconds: 0,
      'database_connections{use="waited-for"}': 0,
    })
    for (const name of [
      'nodejs_eventloop_lag_p99_seconds',
      'process_resident_memory_bytes',
      'nightly_age_seconds{job="flag-lots"}',
    ])
      expect(values[name], name).toBeTypeOf('number')
  } finally {
    await shop.close()
  }
})

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
