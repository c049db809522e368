import { afterAll, beforeAll, expect, test } from 'vitest'
import { openShop, type Shop } from './shop.ts'

/** What is measured at the bench, and what is worked out of it, through the doors. */
let shop: Shop
beforeAll(async () => {
  shop = await openShop()
})
afterAll(() => shop.close())

const m = (value: number, unit: string) => ({ value, unit })

let calibres = 0
/** A watch with its calibre on file, looked over, and the maker's tolerances where some are given. */
async function looked(kind: 'hand-wound' | 'quartz', calibre: object, workClass: string, limits?: object) {
  calibres += 1
  const { id: calibreId } = await shop.made(shop.bench, '/v1/calibres', {
    name: `AF ${calibres}`,
    energy: kind === 'quartz' ? 'primary-cell' : 'none',
    ...calibre,
  })
  if (limits)
    await shop.made(shop.bench, `/v1/calibres/${calibreId}/tolerances`, { limits, sourcePaper: 'sheet 4 of the maker' })
  const ownerId = await shop.owner()
  const watchId = await shop.watch(ownerId, { kind, calibreId })
  const ticket = await shop.book({ ownerId, watchId })
  await shop.moved(ticket.number, 'looked-over')
  await shop.told(ticket.number, 'looks', { findings: 'runs', workClass }, shop.bench)
  return { ...ticket, calibreId }
}
const timing = (ref: string, position: string, wind: string, hours: number, more: object) =>
  shop.told(
    ref,
    'timing-readings',
    { position, wind, hoursSinceWound: m(hours, 'h'), tool: shop.tools.timing, ...more },
    shop.bench,
  )

test('rate and amplitude from what the instrument hears; mean, spread and run-down effect of the whole, judged by the maker', async () => {
  const mechanical = { beatsPerHour: 28_800, liftAngleDegrees: 52 }
  const { number } = await looked('hand-wound', mechanical, 'three-hand', { meanMin: -4, meanMax: 6, runDownMax: 8 })
  // computed in R 4.2.2 from the definitions: 5.944729 s/d and 269.1229 degrees
  const first = await timing(number, 'CH', 'full', 2, { beatPeriodSeconds: 0.1249914, liftTimeSeconds: 0.0077 })
  expect(first).toMatchObject({ values: { rate: 5.9, amplitude: 269.1 }, crown: null, tolerances: 'maker' })
  const standing = await timing(number, '6H', 'full', 2, { rate: m(-2.1, 's/d'), amplitude: m(251, '°') })
  expect(standing).toMatchObject({ crown: 'left' })
  await timing(number, 'CH', 'after-24', 24, { rate: m(-5, 's/d'), amplitude: m(220, '°') })
  await timing(number, '6H', 'after-24', 25, { rate: m(-9.4, 's/d'), amplitude: m(201, '°') })
  const { body } = await shop.counter.get(`/v1/tickets/${number}/readings`).expect(200)
  const words = body.verdicts.map((one: { words: string }) => one.words)
  expect(words).toEqual(
    expect.arrayContaining([
      'mean rate at full wind 1.9 s/d (-4 to 6)',
      'spread at full wind 8 s/d (at most 15)',
      'mean rate after 24 h -7.2 s/d (-4 to 6)',
      'run-down effect -9.1 s/d (-8 to 8)',
    ]),
  )
  const outside = body.verdicts.filter((one: { within: boolean }) => !one.within)
  expect(outside.map((one: { what: string }) => one.what)).toEqual([
    'mean rate after 24 h',
    'run-down effect',
    'amplitude at full wind in CH',
  ])
})

