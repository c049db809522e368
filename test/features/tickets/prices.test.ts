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
  expect((await price({ from: '2027-01-01', taxClass: 'nonsense' })).body.errors[0]).toEqual({
    pointer: '#/taxClass',
    detail: 'must be one of usual',
  })
  await expect(shop.house.database.pool.query('update price set amount = 1')).rejects.toThrow(
    /never changed or deleted/,
  )
})

test('what a choice of lines comes to is told to the cent without recording it; answers are read back line by line, and the bench sees only what was agreed', async () => {
  shop.house.setNow('2027-02-01T09:00:00Z')
  const ticket = await shop.book()
  await shop.moved(ticket.number, 'looked-over')
  await shop.told(ticket.number, 'looks', { findings: 'dry', workClass: 'cell' }, shop.bench)
  const { lines } = await shop.told(
    ticket.number,
    'estimates',
    {
      lines: [
        { what: 'cell change', unitPrice: 1111, taxClass: 'usual', choice: 'must', opensCase: true },
        { what: 'pressure test', unitPrice: 333, taxClass: 'usual', choice: 'must', requiredBy: 0, pressureTest: true },
        { what: 'polish of the clasp', unitPrice: 777, taxClass: 'usual', choice: 'could' },
      ],
    },
    shop.bench,
  )
  const [cell, pressure, polish] = lines.map((line: { id: string }) => line.id) as [string, string, string]
  await shop.moved(ticket.number, 'awaiting-yes')
  const { ownerName } = (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body
  const said = (answers: Record<string, string>) => Object.entries(answers).map(([line, answer]) => ({ line, answer }))
  const totals = async (answers: Record<string, string>) =>
    (await shop.counter.post(`/v1/tickets/${ticket.number}/estimates/1/totals`, { lines: said(answers) }).expect(200))
      .body

  // tax of each line by itself, 20 % half up: 222.2 → 222, 66.6 → 67
  const partly = await totals({ [cell]: 'yes', [pressure]: 'yes', [polish]: 'no' })
  expect(partly).toEqual({
    version: 1,
    newest: true,
    net: { amount: 1444, currency: 'EUR' },
    tax: { amount: 289, currency: 'EUR' },
    total: { amount: 1733, currency: 'EUR' },
    yes: [cell, pressure],
    unanswered: [],
    faults: [],
  })
  expect(await totals({ [cell]: 'yes', [pressure]: 'no' })).toMatchObject({
    total: { amount: 1333 },
    unanswered: [polish],
    faults: [
      {
        line: pressure,
        words: '"pressure test" cannot be refused alone: refuse with it what depends on it, "cell change"',
      },
    ],
  })
  const foreign = await shop.counter.post(`/v1/tickets/${ticket.number}/estimates/1/totals`, {
    lines: [{ line: ticket.id, answer: 'yes' }],
  })
  expect([foreign.status, foreign.body.errors[0].pointer]).toEqual([400, '#/lines/0/line'])
  await shop.counter.post(`/v1/tickets/${ticket.number}/estimates/7/totals`, { lines: [] }).expect(404)
  expect(
    (await shop.house.database.pool.query('select 1 from estimate_answer where ticket_id = $1', [ticket.id])).rowCount,
  ).toBe(0)

  const answer = { person: ownerName, how: 'in-person', textShown: 'as on the screen' }
  await shop.told(ticket.number, 'estimates/1/answers', {
    ...answer,
    total: partly.total,
    lines: said({ [cell]: 'yes', [pressure]: 'yes', [polish]: 'no' }),
  })
  // one line more: with the answers that stand
  const more = await totals({ [polish]: 'yes' })
  expect(more.total).toEqual({ amount: 1733 + 777 + 155, currency: 'EUR' })
  const read = async (query = '') =>
    (await shop.bench.get(`/v1/tickets/${ticket.number}/estimates${query}`).expect(200)).body.items
  expect(await read()).toMatchObject([
    {
      agreedTotal: partly.total,
      lines: [
        { id: cell, agreed: true, answer: 'yes' },
        { id: pressure, agreed: true, answer: 'yes' },
        { id: polish, agreed: false, answer: 'no' },
      ],
    },
  ])
  expect((await read('?lines=agreed'))[0].lines.map((line: { id: string }) => line.id)).toEqual([cell, pressure])
  await shop.told(ticket.number, 'estimates/1/answers', {
    ...answer,
    total: more.total,
    lines: said({ [polish]: 'yes' }),
  })
  expect((await read('?version=1'))[0].lines[2].answers).toMatchObject([
    {
      answer: 'no',
      person: ownerName,
      how: 'in-person',
      on: '2027-02-01',
      total: partly.total,
      textShown: 'as on the screen',
    },
    { answer: 'yes', person: ownerName, by: 'counter of the test', total: more.total, confirmedInWriting: false },
  ])
  await shop.told(ticket.number, 'revocations', { person: ownerName, how: 'in-person' })
  expect(await read()).toMatchObject([
    { agreedTotal: null, lines: [{ agreed: false, answer: null, answers: [{ answer: 'yes' }] }, {}, {}] },
  ])
  expect((await read('?lines=agreed'))[0].lines).toEqual([])
})

test('the benches: agreed minutes against hours by skill, the final check, what lies untouched and what lies open', async () => {
  shop.house.setNow('2027-01-04T09:00:00Z')
  const report = async () => (await shop.manager.get('/v1/reports/benches').expect(200)).body
  const before = await report()
  expect(before).toMatchObject({ minutesABenchADay: 384, workingDays: 10, skills: [], choke: null, openCases: [] })
  await price({ code: 'change', from: '2027-01-04', minutes: 20, opensCase: false }).expect(201)
  const lines = [
    { code: 'change', choice: 'must' },
    { code: 'change', choice: 'could', quantity: 3 },
    { what: 'polish', unitPrice: 900, taxClass: 'usual', choice: 'could' },
  ]
  const ticket = await shop.book()
  const estimate = await shop.agreed(ticket.number, 'cell', lines)
  expect((await report()).skills, 'not agreed to the benches yet').toEqual([])
  await shop.told(ticket.number, 'kits', shop.kit, shop.bench)
  await shop.moved(ticket.number, 'ready-for-bench')
  const one = { skill: 'cells-and-seals', needed: 80, available: 3840, load: 0.02, standing: 'free' }
  expect(await report()).toMatchObject({
    skills: [one],
    choke: { skills: ['cells-and-seals'], load: 0.02 },
    finalCheck: { watches: 1, checkers: 1, needed: 8, available: 3840 },
    notCounted: { linesWithoutMinutes: 1, ticketsWithoutClass: 0 },
    untouched: [],
  })
  await shop.manager
    .post('/v1/house-rules', {
      key: 'untouchedWorkingDays',
      value: 5,
      fromDay: '2027-01-20',
      reason: 'we promise a week',
    })
    .expect(201)
  shop.house.setNow('2027-01-19T09:00:00Z')
  expect((await report()).untouched, '11 working days').toEqual([])
  // the cell change was neither promised nor handed over; the one pressure test it takes is five minutes
  const { places, throughTheHouse, promises } = await report()
  expect(places[3]).toMatchObject({ place: 'pressure-tester', watches: 1, needed: 5, available: 4800 })
  expect(throughTheHouse).toMatchObject({ handedOver: 0, workingDays: null })
  expect(promises).toEqual({ breaking: 0, firstOn: null })
  await shop.told(ticket.number, 'promises', { on: '2027-01-11' })
  expect((await report()).promises).toEqual({ breaking: 1, firstOn: '2027-01-11' })
  shop.house.setNow('2027-01-20T09:00:00Z')
  expect((await report()).untouched).toEqual([
    { number: ticket.number, step: 'ready-for-bench', since: '2027-01-04', workingDays: 12 },
  ])
  await shop.moved(ticket.number, 'on-the-bench', {}, shop.bench)
  await shop.told(ticket.number, 'operations', { line: estimate.lines[1]!.id, state: 'done' }, shop.bench)
  await shop.told(ticket.number, 'openings', { reason: 'cell' }, shop.bench)
  await shop.manager
    .post('/v1/house-rules', { key: 'openedMovements', value: 1, fromDay: '2027-01-20', reason: 'small dust covers' })
    .expect(201)
  const place = (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body.place as string
  expect(await report()).toMatchObject({
    skills: [{ needed: 20 }],
    untouched: [],
    openCases: [{ place, watches: 1, limit: 1, tooMany: false, numbers: [ticket.number] }],
  })
  await shop.told(ticket.number, 'closings', {}, shop.bench)
  expect((await report()).openCases).toEqual([])
  expect((await shop.counter.get('/v1/reports/benches')).status).toBe(403)
})
