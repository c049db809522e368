import { afterAll, beforeAll, expect, test } from 'vitest'
import { ticketRuleTable } from '../../../src/domain/tickets/rules.ts'
import { openShop, type Shop } from './shop.ts'

/** The numbers of the tickets are dated house rules: the past keeps what it had. */
let shop: Shop
beforeAll(async () => {
  shop = await openShop()
})
afterAll(() => shop.close())

const change = async (key: string, value: number, fromDay: string) => {
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
