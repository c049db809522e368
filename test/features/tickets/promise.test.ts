import { afterAll, beforeAll, expect, test } from 'vitest'
import { run as flagLots } from '../../../src/jobs/flag-lots.ts'
import { eur, openShop, type Shop } from './shop.ts'

/** When is it ready: reckoned from what is on file, beside what was promised. */
let shop: Shop
beforeAll(async () => {
  shop = await openShop({ now: '2026-11-26T09:00:00Z' })
  await shop.set('holidays', ['2026-12-25', '2026-12-28', '2027-01-01'])
  const price = { from: '2026-11-26', amount: 30_000, currency: 'EUR', taxClass: 'usual', guarantee: 'repair' }
  for (const [code, minutes] of [
    ['service', 210],
    ['long', 3840],
  ] as const)
    await shop.manager.post('/v1/prices', { ...price, code, what: `${code} of the movement`, minutes }).expect(201)
})
afterAll(() => shop.close())

const line = (code: string) => ({ code, choice: 'must' })
const spring = { what: 'mainspring', unitPrice: 4000, taxClass: 'usual', choice: 'must', part: true }
const promise = async (ref: string, caller = shop.counter) =>
  (await caller.get(`/v1/tickets/${ref}/promise`).expect(200)).body
const terms = (body: { terms: { term: string; workingDays: number; on: string }[] }) =>
  Object.fromEntries(body.terms.map(({ term, workingDays, on }) => [term, [workingDays, on]]))
const promised = async (ref: string, on: string) => (await shop.told(ref, 'promises', { on })).warnings as string[]
/** Agreed and in the queue. */
const queued = async (code = 'service', workClass = 'three-hand') => {
  const ticket = await shop.book()
  const estimate = await shop.agreed(ticket.number, workClass, [line(code)])
  await shop.moved(ticket.number, 'ready-for-bench')
  return { ...ticket, estimate }
}
/** What the tests before left at the benches is theirs. */
const cleared = async () => {
  const { rows } = await shop.house.database.pool.query<{ number: string }>(
    `select number from ticket where ended is null and step = 'ready-for-bench' and side is null`,
  )
  for (const { number } of rows)
    await shop.counter
      .post(`/v1/tickets/${number}/side-states`, { state: 'on-hold', until: '2027-06-01', reason: 'not of this test' })
      .expect(200)
}

test('step by step: no date before what it hangs on is known, and a date under a condition before the yes', async () => {
  const { number } = await shop.book()
  expect(await promise(number)).toMatchObject({
    step: 'booked-in',
    promisedOn: null,
    readyOn: null,
    ifYesToday: null,
    terms: [],
    unknown: ['the class of work: it is named at the look'],
    words: 'No day can be said yet; not known is: the class of work: it is named at the look.',
  })
  await shop.moved(number, 'looked-over')
  await shop.told(number, 'looks', { findings: 'dry', workClass: 'three-hand' }, shop.bench)
  expect((await promise(number, shop.bench)).unknown).toEqual(['what is to be done: there is no estimate'])
  const polish = { what: 'polish', unitPrice: 900, taxClass: 'usual', choice: 'could' }
  const two = await shop.told(number, 'estimates', { lines: [line('service'), polish] }, shop.bench)
  expect((await promise(number)).unknown).toEqual(['how long "polish" takes: it names no code of the price list'])
  await shop.moved(number, 'awaiting-yes')
  const { ownerName } = (await shop.counter.get(`/v1/tickets/${number}`).expect(200)).body
  await shop.told(number, `estimates/${two.version}/answers`, {
    person: ownerName,
    how: 'in-person',
    total: eur(36_000),
    lines: (two.lines as { id: string }[]).map(({ id }, i) => ({ line: id, answer: i === 0 ? 'yes' : 'no' })),
  })
  // answered, but not yet taken to the benches: the gate of the yes is asked by the move
  expect(await promise(number)).toMatchObject({ readyOn: null, ifYesToday: '2026-12-03' })
  await shop.moved(number, 'ready-for-bench')
  const reckoned = await promise(number)
  expect(reckoned).toMatchObject({ readyOn: '2026-12-03', ifYesToday: null, unknown: [], daysLate: null })
  expect(terms(reckoned)).toEqual({
    yes: [0, '2026-11-26'],
    queue: [0, '2026-11-26'],
    bench: [1, '2026-11-27'],
    settling: [1, '2026-11-30'],
    observation: [1, '2026-12-01'],
    finish: [1, '2026-12-02'],
    buffer: [1, '2026-12-03'],
  })
  expect((await shop.stock.get(`/v1/tickets/${number}/promise`)).status).toBe(403)
  await cleared()
  expect((await promise(number)).unknown).toEqual(['when it goes on: it stands aside as "on-hold"'])
})

