import { afterAll, beforeAll, expect, test } from 'vitest'
import { ticketRuleTable } from '../../../src/domain/tickets/rules.ts'
import { openShop, type Shop } from './shop.ts'

/** The numbers of the tickets are dated house rules: the past keeps what it had. */
let shop: Shop
beforeAll(async () => {
  shop = await openShop()
})
afterAll(() => shop.close())

const change = async (key: string, value: number | object, fromDay: string) => {
  const { body } = await shop.manager
    .post('/v1/house-rules', { key, value, fromDay, reason: 'decided in the house' })
    .expect(201)
  expect(body.reReckoning, 'no date of any watch hangs on it').toBeNull()
}
const lines = [
  { what: 'new stem', unitPrice: 2000, taxClass: 'usual', choice: 'must', opensCase: true },
  { what: 'pressure test', unitPrice: 1000, taxClass: 'usual', choice: 'must', requiredBy: 0, pressureTest: true },
]

/** A stem and its test from the counter to ready, priced on the day it stands at. */
async function priced() {
  const ticket = await shop.book()
  const estimate = await shop.agreed(ticket.number, 'cell', lines)
  await shop.toBench(ticket.number)
  await shop.worked(ticket.number, estimate.lines)
  await shop.waterTest(ticket.number)
  await shop.moved(ticket.number, 'final-check', {}, shop.bench)
  await shop.check(ticket.number)
  await shop.moved(ticket.number, 'ready')
  await shop.pay(ticket.number, 3600)
  const { serial } = (await shop.counter.get(`/v1/watches/${ticket.watchId}`).expect(200)).body
  return { ...ticket, estimate, serial: serial as string }
}
const handOver = async (ticket: Awaited<ReturnType<typeof priced>>) => {
  const release = shop.release(ticket, ticket.estimate.ownerName, ticket.serial, { twinAnswer: 'compared' })
  await shop.moved(ticket.number, 'handed-over', { release })
}
const guarantees = async (ticket: { number: string }) =>
  (await shop.counter.get(`/v1/tickets/${ticket.number}/guarantees`).expect(200)).body.items as {
    what: string
    months: number
    lastDay: string
    running: boolean
  }[]

test('the guarantee changes from a day on: what was handed over before keeps its own, and nobody gets less than the estimate said', async () => {
  const before = await priced()
  const between = await priced()
  expect(before.estimate.lines[0]).toMatchObject({ guarantee: 'repair', guaranteeMonths: 12 })
  await handOver(before)
  await change('repairGuaranteeMonths', 24, '2026-12-01')

  shop.house.setNow('2026-12-01T09:00:00Z')
  await handOver(between)
  expect(await guarantees(before)).toEqual([
    expect.objectContaining({ what: 'new stem', months: 12, lastDay: '2027-11-25', running: true }),
  ])
  expect(await guarantees(between)).toEqual([
    expect.objectContaining({ what: 'new stem', months: 24, lastDay: '2028-12-01', running: true }),
  ])

  const promised = await priced()
  expect(promised.estimate.lines[0]!.guaranteeMonths).toBe(24)
  await change('repairGuaranteeMonths', 6, '2026-12-02')
  shop.house.setNow('2026-12-02T09:00:00Z')
  await handOver(promised)
  expect((await guarantees(promised))[0]!.months).toBe(24)
  shop.house.setNow('2027-11-26T09:00:00Z')
  expect((await guarantees(before))[0]!.running, 'its last day is over').toBe(false)
  shop.house.setNow('2026-12-02T10:00:00Z')
})

test('the days of the steps, of an estimate and of a dry test follow the rule of their day', async () => {
  shop.house.setNow('2026-12-02T11:00:00Z')
  const ticket = await shop.book({ dial: 'rust' })
  await change('awaitingLookWorkingDays', 4, '2026-12-02')
  expect((await shop.moved(ticket.number, 'awaiting-look')).nextBy).toBe('2026-12-08')
  await change('estimateValidDays', 10, '2026-12-02')
  await change('settledMinutes', 60, '2026-12-03')
  const estimate = await shop.agreed(ticket.number)
  expect(estimate.validUntil).toBe('2026-12-12')
  await shop.toBench(ticket.number)
  await shop.worked(ticket.number, estimate.lines)
  expect((await shop.waterTest(ticket.number)).counts).toBe(true)
  shop.house.setNow('2026-12-03T11:00:00Z')
  expect(await shop.waterTest(ticket.number)).toMatchObject({
    counts: false,
    shortcomings: ['the case had not settled for 60 min'],
  })
})

