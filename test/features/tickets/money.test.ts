import { afterAll, beforeAll, expect, test } from 'vitest'
import { eur, openShop, type Shop } from './shop.ts'

/** Deposits, bill and goodwill through the doors; the amounts are worked by hand, tax of each line at 20 %. */
let shop: Shop
beforeAll(async () => {
  shop = await openShop()
})
afterAll(() => shop.close())

type Line = { id: string; what: string; ifRefused: string | null }
const labour = { what: 'labour', unitPrice: 28_000, taxClass: 'usual', choice: 'must', opensCase: true }
const gaskets = { what: 'gaskets', quantity: 3, unitPrice: 450, taxClass: 'usual', choice: 'must', requiredBy: 2 }
const pressure = { what: 'test', unitPrice: 0, taxClass: 'usual', choice: 'must', requiredBy: 0, pressureTest: true }
const crystal = { what: 'crystal', part: true, unitPrice: 6200, taxClass: 'usual', choice: 'should' }
const stem = { what: 'stem', unitPrice: 1800, taxClass: 'usual', choice: 'must' }

const read = async (ref: string) => (await shop.counter.get(`/v1/tickets/${ref}`).expect(200)).body
const answer = (ref: string, version: number, lines: Record<string, string>, total: number, person: string) =>
  shop.say(ref, `estimates/${version}/answers`, {
    person,
    how: 'in-person',
    total: eur(total),
    lines: Object.entries(lines).map(([line, yes]) => ({ line, answer: yes })),
  })

test('a deposit is held until the hand-over, comes off what is still to be paid, and no more goes back than was received', async () => {
  const ticket = await shop.book()
  const pay = (how: string, amount: number, currency = 'EUR') =>
    shop.say(ticket.number, 'payments', { how, amount: { amount, currency } })
  expect(await read(ticket.number)).toMatchObject({ agreedTotal: null, balance: null, deposits: null })
  expect((await pay('paid', 0)).body.errors[0].pointer).toBe('#/amount/amount')
  expect((await pay('returned', 1)).body.errors[0].pointer).toBe('#/amount/amount')
  const estimate = await shop.agreed(ticket.number, 'cell', [labour, gaskets, pressure, crystal])
  expect(estimate).toMatchObject({ net: 35_550, tax: 7110, total: 42_660 })
  expect((await pay('deposit', 7440)).status).toBe(201)
  expect((await pay('deposit', 7440, 'CHF')).body.errors[0].pointer).toBe('#/amount/currency')
  const held = { received: eur(7440), returned: eur(0), held: eur(7440), used: eur(0) }
  expect(await read(ticket.number)).toMatchObject({
    agreedTotal: eur(42_660),
    balance: eur(35_220),
    deposits: held,
    bill: eur(0),
  })
  expect((await pay('returned', 7441)).body.errors[0].pointer).toBe('#/amount/amount')

  // the house cannot do the work: nothing was done, so all of it goes back
  await shop.moved(ticket.number, 'return-undone', { reason: 'the crystal is made no more' })
  expect(await read(ticket.number)).toMatchObject({ bill: eur(0), balance: eur(-7440), deposits: held })
  expect((await pay('returned', 7440)).status).toBe(201)
  expect(await read(ticket.number)).toMatchObject({
    balance: eur(0),
    deposits: { received: eur(7440), returned: eur(7440), held: eur(0), used: eur(0) },
  })
})

test('used by the bill on the day of the hand-over', async () => {
  const ticket = await shop.readied()
  await shop.told(ticket.number, 'payments', { how: 'deposit', amount: eur(1000) })
  await shop.pay(ticket.number, 2600)
  expect(await read(ticket.number)).toMatchObject({ bill: eur(3600), balance: eur(0), deposits: { held: eur(1000) } })
  const release = shop.release(ticket, ticket.collector, ticket.serialOn, { twinAnswer: 'compared' })
  await shop.moved(ticket.number, 'handed-over', { release })
  expect(await read(ticket.number)).toMatchObject({ deposits: { held: eur(0), used: eur(1000) } })
})