test('the queue: what was promised earlier stands before it, and a promise too early is answered with a warning', async () => {
  const long = await queued('long')
  const ticket = await queued()
  // ten days of work on the one bench
  expect(terms(await promise(ticket.number)).queue).toEqual([10, '2026-12-10'])
  const { readyOn } = await promise(ticket.number)
  expect(readyOn).toBe('2026-12-18')
  expect(await promised(ticket.number, '2026-12-17')).toEqual([
    'By what is on file today it will be ready on 2026-12-18: later than 2026-12-17.',
  ])
  // promised earlier than the long one, it now stands before it
  expect(await promise(ticket.number)).toMatchObject({ promisedOn: '2026-12-17', readyOn: '2026-12-03', daysLate: 0 })
  expect(await promised(long.number, '2026-12-10')).toHaveLength(1)
  expect(await promise(ticket.number)).toMatchObject({
    readyOn: '2026-12-18',
    daysLate: 1,
    words: 'It was promised for 2026-12-17, but by what is on file today it will be ready on 2026-12-18.',
  })
  expect(await promised(ticket.number, '2026-12-18')).toBeUndefined()
  expect((await promise(ticket.number)).words).toBe(
    'It is promised for 2026-12-18, and by what is on file today that will be kept (ready on 2026-12-18).',
  )
  await cleared()
})

test('parts: the supplier’s word until ten of its orders are known, then the day by which eight of ten had come', async () => {
  const { number } = await shop.book()
  const estimate = await shop.agreed(number, 'three-hand', [line('service'), spring])
  await shop.moved(number, 'awaiting-parts')
  expect((await promise(number)).unknown).toEqual(['whether mainspring is on hand: nobody has said'])
  const awaited = { what: 'mainspring', line: estimate.lines[1]!.id, onHand: false }
  await shop.told(number, 'parts', { lines: [awaited] }, shop.stock)
  expect((await promise(number)).unknown).toEqual(['when mainspring will come'])
  const part = { ...awaited, orderedOn: '2026-11-27', expectedOn: '2026-12-11', supplier: 'Tower Supplies' }
  await shop.told(number, 'parts', { lines: [part] }, shop.stock)
  const by = async () => (await promise(number)).terms.find(({ term }: { term: string }) => term === 'parts')
  expect(await by()).toMatchObject({ on: '2026-12-11', because: expect.stringContaining('0 past orders are known') })

  // ten orders of the autumn: half of them came within 10 working days, eight of ten within 18
  await shop.stock.post('/v1/designations', { designation: 'SR626SW', drain: 'low' }).expect(201)
  const arrived = ['09-08', '09-09', '09-10', '09-11', '09-14', '09-16', '09-18', '09-24', '10-05', '10-12']
  for (const [i, on] of arrived.entries()) {
    shop.house.setNow('2026-08-31T09:00:00Z')
    const { id } = await shop.made(shop.stock, '/v1/stock-orders', {
      designation: 'SR626SW',
      supplier: i % 2 === 0 ? 'Tower Supplies' : 'TOWER SUPPLIES',
      pieces: 10,
      unitPrice: eur(40),
      expectedOn: '2026-09-30',
    })
    shop.house.setNow(`2026-${on}T09:00:00Z`)
    await shop.stock.post(`/v1/stock-orders/${id}/receipt`).expect(200)
  }
  shop.house.setNow('2026-11-26T09:00:00Z')
  expect(await by()).toMatchObject({
    on: '2026-12-23',
    because: 'mainspring: of 10 past orders at Tower Supplies 80 % had come within 18 working days; ordered 2026-11-27',
  })
  shop.house.setNow('2026-12-24T09:00:00Z')
  expect((await promise(number)).unknown).toEqual(['when mainspring will come: it was awaited by 2026-12-23'])
  await shop.told(number, 'parts', { lines: [{ ...part, onHand: true }] }, shop.stock)
  // settled over the holidays, observed from the first day after them
  expect(terms(await promise(number))).toMatchObject({
    bench: [1, '2026-12-29'],
    observation: [1, '2026-12-31'],
    buffer: [1, '2027-01-05'],
  })
  shop.house.setNow('2026-11-26T09:00:00Z')
})

