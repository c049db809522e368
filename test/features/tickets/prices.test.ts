import { afterAll, beforeAll, expect, test } from 'vitest'
import { openShop, type Shop } from './shop.ts'

/** The price list of the bench: a line names a code, and the list of its day says the rest. */
let shop: Shop
beforeAll(async () => {
  shop = await openShop()
})
afterAll(() => shop.close())

const price = (more: object) =>
  shop.manager.post('/v1/prices', {
    code: 'cell',
    what: 'cell change',
    from: '2026-11-25',
    amount: 2200,
    currency: 'EUR',
    taxClass: 'usual',
    minutes: 15,
    guarantee: 'cell',
    opensCase: true,
    ...more,
  })
const looked = async (workClass: string) => {
  const ticket = await shop.book()
  await shop.moved(ticket.number, 'looked-over')
  await shop.told(ticket.number, 'looks', { findings: 'spent', workClass }, shop.bench)
  return ticket
}
const byCode = [
  { code: 'cell', choice: 'must' },
  { code: 'test', choice: 'must', requiredBy: 0 },
]

test('a line by its code takes price, tax, guarantee and marks of its class and day; what was told stays', async () => {
  await price({}).expect(201)
  await price({ workClass: 'quartz', amount: 3400 }).expect(201)
  await price({ from: '2026-12-01', amount: 2400 }).expect(201)
  const tested = { code: 'test', what: 'pressure test', amount: 1000, guarantee: 'water-test', opensCase: false }
  await price({ ...tested, pressureTest: true, until: '2026-12-31' }).expect(201)

  const cell = await looked('cell')
  const told = await shop.told(cell.number, 'estimates', { lines: byCode }, shop.bench)
  expect(told).toMatchObject({ net: 3200, total: 3840 })
  expect(told.lines[0]).toMatchObject({
    code: 'cell',
    what: 'cell change',
    unitPrice: 2200,
    taxClass: 'usual',
    guarantee: 'cell',
    guaranteeMonths: 12,
    opensCase: true,
  })
  expect(told.lines[1]).toMatchObject({ pressureTest: true, guarantee: 'water-test', guaranteeMonths: 0 })

  const quartz = await looked('quartz')
  const dearer = { lines: [byCode[0], { ...byCode[1], unitPrice: 900, what: 'test, at a friend’s price' }] }
  expect(await shop.told(quartz.number, 'estimates', dearer, shop.bench)).toMatchObject({
    lines: [{ unitPrice: 3400 }, { unitPrice: 900, what: 'test, at a friend’s price', taxClass: 'usual' }],
  })

  shop.house.setNow('2026-12-01T09:00:00Z')
  expect((await shop.told((await looked('cell')).number, 'estimates', { lines: byCode }, shop.bench)).net).toBe(3400)
  const { items } = (await shop.counter.get(`/v1/tickets/${cell.number}/estimates`).expect(200)).body
  expect(items[0].net, 'never changed in place').toBe(3200)
  const list = async (on: string) =>
    (await shop.counter.get(`/v1/prices?on=${on}`).expect(200)).body.items.map(
      (row: { code: string; workClass: string | null; amount: number }) => [row.code, row.workClass, row.amount],
    )
  expect(await list('2026-11-30')).toEqual([
    ['cell', null, 2200],
    ['cell', 'quartz', 3400],
    ['test', null, 1000],
  ])
  expect(await list('2027-01-01')).toEqual([
    ['cell', null, 2400],
    ['cell', 'quartz', 3400],
  ])
})

test('a code the list does not have, a price that has run out, a day in the past: each refused, nothing written', async () => {
  shop.house.setNow('2027-01-01T09:00:00Z')
  const ticket = await looked('cell')
  const lines = async (list: object[]) => (await shop.say(ticket.number, 'estimates', { lines: list }, shop.bench)).body
  expect((await lines(byCode)).errors).toEqual([
    { pointer: '#/lines/1/what', detail: expect.stringContaining('has no "test"') },
  ])
  expect((await lines([{ choice: 'must' }])).errors[0]).toEqual({ pointer: '#/lines/0/what', detail: 'is missing' })
  expect((await lines([{ what: 'stem', choice: 'must' }])).errors[0].pointer).toBe('#/lines/0/unitPrice')
  expect((await shop.counter.get(`/v1/tickets/${ticket.number}/estimates`).expect(200)).body.items).toEqual([])
  expect((await price({ from: '2026-12-31' })).body.errors[0].pointer).toBe('#/from')
  expect((await price({ from: '2027-01-02', until: '2027-01-01' })).body.errors[0].pointer).toBe('#/until')
  await expect(shop.house.database.pool.query('update price set amount = 1')).rejects.toThrow(
    /never changed or deleted/,
  )
})
