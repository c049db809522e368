import { afterAll, beforeAll, expect, test } from 'vitest'
import { addCalibre, addDesignation, receive } from '../stock/shelf.ts'
import { openShop, type Shop } from './shop.ts'

let shop: Shop
let calibre: string
beforeAll(async () => {
  shop = await openShop()
  await addDesignation(shop.house, 'SR626SW', { capacityMah: 28 })
  calibre = await addCalibre(shop.house, 'Q 10', 'SR626SW')
})
afterAll(() => shop.close())

const onTheBench = async () => {
  const owner = await shop.owner()
  const watchId = await shop.watch(owner, { calibreId: calibre })
  const ticket = await shop.book({ ownerId: owner, watchId })
  await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  return ticket
}

test('a cell fitted from its lot carries best-before and measured consumption into the next change', async () => {
  const lot = await receive(shop.house, 'SR626SW', 'L1', 10, '2029-06-30')
  const ticket = await onTheBench()
  const reading = await shop.told(
    ticket.number,
    'quartz-readings',
    { consumption: { value: 1.9, unit: 'uA' }, capacityMah: 28, tool: shop.tools.quartz },
    shop.bench,
  )
  expect(reading.predictedMonths).toBeCloseTo(20.17, 2)
  await shop.told(ticket.number, 'openings', { reason: 'cell' }, shop.bench)
  const early = await shop.say(ticket.number, 'cell-fittings', { designation: 'SR626SW', lot }, shop.bench)
  expect(early.status, 'nothing is out at the bench yet').toBe(409)
  const issued = await shop.bench.post('/v1/cell-issues', {
    watchId: ticket.watchId,
    ticketId: ticket.id,
    wants: [{ designation: 'SR626SW', pieces: 1 }],
  })
  expect(issued.status, JSON.stringify(issued.body)).toBe(201)
  await shop.told(
    ticket.number,
    'cell-fittings',
    { designation: 'SR626SW', lot, consumptionReading: reading.id },
    shop.bench,
  )
  const { body } = await shop.counter.get(`/v1/watches/${ticket.watchId}/obligations`).expect(200)
  const cell = body.obligations.find((one: { kind: string }) => one.kind === 'cell-change')
  // 28 mAh at 1.9 µA: floor(0.9 × 28,000 ÷ (1.9 × 730.5)) = 18 months
  expect(cell).toMatchObject({ rule: 'consumption', baseOn: '2026-11-25', dueOn: '2028-05-25' })
  const { rows } = await shop.house.database.pool.query(
    'select e.kind, e.pieces, r.lot_id from stock_entry e join ticket_record r on r.lot_id = e.lot_id where e.ticket_id = $1 and e.kind = $2',
    [ticket.id, 'fitted'],
  )
  expect(rows).toEqual([{ kind: 'fitted', pieces: 1, lot_id: lot }])
})

test('a cell fitted past the ticket, at the door of the stock, opens the case all the same', async () => {
  await receive(shop.house, 'SR626SW', 'L2', 10, '2029-07-31')
  const ticket = await onTheBench()
  await shop.bench
    .post('/v1/cell-issues', {
      watchId: ticket.watchId,
      ticketId: ticket.id,
      wants: [{ designation: 'SR626SW', pieces: 1 }],
    })
    .expect(201)
  expect((await shop.gates(ticket.number)).G11!.state).toBe('not-asked')
  const out = (
    await shop.house.database.pool.query("select lot_id from stock_entry where ticket_id = $1 and kind = 'issued'", [
      ticket.id,
    ])
  ).rows[0].lot_id
  await shop.bench
    .post('/v1/cell-fittings', { watchId: ticket.watchId, ticketId: ticket.id, cells: [{ lotId: out, pieces: 1 }] })
    .expect(201)
  expect((await shop.gates(ticket.number)).G11).toMatchObject({ state: 'shut', why: 'the case is open' })
})