test('the series of a watch: of each visit as it came and as it left; the last reading of a position counts', async () => {
  const ticket = await looked('hand-wound', { beatsPerHour: 28_800, liftAngleDegrees: 52 }, 'three-hand')
  const { number } = ticket
  const at = (position: string, wind: string, rate: number, amplitude: number) =>
    timing(number, position, wind, wind === 'full' ? 2 : 24, { rate: m(rate, 's/d'), amplitude: m(amplitude, '°') })
  await at('CH', 'full', 4, 250)
  await at('CH', 'full', 5, 248)
  await at('6H', 'full', -7.3, 210)
  await at('CH', 'after-24', -9, 180)
  const struck = await at('9H', 'full', 90, 200)
  await shop.told(number, 'strikes', { record: struck.id, reason: 'another watch' }, shop.bench)
  const estimate = await shop.told(
    number,
    'estimates',
    { lines: [{ what: 'service', unitPrice: 30_000, taxClass: 'usual', choice: 'must' }] },
    shop.bench,
  )
  await shop.moved(number, 'awaiting-yes')
  const { ownerName } = (await shop.counter.get(`/v1/tickets/${number}`).expect(200)).body
  await shop.told(number, 'estimates/1/answers', {
    person: ownerName,
    how: 'in-person',
    total: { amount: 36_000, currency: 'EUR' },
    lines: [{ line: estimate.lines[0].id, answer: 'yes' }],
  })
  await shop.toBench(number)
  await shop.told(number, 'operations', { line: estimate.lines[0].id, state: 'done' }, shop.bench)
  await at('CH', 'full', 3, 295)
  const { items } = (await shop.counter.get(`/v1/watches/${ticket.watchId}/readings`).expect(200)).body
  const nothing = { rateOfQuartz: null, consumption: null, lowerWorkingVoltage: null }
  expect(items).toEqual([
    {
      ticket: number,
      state: 'as-it-came',
      from: '2026-11-25',
      to: '2026-11-25',
      readings: 4,
      // worked by hand: (5 - 7.3) / 2, 5 + 7.3, and -9 less the mean at full wind
      meanFull: -1.1,
      spreadFull: 12.3,
      meanAfter24: -9,
      spreadAfter24: null,
      runDown: -7.8,
      amplitudeFullMin: 210,
      amplitudeAfter24Min: 180,
      ...nothing,
    },
    {
      ticket: number,
      state: 'as-it-left',
      from: '2026-11-25',
      to: '2026-11-25',
      readings: 1,
      meanFull: 3,
      spreadFull: null,
      meanAfter24: null,
      spreadAfter24: null,
      runDown: null,
      amplitudeFullMin: 295,
      amplitudeAfter24Min: null,
      ...nothing,
    },
  ])
  await shop.counter.get(`/v1/watches/${ticket.id}/readings`).expect(404)
})

test('an amplitude by a lift angle that is assumed is marked so; a balance is not read as quartz, nor quartz as a balance', async () => {
  const unknown = await looked('hand-wound', { beatsPerHour: 18_000 }, 'vintage')
  const amplitude = { rate: m(3, 's/d'), amplitude: m(280, '°'), liftAngleAssumed: true }
  const marked = await timing(unknown.number, 'CH', 'full', 2, amplitude)
  expect(marked).toMatchObject({ liftAngle: 52, liftAngleAssumed: true })
  const { body } = await shop.bench.get(`/v1/tickets/${unknown.number}/records/${marked.id}`).expect(200)
  expect(body.words).toContain('amplitude 280 °, lift angle 52° assumed')
  const filed = await looked('hand-wound', { beatsPerHour: 18_000, liftAngleDegrees: 49 }, 'vintage')
  expect(await timing(filed.number, 'CH', 'full', 2, amplitude), 'the file knows better').toMatchObject({
    liftAngle: 49,
    liftAngleAssumed: false,
  })
  const asQuartz = { tool: shop.tools.quartz, consumption: m(1.5, 'uA') }
  const wrong = await shop.say(filed.number, 'quartz-readings', asQuartz, shop.bench)
  expect([wrong.status, wrong.body.errors?.[0]?.detail]).toEqual([400, expect.stringContaining('has a balance')])
  const quartz = await looked('quartz', {}, 'quartz')
  const asBalance = { position: 'CH', wind: 'full', hoursSinceWound: m(2, 'h'), rate: m(3, 's/d') }
  const none = await shop.say(quartz.number, 'timing-readings', { ...asBalance, tool: shop.tools.timing }, shop.bench)
  expect([none.status, none.body.errors?.[0]?.pointer]).toEqual([400, '#/position'])
})

test('a calibre is told in lignes or in mm, its beat in A/h, its voltage within reason', async () => {
  const enter = (more: object) => shop.bench.post('/v1/calibres', { name: 'AF sizes', energy: 'none', ...more })
  for (const [wrong, pointer] of [
    [{ diameterLignes: 11.5, diameterMm: 25.9 }, '#/diameterLignes'],
    [{ beatsPerHour: 2880 }, '#/beatsPerHour'],
    [{ workingVoltageMax: 1.05 }, '#/workingVoltageMax'],
    [{ liftAngleDegrees: 71 }, '#/liftAngleDegrees'],
    [{ powerReserveHours: 23 }, '#/powerReserveHours'],
  ] as const) {
    const answer = await enter(wrong)
    expect([answer.status, answer.body.errors?.[0]?.pointer], JSON.stringify(wrong)).toEqual([400, pointer])
  }
  // GNU units 2.22: a ligne is 2.255829 mm
  const { body } = await enter({ diameterLignes: 11.5, beatsPerHour: 19_800 }).expect(201)
  expect(body).toMatchObject({ diameterMm: 25.94, diameterLignes: 11.5, hertz: 2.75 })
})