test('at the bench and after it only what is left counts; ready is ready', async () => {
  const { number, estimate } = await queued('service', 'quartz')
  await queued('long', 'quartz')
  await shop.toBench(number)
  expect(terms(await promise(number))).toEqual({
    bench: [1, '2026-11-27'],
    observation: [1, '2026-11-30'],
    finish: [1, '2026-12-01'],
    buffer: [1, '2026-12-02'],
  })
  await shop.told(number, 'operations', { line: estimate.lines[0]!.id, state: 'done' }, shop.bench)
  expect(terms(await promise(number)).bench).toEqual([0, '2026-11-26'])
  const done = await shop.readied()
  expect(await promise(done.number)).toMatchObject({ readyOn: null, unknown: [], words: 'It is ready.' })
  await cleared()
})

test('the daily re-check: whom to tell first, one task a promise, closed when the owner is told or the watch is ready', async () => {
  const { database } = shop.house
  const report = async () => (await shop.manager.get('/v1/reports/promises').expect(200)).body
  const mine = async (...numbers: string[]) =>
    (await report()).items.filter((item: { number: string }) => numbers.includes(item.number))
  const night = (today: string) => flagLots({ db: database, today: today as never, currency: 'EUR' })
  const tasks = async (done = 'no') =>
    (await shop.counter.get(`/v1/tasks?kind=promise-late&done=${done}`).expect(200)).body.items

  const long = await queued('long')
  const late = await queued()
  const kept = await queued()
  await promised(long.number, '2026-12-22')
  await promised(kept.number, '2027-01-15')
  const unknown = await shop.book()
  await promised(unknown.number, '2026-12-04')
  await promised(late.number, '2026-12-23')
  expect((await mine(late.number))[0], 'behind ten days of work').toMatchObject({
    readyOn: '2026-12-18',
    standing: 'kept',
    daysLate: 0,
  })
  await night('2026-11-26')
  expect(await tasks()).toEqual([])

  // nothing was begun for a week
  shop.house.setNow('2026-12-03T09:00:00Z')
  await night('2026-12-03')
  const numbers = [long, late, kept, unknown].map(({ number }) => number)
  const whose = expect.stringContaining('the class of work')
  expect(await mine(...numbers)).toMatchObject([
    { number: long.number, readyOn: '2026-12-29', daysLate: 3, standing: 'late', toldOn: null, because: '' },
    { number: late.number, readyOn: '2026-12-29', daysLate: 2, standing: 'late', toldOn: null, because: '' },
    { number: unknown.number, readyOn: null, daysLate: null, standing: 'not-known', because: whose },
    { number: kept.number, readyOn: '2026-12-30', daysLate: 0, standing: 'kept' },
  ])
  expect((await tasks()).map((task: { words: string; dueOn: string }) => [task.words, task.dueOn])).toEqual([
    [
      `The watch of ticket ${long.number} was promised for 2026-12-22; by what is on file now: ready on 2026-12-29. Tell the owner before that day, and record the new promise.`,
      '2026-12-22',
    ],
    [expect.stringContaining(`ticket ${late.number} was promised for 2026-12-23`), '2026-12-23'],
  ])
  await night('2026-12-03')
  expect(await tasks(), 'once').toHaveLength(2)

  // one is told of the delay, one gets a new day
  await shop.told(long.number, 'contacts', { about: 'delay', means: 'phone', result: 'failed' })
  expect(await tasks()).toHaveLength(2)
  await shop.told(long.number, 'contacts', { about: 'delay', means: 'phone', result: 'delivered' })
  await promised(late.number, '2027-01-08')
  expect(await tasks()).toEqual([])
  expect((await tasks('yes')).map((task: { doneHow: string }) => task.doneHow).sort()).toEqual([
    'a new date was promised, 2027-01-08',
    'the owner was told of the delay',
  ])
  expect(await mine(...numbers)).toMatchObject([
    { number: unknown.number },
    { number: long.number, standing: 'late', toldOn: '2026-12-03' },
    { number: late.number, standing: 'kept', promisedOn: '2027-01-08' },
    { number: kept.number },
  ])
  await night('2026-12-04')
  expect(await tasks(), 'a kept promise, one told, and one whose day is not over').toEqual([])
  await night('2026-12-05')
  expect(await tasks()).toMatchObject([{ dueOn: '2026-12-05', words: expect.stringContaining('no day can be said') }])

  const table = await shop.counter.get('/v1/reports/promises').set('accept', 'text/csv').expect(200)
  expect(table.text.split('\r\n')[0]).toBe(
    'number,watch,ownerName,step,promisedOn,readyOn,daysLate,standing,toldOn,because',
  )
  expect((await shop.bench.get('/v1/reports/promises')).status).toBe(403)
  shop.house.setNow('2026-11-26T09:00:00Z')
  await cleared()
})

