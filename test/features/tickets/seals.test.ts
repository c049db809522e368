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

test('the seals of a watch by position: size and material of each, what was seen of it, and what came in its place', async () => {
  const ticket = await shop.book()
  await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  await shop.told(ticket.number, 'openings', { reason: 'cell change' }, shop.bench)
  await shop.told(
    ticket.number,
    'seals-seen',
    {
      seals: [
        { position: 'Crown', condition: 'hard' },
        { position: 'crystal', condition: 'supple' },
      ],
    },
    shop.bench,
  )
  const seal = { position: 'crown', material: 'FKM', innerMm: 2, cordMm: 0.9, lotUnknownBecause: 'the old drawer' }
  const replace = (more: object) =>
    shop.say(ticket.number, 'seal-replacements', { seals: [{ ...seal, ...more }] }, shop.bench)
  for (const [more, pointer] of [
    [{ innerMm: 0.59 }, '#/seals/0/innerMm'],
    [{ innerMm: 45.01 }, '#/seals/0/innerMm'],
    [{ cordMm: 0.24 }, '#/seals/0/cordMm'],
    [{ cordMm: 2.51 }, '#/seals/0/cordMm'],
    [{ cordMm: 0.905 }, '#/seals/0/cordMm'],
    [{ material: 'leather' }, '#/seals/0/material'],
  ] as const) {
    const answer = await replace(more)
    expect([answer.status, answer.body.errors?.[0]?.pointer], JSON.stringify(more)).toEqual([400, pointer])
  }
  expect((await replace({ greasedWith: 'silicone' })).status).toBe(201)
  await shop.told(ticket.number, 'closings', { torqueNcm: 45, back: 'screw' }, shop.bench)
  const { items } = (await shop.counter.get(`/v1/watches/${ticket.watchId}/seals`).expect(200)).body
  expect(items).toEqual([
    {
      position: 'crown',
      fitted: {
        on: '2026-11-25',
        by: 'bench of the test',
        material: 'FKM',
        innerMm: 2,
        cordMm: 0.9,
        profile: null,
        greasedWith: 'silicone',
        lot: null,
        lotUnknownBecause: 'the old drawer',
      },
      seen: null,
    },
    {
      position: 'crystal',
      fitted: null,
      seen: { condition: 'supple', on: '2026-11-25', by: 'bench of the test' },
    },
  ])
  const records = (await shop.counter.get(`/v1/tickets/${ticket.number}/records`).expect(200)).body.items
  const words = records.map((one: { words: string }) => one.words)
  expect(words).toContain('case closed, screw back at 45 Ncm')
  expect(words).toContain(
    'fitted: seal: crown, FKM, inner diameter 2 mm, cord 0.9 mm, greased with silicone, lot unknown: the old drawer',
  )
  await shop.counter.get(`/v1/watches/${ticket.id}/seals`).expect(404)
})

test('into water only after a dry test that counts: the case settled, the tester in calibration', async () => {
  const ticket = await shop.book()
  const { lines } = await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  await shop.worked(ticket.number, lines)
  const wet = () =>
    shop.say(
      ticket.number,
      'water-tests',
      { ...shop.aTest, test: 'overpressure-wet', seconds: 600, settledMinutes: undefined },
      shop.bench,
    )
  expect((await wet()).body.errors[0].pointer).toBe('#/test')
  expect(await shop.waterTest(ticket.number, { settledMinutes: 29 })).toMatchObject({ passed: true, counts: false })
  expect((await wet()).body.errors?.[0].pointer, 'a cold case proves nothing').toBe('#/test')
  const { id } = await shop.made(shop.manager, '/v1/tools', { kind: 'pressure-tester', serial: 'P-9', name: 'old' })
  expect(await shop.waterTest(ticket.number, { tool: id })).toMatchObject({ passed: true, toolInDate: false })
  expect((await wet()).body.errors?.[0].pointer, 'nor does a tester without a certificate').toBe('#/test')
  await shop.waterTest(ticket.number)
  expect((await wet()).status).toBe(201)
})

/** Condensation: any fog inside is a failure (public summary of ISO 2281); moisture left in rusts the movement. */
test('fog inside is a failure, and the watch is to be opened the same day; or it is said why there was no test', async () => {
  const ticket = await shop.book()
  const { lines } = await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  await shop.worked(ticket.number, lines)
  const why = { because: 'the owner only wants it to run' }
  expect((await shop.say(ticket.number, 'water-tests-left-out', why)).status, 'the bench says so').toBe(403)
  await shop.told(ticket.number, 'water-tests-left-out', why, shop.bench)
  expect((await shop.gates(ticket.number)).G11!.state, 'a reason opens nothing').toBe('shut')
  const { id } = await shop.made(shop.manager, '/v1/tools', {
    kind: 'hot-plate-thermometer',
    serial: 'H-1',
    name: 'plate',
  })
  const fog = await shop.told(
    ticket.number,
    'water-tests',
    {
      test: 'condensation',
      condensation: { plateC: 42, minutes: 15, dropC: 20, fogInside: true },
      seen: 'passed',
      tool: id,
    },
    shop.bench,
  )
  expect(fog).toMatchObject({ passed: false, openAtOnce: true, because: ['fog inside the crystal'] })
  expect((await shop.counter.get(`/v1/tickets/${ticket.number}`)).body).toMatchObject({
    step: 'on-the-bench',
    nextActor: 'bench',
    nextBy: '2026-11-25',
  })
})

test('an operation says at which bench, with which tools and oils, and what else is to be remarked', async () => {
  const ticket = await shop.book()
  const { lines } = await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  const operation = (more: object) =>
    shop.say(ticket.number, 'operations', { line: lines[0]!.id, state: 'done', ...more }, shop.bench)
  expect((await operation({ bench: ticket.id })).body.errors[0].pointer).toBe('#/bench')
  expect((await operation({ tools: [shop.tools.timing, ticket.id] })).body.errors[0].pointer).toBe('#/tools/1')
  const done = await operation({
    bench: shop.benchId,
    tools: [shop.tools.timing],
    minutes: 20,
    oils: ['grease for the crown', { kind: 'oil of the train', lot: 'L 7' }],
    remarks: 'stem is worn, will do another year',
  })
  expect(done.status, JSON.stringify(done.body)).toBe(201)
  const { body } = await shop.counter.get(`/v1/tickets/${ticket.number}/records/${done.body.id}`).expect(200)
  expect(body.words).toBe(
    'done: cell change; 20 min; at Bench 2; with timing-machine T-1; oils: grease for the crown, oil of the train (lot L 7); stem is worn, will do another year',
  )
})