test('quartz in any of its units, the load of a voltage, the capacity of the cell on file, a year of a thermocompensated one', async () => {
  const calibre = { frequencyHertz: 32_768, inhibitionPeriodSeconds: 60, cellDesignation: 'SR626SW', cellCount: 1 }
  const ticket = await looked('quartz', calibre, 'quartz')
  const say = (more: object) =>
    shop.say(ticket.number, 'quartz-readings', { tool: shop.tools.quartz, ...more }, shop.bench)
  const refusals: [object, string][] = [
    [{ rate: m(0.5, 's/d'), measuringTime: m(90, 's') }, '#/measuringTime/value'],
    [{ rate: m(4, 's/d'), measuringTime: m(60, 's') }, '#/rate/value'],
    [{ rate: m(0.5, 's/d'), measuringTime: m(60, 's'), inhibitionPeriod: 10 }, '#/inhibitionPeriod'],
    [{ cellVoltageUnderLoad: m(1.5, 'V') }, '#/loadKiloohm'],
    [{ consumption: m(1.2, 'mA') }, '#/consumption/unit'],
  ]
  for (const [more, pointer] of refusals) {
    const answer = await say(more)
    expect([answer.status, answer.body.errors?.[0]?.pointer], JSON.stringify(more)).toEqual([400, pointer])
  }
  await shop.counter
    .post(`/v1/watches/${ticket.watchId}/events`, {
      event: 'cell-fitted',
      on: '2025-11-20',
      source: 'own-record',
      bestBefore: '2029-06',
      capacityMah: 27,
    })
    .expect(201)
  const taken = await say({ rate: m(0.5, 's/d'), measuringTime: m(120, 's'), consumption: m(1.5, 'µA') })
  // 27 mAh at 1.5 µA are 18,000 h, a month being 730.5 h (arithmetic)
  expect([taken.status, taken.body]).toMatchObject([
    201,
    { values: { rate: 15, consumption: 1.5 }, predictedMonths: 24.64, ratePerYear: null },
  ])
  const { body } = await shop.bench.get(`/v1/tickets/${ticket.number}/records/${taken.body.id}`).expect(200)
  expect(body.content).toMatchObject({ capacityMah: 27, rateAsShown: { value: 0.5, unit: 's/d' } })

  const fine = await looked('quartz', { ...calibre, thermocompensated: true }, 'thermocompensated', {
    yearlyRateMax: 5,
  })
  const year = (value: number) =>
    shop.told(
      fine.number,
      'quartz-readings',
      { tool: shop.tools.quartz, rate: m(value, 's/year'), measuringTime: m(480, 's') },
      shop.bench,
    )
  expect(await year(5)).toMatchObject({ ratePerYear: 5, verdicts: [{ within: true }, { within: true }] })
  expect((await year(5.1)).verdicts[1]).toMatchObject({ what: 'rate over a year', within: false })
})

test('the coil and the current with a module driven, by what the maker says of the calibre', async () => {
  const calibre = {
    consumptionMaxMicroamps: 1.5,
    consumptionWithModuleMaxMicroamps: 3,
    coilResistanceMinKiloohm: 1.2,
    coilResistanceMaxKiloohm: 1.6,
  }
  for (const [wrong, pointer] of [
    [{ coilResistanceMinKiloohm: 0.49 }, '#/coilResistanceMinKiloohm'],
    [{ coilResistanceMaxKiloohm: 5.01 }, '#/coilResistanceMaxKiloohm'],
    [{ coilResistanceMaxKiloohm: 1.1 }, '#/coilResistanceMaxKiloohm'],
    [{ consumptionWithModuleMaxMicroamps: 21 }, '#/consumptionWithModuleMaxMicroamps'],
  ] as const) {
    const body = { name: 'AF wrong', energy: 'primary-cell', ...calibre, ...wrong }
    const answer = await shop.bench.post('/v1/calibres', body)
    expect([answer.status, answer.body.errors?.[0]?.pointer], JSON.stringify(wrong)).toEqual([400, pointer])
  }
  const reading = async (ref: string, more: object) =>
    shop.told(ref, 'quartz-readings', { tool: shop.tools.quartz, consumption: m(2.9, 'uA'), ...more }, shop.bench)
  const module = await looked('quartz', calibre, 'quartz-chronograph')
  expect((await reading(module.number, { coilResistance: m(1.6, 'kΩ') })).verdicts).toMatchObject([
    { what: 'consumption', within: true },
    { what: 'coil resistance', within: true },
  ])
  const plain = await looked('quartz', calibre, 'quartz')
  const answer = await reading(plain.number, { coilResistance: m(1.19, 'kohm'), coilInsulated: false })
  expect(answer.verdicts).toMatchObject([
    { what: 'consumption', within: false },
    { what: 'coil resistance', within: false, words: 'coil resistance 1.19 kohm (1.2 to 1.6)' },
  ])
  expect(answer.queries).toEqual(['the coil leads to ground: it is to be replaced'])
})