test('a watch that is ready after all ends the task to tell that it is late', async () => {
  const { number, estimate } = await queued('service', 'cell')
  await promised(number, '2026-11-25')
  await flagLots({ db: shop.house.database, today: '2026-11-26' as never, currency: 'EUR' })
  const open = async () =>
    (await shop.counter.get('/v1/tasks?kind=promise-late').expect(200)).body.items.filter((task: { words: string }) =>
      task.words.includes(`ticket ${number} `),
    )
  expect(await open()).toHaveLength(1)
  await shop.toBench(number)
  await shop.worked(number, estimate.lines)
  await shop.waterTest(number)
  await shop.moved(number, 'final-check', {}, shop.bench)
  await shop.check(number)
  await shop.moved(number, 'ready', {}, shop.checker)
  expect(await open()).toEqual([])
  const { items } = (await shop.counter.get('/v1/reports/promises').expect(200)).body
  expect(items.map((item: { number: string }) => item.number)).not.toContain(number)
})

test('a promise struck as a mistake, and a ticket that ends, leave nobody the task to tell that it is late', async () => {
  const [struck, lost] = [await queued('service', 'cell'), await queued('service', 'cell')]
  for (const { number } of [struck, lost]) await promised(number, '2026-11-25')
  await flagLots({ db: shop.house.database, today: '2026-11-26' as never, currency: 'EUR' })
  const whose = async (done = 'no') =>
    (await shop.counter.get(`/v1/tasks?kind=promise-late&done=${done}`).expect(200)).body.items.flatMap(
      (task: { words: string; doneHow: string | null }) =>
        [struck, lost].flatMap(({ number }) =>
          task.words.includes(`ticket ${number} `) ? [[number, task.doneHow]] : [],
        ),
    )
  expect((await whose()).sort()).toEqual(
    [
      [struck.number, null],
      [lost.number, null],
    ].sort(),
  )
  const { items } = (await shop.counter.get(`/v1/tickets/${struck.number}/records?kind=promise`).expect(200)).body
  await shop.told(struck.number, 'strikes', { record: items[0].id, reason: 'it was of another watch' })
  await shop.counter
    .post(`/v1/tickets/${lost.number}/side-states`, {
      state: 'missing',
      until: '2026-11-30',
      reason: 'not in its place',
    })
    .expect(200)
  await shop.manager
    .post(`/v1/tickets/${lost.number}/endings`, { as: 'lost-and-settled', words: 'the insurer has paid' })
    .expect(200)
  expect(await whose()).toEqual([])
  expect((await whose('yes')).sort()).toEqual(
    [
      [struck.number, 'the promise was struck as a mistake'],
      [lost.number, 'the ticket ended as lost-and-settled'],
    ].sort(),
  )
  await cleared()
})