test('a line that others need says what goes with it, and is not refused by itself', async () => {
  const ticket = await shop.book()
  await shop.moved(ticket.number, 'looked-over')
  const { lines } = await shop.told(
    ticket.number,
    'estimates',
    { lines: [labour, gaskets, pressure, crystal] },
    shop.bench,
  )
  expect(lines.map((line: Line) => line.ifRefused)).toEqual([
    null,
    'Without "gaskets" we cannot do "test" and "labour", nor test or promise water resistance.',
    'Without "test" we cannot do "labour", nor test or promise water resistance.',
    null,
  ])
})

test('goodwill adds up and never takes off more than the line', async () => {
  const ticket = await shop.readied()
  const line = ticket.estimate.lines[0]!.id
  const give = (amount: number) =>
    shop.manager.post(`/v1/tickets/${ticket.number}/goodwill`, { line, amount, reason: 'it took long' })
  expect((await give(1500)).body.bill).toEqual(eur(1800))
  expect((await give(300)).body.bill).toEqual(eur(1440))
  expect((await give(201)).body.errors[0]).toMatchObject({
    pointer: '#/amount',
    detail: expect.stringContaining('at most 200'),
  })
  expect((await give(200)).body.bill).toEqual(eur(1200))
})

test('what was done under a yes is payable where the next version gets none: the fee of a first look, or work before a refusal', async () => {
  const ticket = await shop.book()
  const look = { what: 'look at the movement', unitPrice: 2500, taxClass: 'usual', choice: 'must' }
  await shop.moved(ticket.number, 'looked-over')
  await shop.told(ticket.number, 'looks', { findings: 'to be taken apart', workClass: 'three-hand' }, shop.bench)
  const first = await shop.told(ticket.number, 'estimates', { kind: 'look-first', lines: [look] }, shop.bench)
  await shop.moved(ticket.number, 'awaiting-yes')
  const { ownerName } = await read(ticket.number)
  const [fee] = first.lines as [Line]
  await answer(ticket.number, 1, { [fee.id]: 'yes' }, 3000, ownerName).then((reply) => expect(reply.status).toBe(201))
  await shop.toBench(ticket.number)
  await shop.told(ticket.number, 'operations', { line: fee.id, state: 'done', finding: 'worn through' }, shop.bench)
  const second = await shop.told(ticket.number, 'estimates', { lines: [stem] }, shop.bench)
  expect((await read(ticket.number)).bill, 'not answered').toEqual(eur(3000))
  await shop.moved(ticket.number, 'awaiting-yes')
  await answer(ticket.number, 2, { [second.lines[0].id]: 'no' }, 0, ownerName)
  await shop.moved(ticket.number, 'return-undone', { reason: 'too dear' })
  expect(await read(ticket.number)).toMatchObject({ bill: eur(3000), balance: eur(3000) })
  expect((await shop.gates(ticket.number)).G15!.state).toBe('shut')
})