test("a test pressure is agreed within the claim: 125 % for a diver's watch, which is marked with a hundred metres or more", async () => {
  const rated = async (bar: number) => {
    const ownerId = await shop.owner()
    return shop.book({ ownerId, watchId: await shop.watch(ownerId, { waterClaim: { marked: 'rated', bar } }) })
  }
  const agree = (ticket: { number: string }, body: object) =>
    shop.say(
      ticket.number,
      'water-agreements',
      { needed: ['overpressure-dry'], reason: 'as marked', ...body },
      shop.bench,
    )
  const fifty = await rated(5)
  const diver = await rated(20)
  expect((await agree(fifty, { bar: 6.25, diver: true })).body.errors[0].pointer).toBe('#/diver')
  expect((await agree(fifty, { bar: 5.1 })).body.errors[0].pointer).toBe('#/bar')
  expect((await agree(fifty, { bar: 5 })).status).toBe(201)
  expect((await agree(diver, { bar: 25 })).body.errors[0].pointer).toBe('#/bar')
  expect((await agree(diver, { bar: 25.1, diver: true })).body.errors[0].pointer).toBe('#/bar')
  expect((await agree(diver, { bar: 25, diver: true })).status, 'ISO 6425, encyclopaedia copy: 200 m at 25 bar').toBe(
    201,
  )
})

test("the maker's tolerances are read strictly", async () => {
  const { id } = await shop.made(shop.bench, '/v1/calibres', { name: 'AF strict', energy: 'none' })
  const enter = (limits: object) =>
    shop.bench.post(`/v1/calibres/${id}/tolerances`, { limits, sourcePaper: 'sheet 4 of the maker' })
  for (const [limits, pointer] of [
    [{ amplitudeFlatMin: -5 }, '#/limits/amplitudeFlatMin'],
    [{ beatErrorMax: 10 }, '#/limits/beatErrorMax'],
    [{ meanMin: 5, meanMax: 4 }, '#/limits/meanMax'],
  ] as const) {
    const answer = await enter(limits)
    expect([answer.status, answer.body.errors?.[0]?.pointer], JSON.stringify(limits)).toEqual([400, pointer])
  }
  await enter({ meanMin: 4, meanMax: 4 }).expect(201)
})

test('what is worked out without recording it: with all it needs, and nothing impossible', async () => {
  const ask = (body: object) => shop.bench.post('/v1/computed-readings', body)
  // computed in R 4.2.2 from the definitions
  const { body } = await ask({
    beatsPerHour: 28_800,
    beatPeriodSeconds: 0.1249914,
    liftAngle: 52,
    liftTimeSeconds: 0.0077,
    ticTocMs: 125.8,
    tocTicMs: 124.2,
  }).expect(200)
  expect(body.rate).toBeCloseTo(5.944729, 6)
  expect(body.ppm).toBeCloseTo(5.944729 * 11.574074, 4)
  expect(body.amplitude).toBeCloseTo(269.1229, 4)
  expect(body.beatError.half).toBeCloseTo(0.8, 9)
  expect(body.beatError.full).toBeCloseTo(1.6, 9)
  for (const [heard, pointers] of [
    [{ beatsPerHour: 28_800 }, ['#']],
    [{ beatPeriodSeconds: 0.125 }, ['#/beatsPerHour']],
    [{ liftTimeSeconds: 0.0077 }, ['#/beatsPerHour', '#/liftAngle']],
    [{ ticTocMs: 125 }, ['#/tocTicMs']],
    [{ beatsPerHour: 28_800, liftAngle: 52, liftTimeSeconds: 0.005 }, ['#/liftTimeSeconds']],
    [{ beatsPerHour: 28_800, liftAngle: 52, liftTimeSeconds: 0.2 }, ['#/liftTimeSeconds']],
  ] as const) {
    const answer = await ask(heard)
    expect([answer.status, answer.body.errors?.map((one: { pointer: string }) => one.pointer)]).toEqual([400, pointers])
  }
})