test('a gasket whose lot is called back shuts the gate of the work until another lot’s is fitted in its place', async () => {
  const { stock } = shop
  const kind = await stock
    .post('/v1/gasket-kinds', { name: 'case back 30 × 0.8', innerMm: 30, cordMm: 0.8, material: 'NBR' })
    .expect(201)
  const lot = async (lotNumber: string, cureQuarter: string): Promise<string> => {
    const made = await stock
      .post('/v1/gasket-lots', {
        kindId: kind.body.id,
        lotNumber,
        cureQuarter,
        supplier: 'Ringwright',
        receivedOn: '2026-06-01',
        pieces: 5,
        unitCost: { amount: 45, currency: 'EUR' },
        storagePlace: `gaskets ${lotNumber}`,
      })
      .expect(201)
    return made.body.id
  }
  const [first, second] = [await lot('R-1', '1Q2024'), await lot('R-2', '1Q2025')]
  const ticket = await onTheBench()
  await shop.told(ticket.number, 'openings', { reason: 'seals' }, shop.bench)
  const seal = async (lotId: string, position: string) => {
    await shop.bench
      .post('/v1/gasket-issues', { kindId: kind.body.id, pieces: 1, watchId: ticket.watchId, ticketId: ticket.id })
      .expect(201)
    await shop.told(ticket.number, 'seal-replacements', { seals: [{ position, lot: lotId }] }, shop.bench)
  }
  const recallPart = async () =>
    (await shop.gates(ticket.number)).G10!.parts.find((part: { part?: unknown }) => part.part === 'recall')
  await seal(first, 'back')
  expect(await recallPart()).toMatchObject({ open: true })
  await stock
    .post('/v1/recalls', { kindId: kind.body.id, supplier: 'Ringwright', lotNumber: 'R-1', reason: 'swells' })
    .expect(201)
  expect(await recallPart()).toMatchObject({ open: false, why: 'called back by its supplier: seal: back' })
  // another position says nothing of this one
  await seal(second, 'crown')
  expect(await recallPart()).toMatchObject({ open: false })
  await seal(second, 'back')
  expect(await recallPart()).toMatchObject({ open: true })
})

const lotOf = async (id: string, path = 'cell-lots') => (await shop.stock.get(`/v1/${path}/${id}`).expect(200)).body
const standingCells = async (watchId: string) => {
  const { rows } = await shop.house.database.pool.query(
    `select best_before from watch_event v where watch_id = $1 and event = 'cell-fitted' and not exists (select from strike s where s.fact_id = v.id)`,
    [watchId],
  )
  return rows.map((row) => row.best_before)
}
const factOf = async (watchId: string): Promise<string> =>
  (
    await shop.house.database.pool.query(
      `select id from watch_event where watch_id = $1 and event = 'cell-fitted' order by id desc limit 1`,
      [watchId],
    )
  ).rows[0].id
/** A watch on the bench with a cell from this lot in it, as its ticket says. */
const fitted = async (lot: string, ticket?: Awaited<ReturnType<typeof onTheBench>>, designation = 'SR626SW') => {
  const on = ticket ?? (await onTheBench())
  const { body } = await shop.bench
    .post('/v1/cell-issues', { watchId: on.watchId, ticketId: on.id, wants: [{ designation, pieces: 1 }] })
    .expect(201)
  expect(body.cells[0].lotId).toBe(lot)
  if (!ticket) await shop.told(on.number, 'openings', { reason: 'cell' }, shop.bench)
  const record = await shop.told(on.number, 'cell-fittings', { designation, lot }, shop.bench)
  return { ticket: on, record: record.id as string }
}

test('a fitting struck on its ticket gives the piece back to the bench, and the fact no longer counts', async () => {
  await addDesignation(shop.house, 'SR516SW')
  const own = await addCalibre(shop.house, 'Q 16', 'SR516SW')
  const lot = await receive(shop.house, 'SR516SW', 'S1', 10, '2029-08-31')
  const owner = await shop.owner()
  const ticket = await shop.book({ ownerId: owner, watchId: await shop.watch(owner, { calibreId: own }) })
  await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  await shop.told(ticket.number, 'openings', { reason: 'cell' }, shop.bench)
  const { record } = await fitted(lot, ticket, 'SR516SW')
  expect(await lotOf(lot)).toMatchObject({ shelf: 9, bench: 0 })
  await shop.told(ticket.number, 'strikes', { record, reason: 'it went into another watch' }, shop.manager)
  expect(await lotOf(lot)).toMatchObject({ shelf: 9, bench: 1 })
  expect(await standingCells(ticket.watchId)).toEqual([])
  const again = await shop.manager.post(`/v1/fittings/${await factOf(ticket.watchId)}/strike`, { reason: 'again' })
  expect(again.status).toBe(404)
  expect(await lotOf(lot)).toMatchObject({ shelf: 9, bench: 1 })
})