test('a new version repeats lines of the one before: what was done of them stays done, at no higher price, and is payable', async () => {
  const ticket = await shop.book()
  const { lines, ownerName } = await shop.agreed(ticket.number, 'cell', [labour, gaskets, pressure, crystal])
  const [work, seals, test_] = lines as unknown as [Line, Line, Line, Line]
  await shop.toBench(ticket.number)
  await shop.told(ticket.number, 'openings', { reason: 'service' }, shop.bench)
  await shop.told(ticket.number, 'operations', { line: work.id, state: 'done', minutes: 95 }, shop.bench)
  const make = (more: object[]) => shop.say(ticket.number, 'estimates', { lines: more }, shop.bench)
  const repeat = { sameAs: work.id }
  for (const [wrong, pointer] of [
    [{ sameAs: ticket.id }, '#/lines/0/sameAs'],
    [{ ...repeat, unitPrice: 28_001 }, '#/lines/0/unitPrice'],
    [{ ...repeat, quantity: 2 }, '#/lines/0/unitPrice'],
    [{ what: 'polish', unitPrice: 100, taxClass: 'usual' }, '#/lines/0/choice'],
  ] as const)
    expect((await make([wrong])).body.errors[0].pointer, JSON.stringify(wrong)).toBe(pointer)
  const made = await make([repeat, { sameAs: seals.id }, { sameAs: test_.id }, stem])
  expect(made.status, JSON.stringify(made.body)).toBe(201)
  // 280.00 + 13.50 + 0 + 18.00 and 20 % of each
  expect(made.body).toMatchObject({ version: 2, net: 31_150, total: 37_380, insideCeiling: false })
  const [again, sealsAgain, testAgain, stemLine] = made.body.lines as [Line, Line, Line, Line]
  expect(made.body.lines).toMatchObject([
    { what: 'labour', unitPrice: 28_000, opensCase: true, requiredBy: null },
    { what: 'gaskets', quantity: 3, unitPrice: 450, requiredBy: testAgain.id },
    { what: 'test', pressureTest: true, requiredBy: again.id },
    { what: 'stem' },
  ])
  expect((await read(ticket.number)).bill, 'payable by the version before').toEqual(eur(33_600))
  await shop.moved(ticket.number, 'awaiting-yes')
  const none = Object.fromEntries([again, sealsAgain, testAgain, stemLine].map((line) => [line.id, 'no']))
  expect((await answer(ticket.number, 2, none, 0, ownerName)).body.errors[0]).toMatchObject({
    pointer: '#/lines/0/answer',
    detail: '"labour" was done under the yes before, and is payable',
  })
  const all = Object.fromEntries([again, sealsAgain, testAgain, stemLine].map((line) => [line.id, 'yes']))
  await answer(ticket.number, 2, all, 37_380, ownerName).then((reply) => expect(reply.status).toBe(201))
  expect(await read(ticket.number)).toMatchObject({ bill: eur(33_600), balance: eur(37_380) })
  const ten = (await shop.gates(ticket.number)).G10!
  expect(ten.why).toBe('neither done nor struck out: gaskets, test, stem')
  const records = (await shop.counter.get(`/v1/tickets/${ticket.number}/records?kind=operation`).expect(200)).body.items
  expect(records).toMatchObject([
    { content: { minutes: 95 } },
    { line: { id: again.id }, words: 'done: labour; before the new version, which repeats it' },
  ])
  const strike = { record: records[0].id, reason: 'another watch' }
  await shop.told(ticket.number, 'strikes', strike, shop.bench)
  expect((await shop.gates(ticket.number)).G10!.why).toContain('labour')
  expect((await read(ticket.number)).bill).toEqual(eur(0))
})

test('where the house asks a deposit for special orders, money opens the way and a word does not', async () => {
  await shop.made(shop.manager, '/v1/house-rules', {
    key: 'depositForSpecialOrders',
    value: 1,
    fromDay: '2026-11-25',
    reason: 'crystals that nobody fetched',
  })
  const ticket = await shop.book()
  const { lines } = await shop.agreed(ticket.number, 'cell', [labour, gaskets, pressure, crystal])
  await shop.moved(ticket.number, 'awaiting-parts')
  const part = { what: 'crystal', line: lines[3]!.id, onHand: true, special: true, deposit: 'received' }
  await shop.told(ticket.number, 'parts', { lines: [part] }, shop.stock)
  expect((await shop.gates(ticket.number)).G8).toMatchObject({
    state: 'shut',
    why: expect.stringContaining('a deposit for a special order is outstanding'),
  })
  await shop.told(ticket.number, 'payments', { how: 'deposit', amount: eur(7440) })
  expect((await shop.gates(ticket.number)).G8!.state).toBe('open')
  await shop.told(ticket.number, 'payments', { how: 'returned', amount: eur(7440) })
  expect((await shop.gates(ticket.number)).G8!.state, 'returned').toBe('shut')
})
