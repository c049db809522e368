import { afterAll, beforeAll, expect, test } from 'vitest'
import { openShop, type Shop } from './shop.ts'

/** Common practice, no source: a seal that is not supple is replaced before any test counts. */
let shop: Shop
beforeAll(async () => {
  shop = await openShop()
})
afterAll(() => shop.close())

const tests = async (watchId: string) =>
  (
    (await shop.counter.get(`/v1/watches/${watchId}/history`).expect(200)).body.events as {
      event: string
      struck: unknown
    }[]
  ).filter((fact) => fact.event === 'water-test' && fact.struck === null)

test('a test over a seal found hard opens nothing and settles nothing; replaced, closed and tested again it does', async () => {
  const ticket = await shop.book()
  const { lines } = await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  const seen = { seals: [{ position: 'Crown', condition: 'hard' }] }
  const shutCase = await shop.say(ticket.number, 'seals-seen', seen, shop.bench)
  expect(shutCase.body.type, 'nobody sees a seal through a closed case').toBe('/problems/case-not-open')
  await shop.told(ticket.number, 'openings', { reason: 'cell change' }, shop.bench)
  await shop.told(ticket.number, 'seals-seen', seen, shop.bench)
  await shop.told(ticket.number, 'closings', {}, shop.bench)

  expect((await shop.gates(ticket.number)).G11).toMatchObject({
    state: 'shut',
    why: 'the seal at Crown is hard and was not replaced, so no water test counts',
    opens: [expect.stringContaining('replace the seal at Crown')],
  })
  expect(await shop.waterTest(ticket.number)).toMatchObject({
    passed: true,
    counts: false,
    shortcomings: [expect.stringContaining('the seal at Crown is hard')],
    gate: { state: 'shut' },
  })
  expect(await tests(ticket.watchId), 'nor does it settle a date').toHaveLength(0)
  const override = { gate: 'G11', part: 'seals', reason: 'it will hold' }
  expect((await shop.manager.post(`/v1/tickets/${ticket.number}/overrides`, override)).status).toBe(403)

  await shop.told(ticket.number, 'openings', { reason: 'the seal of the crown' }, shop.bench)
  await shop.told(
    ticket.number,
    'seal-replacements',
    { seals: [{ position: 'crown', lotUnknownBecause: 'from the old drawer' }] },
    shop.bench,
  )
  await shop.told(ticket.number, 'closings', {}, shop.bench)
  expect((await shop.gates(ticket.number)).G11!.why).toContain('no dry pressure test since the case was last closed')
  expect(await shop.waterTest(ticket.number)).toMatchObject({ counts: true, gate: { state: 'open' } })
  expect(await tests(ticket.watchId)).toHaveLength(1)
  for (const line of lines) await shop.told(ticket.number, 'operations', { line: line.id, state: 'done' }, shop.bench)
  await shop.moved(ticket.number, 'final-check', {}, shop.bench)
  const { body } = await shop.manager.get(`/v1/watches/${ticket.watchId}/story`).expect(200)
  expect(body.entries.map((entry: { words: string }) => entry.words)).toContain('seals seen: Crown hard')
})

test('a pressure is told as the tester shows it, kept so and in bar, and held against the claim in bar', async () => {
  const ticket = await shop.book()
  const estimate = await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  await shop.worked(ticket.number, estimate.lines)
  const { bar: _, ...inAnotherUnit } = shop.aTest
  const tested = (pressure: object, more: object = {}) =>
    shop.say(ticket.number, 'water-tests', { ...inAnotherUnit, ...more, pressure }, shop.bench)
  for (const [answer, pointer] of [
    // one psi is 0.0689476 bar (GNU units 2.22); the mark of the watch is 5 bar
    [await tested({ value: 73, unit: 'psi' }), '#/pressure/value'],
    [await tested({ value: 51, unit: 'm' }), '#/pressure/value'],
    [await tested({ value: 5, unit: 'bar' }, { bar: 5 }), '#/pressure'],
    [await tested({ value: 5, unit: 'kg' }), '#/pressure/unit'],
  ] as const)
    expect([answer.status, answer.body.errors?.[0].pointer]).toEqual([400, pointer])
  expect((await tested({ value: 72.5, unit: 'psi' })).body.passed).toBe(true)
  const told = (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body
  const story = (await shop.counter.get(`/v1/watches/${told.watchId}/story`).expect(200)).body
  expect(JSON.stringify(story)).toContain('at 4.9987 bar (72.5 psi)')
})