test.each([
  ['at the stock', (fact: string, _watch: string) => [`/v1/fittings/${fact}/strike`, { reason: 'wrong watch' }]],
  ['in the book', (fact: string, watch: string) => [`/v1/watches/${watch}/strikes`, { factId: fact, reason: 'no' }]],
] as const)(
  'a fitting struck %s takes the record of its ticket and its pieces with it, by a manager',
  async (at, door) => {
    const lot = await receive(shop.house, 'SR626SW', `S2 ${at}`, 1, '2029-05-31')
    const { ticket, record } = await fitted(lot)
    const [url, body] = door(await factOf(ticket.watchId), ticket.watchId) as [string, object]
    const refused = await shop.bench.post(url, body)
    expect(refused.body).toMatchObject({ type: '/problems/role-refused', roles: ['manager'] })
    expect(await lotOf(lot)).toMatchObject({ bench: 0 })
    await shop.manager.post(url, body).expect(201)
    expect(await lotOf(lot)).toMatchObject({ shelf: 0, bench: 1 })
    expect(await standingCells(ticket.watchId)).toEqual([])
    const again = await shop.say(ticket.number, 'strikes', { record, reason: 'again' }, shop.manager)
    expect(again.body).toMatchObject({ type: '/problems/not-found' })
  },
)

test('of two cells of one day the one that is struck goes back, and the other is the fact that stands', async () => {
  await addDesignation(shop.house, 'SR527SW')
  const double = await addCalibre(shop.house, 'Q 27', 'SR527SW', 2)
  const owner = await shop.owner()
  const ticket = await shop.book({ ownerId: owner, watchId: await shop.watch(owner, { calibreId: double }) })
  await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  await shop.told(ticket.number, 'openings', { reason: 'cells' }, shop.bench)
  const sooner = await receive(shop.house, 'SR527SW', 'D1', 1, '2029-05-31')
  const later = await receive(shop.house, 'SR527SW', 'D2', 1, '2029-08-31')
  const first = await fitted(sooner, ticket, 'SR527SW')
  const second = await fitted(later, ticket, 'SR527SW')
  expect(await standingCells(ticket.watchId)).toEqual(['2029-05-31'])
  await shop.told(ticket.number, 'strikes', { record: first.record, reason: 'not this lot' }, shop.manager)
  expect(await lotOf(sooner)).toMatchObject({ shelf: 0, bench: 1 })
  expect(await lotOf(later)).toMatchObject({ shelf: 0, bench: 0 })
  expect(await standingCells(ticket.watchId)).toEqual(['2029-08-31'])
  await shop.told(ticket.number, 'strikes', { record: second.record, reason: 'nor this' }, shop.manager)
  expect(await lotOf(later)).toMatchObject({ shelf: 0, bench: 1 })
  expect(await standingCells(ticket.watchId)).toEqual([])
})

test('of two seals put in together the one that is struck goes back; the other stays in', async () => {
  const kind = await shop.stock
    .post('/v1/gasket-kinds', { name: 'crown 2.1 × 0.4', innerMm: 2.1, cordMm: 0.4, material: 'NBR' })
    .expect(201)
  const lot = await shop.stock
    .post('/v1/gasket-lots', {
      kindId: kind.body.id,
      lotNumber: 'R-9',
      cureQuarter: '1Q2025',
      supplier: 'Ringwright',
      receivedOn: '2026-06-01',
      pieces: 2,
      unitCost: { amount: 45, currency: 'EUR' },
      storagePlace: 'gaskets R-9',
    })
    .expect(201)
  const ticket = await onTheBench()
  await shop.told(ticket.number, 'openings', { reason: 'seals' }, shop.bench)
  await shop.bench
    .post('/v1/gasket-issues', { kindId: kind.body.id, pieces: 2, watchId: ticket.watchId, ticketId: ticket.id })
    .expect(201)
  const { ids } = await shop.told(
    ticket.number,
    'seal-replacements',
    { seals: ['crown', 'pusher'].map((position) => ({ position, lot: lot.body.id })) },
    shop.bench,
  )
  const facts = async () =>
    (
      await shop.house.database.pool.query(
        `select 1 from watch_event v where watch_id = $1 and event = 'seals-replaced' and not exists (select from strike s where s.fact_id = v.id)`,
        [ticket.watchId],
      )
    ).rowCount
  await shop.told(ticket.number, 'strikes', { record: ids[1], reason: 'the pusher kept its own' }, shop.manager)
  expect(await lotOf(lot.body.id, 'gasket-lots')).toMatchObject({ shelf: 0, bench: 1 })
  expect(await facts()).toBe(1)
  await shop.told(ticket.number, 'strikes', { record: ids[0], reason: 'nor the crown' }, shop.manager)
  expect(await lotOf(lot.body.id, 'gasket-lots')).toMatchObject({ shelf: 0, bench: 2 })
  expect(await facts()).toBe(0)
})