test('the next watch of a free bench: only what it may do and what is in order; damage, comebacks, then what has least time', async () => {
  const first = await shop.readied()
  await shop.pay(first.number, 3600)
  await shop.moved(first.number, 'handed-over', {
    release: shop.release(first, first.collector, first.serialOn, { twinAnswer: 'compared' }),
  })
  const kitted = async (ref: string) =>
    shop.told(ref, 'kits', { ...shop.kit, parts: [{ what: 'cell', lotUnknownBecause: 'an old drawer' }] }, shop.bench)
  const ready = async (code: string, workClass: string, on: string | null) => {
    const { number } = await queued(code, workClass)
    await kitted(number)
    if (on !== null) await promised(number, on)
    return number
  }
  const free = await ready('service', 'quartz', null)
  const soon = await ready('service', 'quartz', '2026-12-07')
  const long = await ready('long', 'three-hand', '2026-12-08')
  const { number: unkitted } = await queued()
  // not for this bench
  await ready('service', 'chronograph', '2026-11-27')

  const waits = await shop.book()
  const asked = await shop.agreed(waits.number, 'quartz', [line('service'), spring])
  await shop.moved(waits.number, 'awaiting-parts')
  const parts = { what: 'mainspring', line: asked.lines[1]!.id, onHand: false }
  await shop.told(waits.number, 'parts', { lines: [parts] }, shop.stock)
  await shop.told(
    waits.number,
    'kits',
    { ...shop.kit, parts: [{ line: parts.line, lotUnknownBecause: 'from the old drawer' }, ...shop.kit.parts] },
    shop.bench,
  )

  const leaking = await shop.book({ hazards: [{ kind: 'leaking-cell' }] })
  await shop.told(leaking.number, 'hazard-confirmations', { bench: shop.benchId, note: 'gloves' }, shop.bench)
  await shop.agreed(leaking.number, 'cell', [line('service')])
  await shop.moved(leaking.number, 'ready-for-bench')
  await kitted(leaking.number)

  const again = await shop.book({ ownerId: first.ownerId, watchId: first.watchId, comebackOf: first.number })
  await shop.moved(again.number, 'looked-over')
  const [covered, test] = first.estimate.lines
  const decided = { voided: 'no', because: 'it runs', cause: 'lot' }
  await shop.told(
    again.number,
    'comeback-decisions',
    { lines: [{ ...decided, line: covered!.id, covered: true }] },
    shop.bench,
  )
  await shop.told(again.number, 'looks', { findings: 'spent', workClass: 'cell' }, shop.bench)
  const free0 = { taxClass: 'usual', choice: 'must', underGuaranteeOf: covered!.id }
  const estimate = await shop.told(
    again.number,
    'estimates',
    {
      lines: [
        { ...free0, what: 'cell change', unitPrice: 2000 },
        { ...free0, what: test!.what, unitPrice: 1000 },
      ],
    },
    shop.bench,
  )
  await shop.moved(again.number, 'awaiting-yes')
  await shop.told(again.number, 'estimates/1/answers', {
    person: first.collector,
    how: 'in-person',
    total: eur(0),
    lines: (estimate.lines as { id: string }[]).map(({ id }) => ({ line: id, answer: 'yes' })),
  })
  await shop.moved(again.number, 'ready-for-bench')
  await kitted(again.number)
  const wet = await shop.book({ hazards: [{ kind: 'water-inside' }] })

  const next = async (bench: string, more = '') =>
    (await shop.bench.get(`/v1/benches/${bench}/next${more}`).expect(200)).body
  const numbers = (body: { items: { number: string }[] }) => body.items.map(({ number }) => number)
  const found = await next(shop.benchId, '?limit=10')
  expect(numbers(found)).toEqual([leaking.number, again.number, long, soon, free])
  expect(found.items.map(({ rank }: { rank: string }) => rank)).toEqual([
    'stop-the-damage',
    'comeback',
    'usual',
    'usual',
    'usual',
  ])
  // ten days of work, two of waits and one to finish in eight
  expect(found.items[2]).toMatchObject({ left: 8, needed: 13, ratio: 0.62, tellOwner: true, kitAt: 'Bench 2' })
  expect(found.items[3]).toMatchObject({ left: 7, needed: 2.55, ratio: 2.75, tellOwner: false })
  expect(found).toMatchObject({
    notRead: 0,
    opened: { watches: 0, limit: 6, mayOpenAnother: true },
    hint: null,
    damage: [{ number: wet.number, step: 'booked-in', hazard: 'water-inside' }],
  })
  expect(await next(shop.benchId, '?limit=2')).toMatchObject({ items: found.items.slice(0, 2), notRead: 4 })
  expect(numbers(found)).not.toContain(unkitted)

  const { id: small } = await shop.made(shop.manager, '/v1/benches', { name: 'Counter', skills: ['cells-and-seals'] })
  const other = await next(small)
  expect(numbers(other), 'no bench for a leaking cell').toEqual([again.number])
  expect(other.damage).toEqual([])
  // it lies at the counter with its case open
  await shop.toBench(again.number)
  await shop.told(again.number, 'openings', { reason: 'cell' }, shop.bench)
  expect((await next(small)).opened).toEqual({ watches: 1, limit: 6, mayOpenAnother: true })
  await shop.told(again.number, 'closings', {}, shop.bench)
  expect((await next(small)).opened.watches).toBe(0)

  await shop.told(waits.number, 'parts', { lines: [{ ...parts, onHand: true }] }, shop.stock)
  expect(numbers(await next(shop.benchId))).toContain(waits.number)
  shop.house.setNow('2026-11-27T09:00:00Z')
  expect((await next(shop.benchId)).hint).toContain('closed until 2026-11-30')
  shop.house.setNow('2026-12-20T09:00:00Z')
  expect(
    (await next(shop.benchId)).items.map(({ number, rank }: { number: string; rank: string }) => [number, rank]),
  ).toContainEqual([free, 'untouched'])
  expect((await shop.counter.get(`/v1/benches/${shop.benchId}/next`)).status).toBe(403)
  expect((await shop.bench.get(`/v1/benches/${first.id}/next`)).status).toBe(404)
  shop.house.setNow('2026-11-26T09:00:00Z')
  await cleared()
})

test('an owner who was told before the night asked is no task; a new promise that breaks, too, asks again', async () => {
  const { number } = await queued()
  const mine = async () => (await shop.manager.get('/v1/reports/promises').expect(200)).body.items[0]
  const night = async () => {
    await flagLots({ db: shop.house.database, today: '2026-11-26' as never, currency: 'EUR' })
    const { items } = (await shop.counter.get('/v1/tasks?kind=promise-late').expect(200)).body
    return items.filter((task: { words: string }) => task.words.includes(`ticket ${number} `)).length
  }
  await promised(number, '2026-11-27')
  await shop.told(number, 'contacts', { about: 'delay', means: 'phone', result: 'delivered' })
  expect(await promise(number)).toMatchObject({ readyOn: '2026-12-03', daysLate: 4, toldOn: '2026-11-26' })
  expect(await night()).toBe(0)
  await promised(number, '2026-12-01')
  expect(await promise(number)).toMatchObject({ daysLate: 2, toldOn: null })
  expect(await mine()).toMatchObject({ number, standing: 'late', toldOn: null })
  expect(await night()).toBe(1)
  await cleared()
})