test('every one of them is listed with default, bounds, unit and sentence, and refuses what lies outside', async () => {
  const { body } = await shop.counter.get('/v1/house-rules').expect(200)
  for (const [key, rule] of Object.entries(ticketRuleTable)) {
    expect(body.items, key).toContainEqual(
      expect.objectContaining({ key, default: rule.default, min: rule.min, max: rule.max, unit: rule.unit }),
    )
    const refused = await shop.manager.post('/v1/house-rules', {
      key,
      value: rule.max + 1,
      fromDay: '2027-01-01',
      reason: 'too much',
    })
    expect([refused.status, refused.body.errors[0].pointer]).toEqual([400, '#/value'])
  }
})

/** A mechanical watch at the bench, its case closed, ready to be read. */
async function atTheBench(workClass: string, more: object = {}) {
  const ownerId = await shop.owner()
  const watchId = await shop.watch(ownerId, { kind: 'hand-wound', waterClaim: { marked: 'none' }, ...more })
  const ticket = await shop.book({ ownerId, watchId })
  const lines = [{ what: 'service', unitPrice: 2000, taxClass: 'usual', choice: 'must' }]
  const estimate = await shop.agreed(ticket.number, workClass, lines)
  await shop.toBench(ticket.number)
  await shop.told(ticket.number, 'operations', { line: estimate.lines[0]!.id, state: 'done' }, shop.bench)
  return ticket
}
const timing = (position: string, rate: number, more: object = {}) => ({
  position,
  wind: 'full',
  hoursSinceWound: { value: 2, unit: 'h' },
  rate: { value: rate, unit: 's/d' },
  tool: shop.tools.timing,
  ...more,
})
const read = (ticket: { number: string }, body: object) =>
  shop.told(ticket.number, 'timing-readings', body as Record<string, unknown>, shop.bench)
const valuesOf = async (ticket: { number: string }) =>
  (await shop.gates(ticket.number)).G12!.parts.find((part) => part.part === 'values') as { open: boolean; why: string }

test('tolerances of a house class are a dated table: what was read keeps the table of its day', async () => {
  const before = await atTheBench('three-hand')
  expect((await read(before, timing('CH', 9))).judgedBy).toEqual({ houseClass: 'three-hand', fromDay: null })
  expect(await valuesOf(before)).toMatchObject({ open: false, why: 'mean rate at full wind 9 s/d (-2 to 8)' })
  const table = { 'three-hand': { meanMin: -10, meanMax: 10 } }
  await change('toleranceByHouseClass', table, '2026-12-04')
  shop.house.setNow('2026-12-04T11:00:00Z')
  expect(await valuesOf(before), 'read under the table before').toMatchObject({ open: false })
  const after = await atTheBench('three-hand')
  const answer = await read(after, timing('CH', 9))
  expect(answer).toMatchObject({ judgedBy: { fromDay: '2026-12-04' }, tolerances: 'house-class' })
  expect(answer.verdicts).toEqual([expect.objectContaining({ what: 'mean rate at full wind', within: true })])
  expect((await valuesOf(after)).open).toBe(true)
  expect((await read(before, timing('CH', 9))).verdicts[0].within, 'read again, under the new one').toBe(true)

  const { body } = await shop.counter.get('/v1/house-rules?on=2026-12-04').expect(200)
  const listed = body.items.find((item: { key: string }) => item.key === 'toleranceByHouseClass')
  expect(listed).toMatchObject({ unit: 'table', min: null, value: table, default: { quartz: { rateMin: -10 } } })
  expect(listed.values).toEqual([
    expect.objectContaining({
      fromDay: '2026-12-04',
      reason: 'decided in the house',
      recordedBy: 'manager of the test',
    }),
  ])
  expect(listed.source).toContain('no standard')
})

test('positions and readings of a class of work are a dated table', async () => {
  const ticket = await atTheBench('three-hand')
  const missing = async () => {
    const part = (await shop.gates(ticket.number)).G12!.parts.find((one) => one.part === 'complete') as { why: string }
    return part.why
  }
  expect(await missing()).toContain('CH at full wind, FH at full wind, 6H at full wind, CH after 24 h')
  await change(
    'readingsByClassOfWork',
    { 'three-hand': { houseClass: 'three-hand', positions: ['12H'], winds: ['full'] } },
    '2026-12-05',
  )
  shop.house.setNow('2026-12-05T11:00:00Z')
  expect(await missing()).toBe('readings are missing after the last work: 12H at full wind')
})