test('what a ticket keeps of its records is what the records that stand say, after one was struck', async () => {
  const ticket = await shop.book()
  const now = async () => {
    const { rows } = await shop.house.database.pool.query(
      `select declared_value::float8 as value, promised_on::text as promised, work_class as "workClass", next_by::text as "nextBy" from ticket where id = $1`,
      [ticket.id],
    )
    return rows[0]
  }
  const risk = async (): Promise<number> =>
    (await shop.manager.get('/v1/reports/value-at-risk').expect(200)).body.places.reduce(
      (sum: number, row: { amount: number }) => sum + row.amount,
      0,
    )
  const before = await risk()
  const value = await shop.told(ticket.number, 'declared-values', { value: { amount: 900_000, currency: 'EUR' } })
  expect(await risk()).toBe(before + 850_000)
  await shop.told(ticket.number, 'promises', { on: '2026-12-10' })
  const promise = await shop.told(ticket.number, 'promises', { on: '2026-12-01' })
  await shop.moved(ticket.number, 'looked-over')
  await shop.told(ticket.number, 'looks', { findings: 'cell spent', workClass: 'cell' }, shop.bench)
  const look = await shop.told(ticket.number, 'looks', { findings: 'rust', workClass: 'vintage' }, shop.bench)
  for (const record of [value.id, promise.id])
    await shop.told(ticket.number, 'strikes', { record, reason: 'typed into the wrong ticket' })
  await shop.told(ticket.number, 'strikes', { record: look.id, reason: 'of another watch' }, shop.bench)
  expect(await now()).toMatchObject({ value: 50_000, promised: '2026-12-10', workClass: 'cell' })
  expect(await risk()).toBe(before)
})

test('a struck list of parts leaves the day of the list before it', async () => {
  const ticket = await shop.book()
  await shop.agreed(ticket.number)
  await shop.moved(ticket.number, 'awaiting-parts', {}, shop.bench)
  const nextBy = async () => (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body.nextBy
  const began = await nextBy()
  const parts = async (expectedOn: string) =>
    (await shop.told(ticket.number, 'parts', { lines: [{ what: 'crystal', onHand: false, expectedOn }] }, shop.bench))
      .id
  const first = await parts('2026-12-07')
  const asFirst = await nextBy()
  const second = await parts('2027-02-01')
  expect(await nextBy()).not.toBe(asFirst)
  await shop.told(ticket.number, 'strikes', { record: second, reason: 'another ticket’s' }, shop.bench)
  expect(await nextBy()).toBe(asFirst)
  await shop.told(ticket.number, 'strikes', { record: first, reason: 'nothing is missing' }, shop.bench)
  expect(await nextBy()).toBe(began)
})

test('the kit takes the grade of a cell from its lot, whatever is said of it, and refuses one that does not fit', async () => {
  const owner = await shop.owner()
  const watchId = await shop.watch(owner, { calibreId: calibre })
  const ticket = await shop.book({ ownerId: owner, watchId })
  await shop.agreed(ticket.number)
  const kit = (lot: string) =>
    shop.say(ticket.number, 'kits', { ...shop.kit, parts: [{ what: 'cell', lot }] }, shop.bench)
  await addDesignation(shop.house, 'SR920SW', { capacityMah: 45 })
  const other = await receive(shop.house, 'SR920SW', 'K1', 10, '2030-06-30')
  expect((await kit(other)).body.type).toBe('/problems/designation-does-not-fit')
  // changed every 24 months: fourteen are too few, and enough to be fitted with the word of the manager
  const short = await receive(shop.house, 'SR626SW', 'K2', 10, '2028-01-31')
  expect((await kit(short)).status).toBe(201)
  expect((await shop.gates(ticket.number)).G9).toMatchObject({ state: 'shut', why: 'the cell is of short life' })
  const full = await receive(shop.house, 'SR626SW', 'K3', 10, '2030-06-30')
  expect((await kit(full)).status).toBe(201)
  expect((await shop.gates(ticket.number)).G9!.state).toBe('open')
})
