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