test('the angle assumed, what is asked again, the year of radium and the months of a tool follow their rule', async () => {
  await change('assumedLiftAngle', 50, '2026-12-06')
  await change('readingsAskedAgain', { amplitudeBelow: 200 }, '2026-12-06')
  await change('radiumUntilYear', 1980, '2026-12-06')
  await change('toolMonths', { 'torque-driver': 6 }, '2026-12-06')
  const tool = async (kind: string) =>
    (
      await shop.made(shop.manager, '/v1/tools', {
        kind,
        serial: `${kind} of ${shop.house.service.clock.now().getTime()}`,
        name: kind,
      })
    ).months
  expect([await tool('torque-driver'), await tool('hot-plate-thermometer')]).toEqual([12, 24])
  const old = await atTheBench('three-hand', { luminous: 'unknown', made: '1975' })
  const low = timing('CH', 3, { amplitude: { value: 190, unit: '°' }, liftAngleAssumed: true })
  expect((await read(old, low)).queries).toEqual([])
  expect((await shop.gates(old.number)).G5!.state).not.toBe('shut')

  shop.house.setNow('2026-12-06T11:00:00Z')
  expect((await read(old, low)).queries).toEqual([expect.stringContaining('190° is very low')])
  const refused = await shop.say(old.number, 'timing-readings', { ...low, liftAngleAssumed: false }, shop.bench)
  expect(refused.body.errors[0].detail).toContain('50° is assumed')
  expect((await shop.gates(old.number)).G5!.state).toBe('shut')
  expect([await tool('torque-driver'), await tool('hot-plate-thermometer')]).toEqual([6, 24])
})

test('a table is read strictly: what it does not know or what lies outside is refused where it stands', async () => {
  const refusals: [string, unknown, string][] = [
    ['toleranceByHouseClass', 5, '#/value'],
    ['toleranceByHouseClass', { 'four-hand': {} }, '#/value/four-hand'],
    ['toleranceByHouseClass', { vintage: { meanMax: 'much' } }, '#/value/vintage/meanMax'],
    ['toleranceByHouseClass', { vintage: { meanMin: 5, meanMax: 4 } }, '#/value/vintage/meanMax'],
    ['toleranceByHouseClass', { vintage: { 'a/b': 5 } }, '#/value/vintage/a~1b'],
    ['readingsByClassOfWork', { quartz: { houseClass: 'quartz', values: ['colour'] } }, '#/value/quartz/values'],
    ['readingsByClassOfWork', { quartz: { houseClass: 'none' } }, '#/value/quartz/houseClass'],
    ['readingsByClassOfWork', { case: { houseClass: 'quartz', positions: ['CH'] } }, '#/value/case/winds'],
    ['readingsAskedAgain', { amplitudeBelow: 99 }, '#/value/amplitudeBelow'],
    ['toolMonths', { scales: 1.5 }, '#/value/scales'],
    ['usualServiceMonths', { months: 5 }, '#/value'],
  ]
  for (const [key, value, pointer] of refusals) {
    const answer = await shop.manager.post('/v1/house-rules', { key, value, fromDay: '2027-01-01', reason: 'wrong' })
    expect([answer.status, answer.body.errors?.[0]?.pointer], `${key} ${JSON.stringify(value)}`).toEqual([400, pointer])
  }
  const rehearsed = await shop.manager.post('/v1/house-rules/rehearsals', {
    key: 'toolMonths',
    value: 5,
    fromDay: '2027-01-01',
  })
  expect([rehearsed.status, rehearsed.body.errors[0].pointer]).toEqual([400, '#/value'])
})

test('the day within which an owner is hoped for follows its rule', async () => {
  shop.house.setNow('2026-12-07T11:00:00Z')
  // a dry test settles as long as usual again
  await change('settledMinutes', 30, '2026-12-07')
  await change('readyComeByDays', 21, '2026-12-08')
  await change('settledMinutes', 30, '2026-12-07')
  const comeBy = async () => {
    const { watchId } = await shop.readied()
    const notice = await shop.house.database.prisma.notice.findFirstOrThrow({
      where: { plan: { path: ['ready', 'watchId'], equals: watchId } },
    })
    return notice.comeBy.toISOString().slice(0, 10)
  }
  expect(await comeBy()).toBe('2026-12-21')
  shop.house.setNow('2026-12-08T11:00:00Z')
  expect(await comeBy()).toBe('2026-12-29')
})
