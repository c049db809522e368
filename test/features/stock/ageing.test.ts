import sharp from 'sharp'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { transaction } from '../../../src/db/open.ts'
import { runReReckonings } from '../../../src/features/re-reckonings/run.ts'
import { remindOfLots } from '../../../src/features/stock-summaries/last-days.ts'
import { run, tickFlagLots } from '../../../src/jobs/flag-lots.ts'
import type { House } from '../../support/house.ts'
import { addCalibre, addDesignation, addWatch, eur, fillShelf, type Lots, openStock, receive, shelf } from './shelf.ts'

let house: House
let lots: Lots
const get = (path: string) => house.as('manager').get(path)
beforeAll(async () => {
  house = await openStock()
  lots = await fillShelf(house)
  // eight loose cells a month for a year, from a lot that is used up: the flat demand of the worked example
  const old = await house.as('stock').post('/v1/cell-lots', {
    designation: 'SR626SW',
    supplier: 'Harbour Parts',
    receivedOn: '2025-11-01',
    pieces: 96,
    unitCost: eur(92),
    bestBefore: '2028-10-31',
    storagePlace: 'used up',
  })
  expect(old.status, JSON.stringify(old.body)).toBe(201)
  await house.database.pool.query(
    `insert into stock_entry (lot_id, kind, pieces, happened_on, wanted_id, recorded_by)
     select l.id, 'sold-loose', 8, (date '2025-12-10' + make_interval(months => m))::date, l.item_id, 'test' from stock_lot l, generate_series(0, 11) m where l.id = $1`,
    [old.body.id],
  )
})
afterAll(() => house.close())

// The worked shelf at 8 a month on 2026-12-01 (common practice, no source).
describe('the ageing report', () => {
  it('tells by bucket pieces, money, and what demand will not reach', async () => {
    const { status, body } = await get('/v1/reports/cell-ageing')
    expect(status, JSON.stringify(body)).toBe(200)
    const [row] = body.rows
    expect(row).toMatchObject({
      designation: 'SR66SW',
      pieces: 157,
      money: 157 * 92,
      unreached: 66,
      unreachedMoney: 6072,
      wasteFee: 132,
    })
    const told = (pieces: number, unreached: number) => ({
      pieces,
      money: pieces * 92,
      unreached,
      unreachedMoney: unreached * 92,
    })
    expect(row.buckets).toEqual({
      blocked: told(0, 0),
      expired: told(6, 6),
      'under-shortest-life': told(9, 9),
      'past-full-life': told(12, 12),
      'days-0-30': told(0, 0),
      'days-31-90': told(30, 14),
      'days-91-180': told(0, 0),
      'over-180-days': told(100, 52),
    })
    expect(body.total).toMatchObject({ pieces: 157, unreached: 66 })
  })

  it('comes as CSV and as a chart', async () => {
    const csv = await get('/v1/reports/cell-ageing').set('accept', 'text/csv')
    expect(csv.headers['content-type']).toMatch(/^text\/csv/)
    expect(csv.text.split('\r\n')).toContain('SR66SW,days-31-90,30,2760,14,1288,EUR')
    const svg = await get('/v1/reports/cell-ageing?format=svg')
      .buffer(true)
      .parse((res, done) => {
        const parts: Buffer[] = []
        res.on('data', (part: Buffer) => parts.push(part))
        res.on('end', () => done(null, Buffer.concat(parts)))
      })
    expect(svg.headers['content-type']).toMatch(/^image\/svg\+xml/)
    // the service lets no drawing in; here one of its own is looked at
    sharp.unblock({ operation: ['VipsForeignLoadSvg'] })
    const picture = await sharp(svg.body).png().toBuffer({ resolveWithObject: true })
    expect(picture.info.width).toBeGreaterThan(600)
    expect((await get('/v1/reports/cell-ageing').set('accept', 'application/pdf')).status).toBe(406)
    expect((await house.as('bench').get('/v1/reports/cell-ageing')).status).toBe(403)
  })
})

describe('the outlook', () => {
  it('walks the shelf: 14 of B, 8 of C and 44 of N die unused', async () => {
    const { status, body } = await get('/v1/reports/cell-outlook?designation=SR626SW&horizon=2027-08-31')
    expect(status, JSON.stringify(body)).toBe(200)
    expect(
      body.walk.map((lot: { lotId: string; used: number; unused: number; lastFullLifeDay: string }) => [
        lot.lotId,
        lot.used,
        lot.unused,
        lot.lastFullLifeDay,
      ]),
    ).toEqual([
      [lots.B, 16, 14, '2027-01-31'],
      [lots.C, 32, 8, '2027-05-31'],
      [lots.N, 16, 44, '2027-07-31'],
    ])
    expect(body).toMatchObject({
      unused: 66,
      moneyAtRisk: 6072,
      wasteFee: 132,
      short: { pieces: 8 },
      position: { pieces: 64, usable: 130, unused: 66 },
    })
    expect(body.demand).toMatchObject({ perMonth: '8.00', basis: { walkInsAMonth: '8.00', sharesFrom: 'house-rules' } })
    expect(body.reorder).toMatchObject({ orderNow: false, quantity: 0 })
  })

  it('refuses the bargain that gains nothing', async () => {
    const offer = { designation: 'SR626SW', pieces: 200, bestBefore: '2029-05-31', price: 9000 }
    const { body } = await house.as('manager').post('/v1/offers/judgement', offer)
    expect(body).toMatchObject({
      verdict: 'refuse',
      usedWithout: 64,
      usedWith: 64,
      gained: 0,
      addedWaste: 200,
      usedOfOffer: 8,
      lastFullLifeDay: '2027-02-28',
      naivePricePerPiece: '1173.00',
      truePricePerPiece: null,
      pricePerUsedPiece: null,
      freshPrice: 92,
      ceiling: 0,
    })
  })

  it('counts the letters’ wave: watches that come up bring more than the walk-ins', async () => {
    const calibre = await addCalibre(house, 'Q 10', 'SR626SW')
    for (let i = 0; i < 20; i++) {
      const watchId = await addWatch(house, `W-${i}`, calibre)
      // two years after this fitting the change is due on 2027-02-03, and comes up 45 days before
      const fitted = await house
        .as('bench')
        .post(`/v1/watches/${watchId}/events`, { event: 'cell-fitted', on: '2025-02-03', source: 'paper' })
      expect(fitted.status).toBe(201)
    }
    const { body } = await get('/v1/reports/cell-outlook?designation=SR626SW')
    const month = (name: string) => body.demand.months.find((m: { month: string }) => m.month === name).pieces
    // coming up from 2026-12-20: 20 × 0.35; due in February: 20 × 0.25; overdue from 2027-03-06: 20 × 0.10; asked enough in August: 20 × 0.05
    expect([month('2026-12'), month('2027-01'), month('2027-02'), month('2027-03'), month('2027-08')]).toEqual([
      '15.00',
      '8.00',
      '13.00',
      '10.00',
      '9.00',
    ])
    expect(body.walk[0].unused).toBeLessThan(14)
    expect(body.demand.basis.entering).toEqual({ comingUp: 20, due: 20, overdue: 20, askedEnough: 20 })
  })

  it('of a designation nobody has is not found; an offer with a faulty day is a fault of its own', async () => {
    expect((await get('/v1/reports/cell-outlook?designation=SR41')).status).toBe(404)
    const bad = await house
      .as('manager')
      .post('/v1/offers/judgement', { designation: 'SR626SW', pieces: 1, bestBefore: '2029', price: 1 })
    expect([bad.status, bad.body.errors[0].pointer]).toEqual([400, '#/bestBefore'])
  })
})

const nameOf = async (designation: string) => {
  await addDesignation(house, designation, { capacityMah: 110 })
  return designation
}

/** Every page, one after the other. */
const allOf = async (first: string) => {
  const items: unknown[] = []
  for (let next: string | undefined = first; next; ) {
    const { body, headers } = await get(next)
    items.push(...body.items)
    next = /<([^>]+)>; rel="next"/.exec(headers.link ?? '')?.[1]
  }
  return items
}

describe('the night', () => {
  it('flags what entered a bucket, lists what is to be written off, and tells the manager once', async () => {
    const { database } = house
    const first = await run({ db: database, today: '2026-12-01' as never, currency: 'EUR' })
    expect(first.counts).toEqual({
      expired: { lots: 1, pieces: 6 },
      'under-shortest-life': { lots: 1, pieces: 9 },
      'past-full-life': { lots: 1, pieces: 12 },
      'days-31-90': { lots: 1, pieces: 30 },
    })
    expect(first).toMatchObject({ lots: 4, pieces: 57, money: 57 * 92, forecasts: 1 })
    const again = await run({ db: database, today: '2026-12-01' as never, currency: 'EUR' })
    expect(again).toMatchObject({ lots: 0, forecasts: 0 })
    expect((await get('/v1/stock-summaries')).body.items).toMatchObject([
      { on: '2026-12-01', lots: 4, pieces: 57, money: eur(57 * 92), seenBy: null },
    ])
    const listed = await get('/v1/cell-lots?listed=true')
    expect(listed.body.items.map((lot: { id: string }) => lot.id).sort()).toEqual([lots.X, lots.E].sort())
    const next = await run({ db: database, today: '2027-01-02' as never, currency: 'EUR' })
    expect(next.counts).toEqual({ 'days-0-30': { lots: 1, pieces: 30 }, 'days-91-180': { lots: 1, pieces: 40 } })
    expect((await get('/v1/stock-summaries/2027-01-02/lots')).body.items).toHaveLength(2)
    expect(await allOf('/v1/stock-summaries/2027-01-02/lots?limit=1')).toHaveLength(2)
    // however many nights went by since
    await house.database.pool.query(
      `insert into stock_summary (made_on, lots, pieces, money, currency, counts)
       select date '2101-01-01' + n, 0, 0, 0, 'EUR', '{}' from generate_series(1, 450) n`,
    )
    const seen = await house.as('manager').post('/v1/stock-summaries/2026-12-01/seen')
    await house.database.pool.query(`delete from stock_summary where made_on > '2101-01-01'`)
    expect(seen.body.seenBy).toBe('manager of the test')
  })

  it('ticks once for a date, and its rules can be changed from a day on', async () => {
    expect([await tickFlagLots(house.service), await tickFlagLots(house.service)]).toEqual(['2026-12-01', null])
    const change = { key: 'cellGuardMonths', value: 4, fromDay: '2027-06-01', reason: 'owners come later' }
    expect((await house.as('manager').post('/v1/house-rules', change)).status).toBe(201)
  })

  it('tells the stock keeper of a lot sixty days before its last full-life day, once', async () => {
    const tasks = async () =>
      (await get('/v1/tasks?role=stock&kind=lot-last-day').expect(200)).body.items as { words: string; dueOn: string }[]
    // B, full life through 2027-01-31, came into its sixty days before the night of 2027-01-02
    expect(await tasks()).toEqual([
      expect.objectContaining({
        dueOn: '2027-01-31',
        words: expect.stringContaining('lot B, 30 pieces: with full life through 2027-01-31'),
      }),
    ])
    expect((await tasks())[0]!.words).not.toMatch(/lot [AXECN],/)
    const night = (day: string) => transaction(house.database, (tx) => remindOfLots(tx, day as never))
    await night('2027-01-03')
    await night('2027-03-31')
    expect(await tasks(), 'C is 61 days from its last').toHaveLength(1)
    await night('2027-04-01')
    expect((await tasks())[1]).toMatchObject({ dueOn: '2027-05-31', words: expect.stringContaining('lot C') })
    await house
      .as('manager')
      .post('/v1/house-rules', { key: 'lotLeadDays', value: 90, fromDay: '2027-05-01', reason: 'we buy slowly' })
      .expect(201)
    await night('2027-05-02')
    expect((await tasks())[2], 'N, 90 days before 2027-07-31').toMatchObject({ dueOn: '2027-07-31' })
  })
  it('takes the waste fee of the designation, else of its chemistry, else of every cell', async () => {
    const feeOf = async (designation: string) =>
      (await get(`/v1/reports/cell-ageing?designation=${designation}`)).body.rows[0]
    await receive(house, await nameOf('LR44'), 'L1', 10, '2029-06-30')
    const { unreached } = await feeOf('LR44')
    expect((await feeOf('LR44')).wasteFee).toBe(unreached * 2)
    const change = {
      key: 'cellWasteFees',
      value: { alkaline: 7, 'silver-oxide': 9 },
      fromDay: '2026-12-01',
      reason: 'the collector',
    }
    await house.as('manager').post('/v1/house-rules', change).expect(201)
    expect((await feeOf('LR44')).wasteFee).toBe(unreached * 7)
    expect(unreached).toBeGreaterThan(0)
    const own = await feeOf('SR626SW')
    expect(own.wasteFee, 'has a fee of its own').toBe(own.unreached * 2)
  })
  it('writes no entry: X and E are still on the shelf until a person signs', async () => {
    const { body } = await get(`/v1/cell-lots/${lots.X}`)
    expect(body).toMatchObject({ shelf: 6, listedOn: '2026-12-01', grade: 'not-to-be-fitted' })
  })
})

describe('write-off, waste and counts', () => {
  const stock = () => house.as('stock')
  it('needs an open box of the kind; then 15 pieces are 13.80 and 5.85 g', async () => {
    const off = (id: string | undefined, pieces: number) =>
      stock().post(`/v1/cell-lots/${id}/write-offs`, { pieces, reason: 'expired' })
    expect((await off(lots.X, 6)).body).toMatchObject({ type: '/problems/waste-box-missing', contents: 'silver-oxide' })
    const box = await stock().post('/v1/waste-boxes', { contents: 'silver-oxide', label: 'S-1' })
    expect((await stock().post('/v1/waste-boxes', { contents: 'silver-oxide', label: 'S-2' })).body.type).toBe(
      '/problems/waste-box-open',
    )
    expect((await off(lots.X, 7)).body).toMatchObject({ type: '/problems/stock-below-zero', there: 6 })
    const x = await off(lots.X, 6)
    const e = await off(lots.E, 9)
    expect(x.body.cost.amount + e.body.cost.amount).toBe(1380)
    expect(x.body.weightMg + e.body.weightMg).toBe(5850)
    expect((await stock().get(`/v1/waste-boxes/${box.body.id}`)).body).toMatchObject({
      pieces: 15,
      weightMg: 5850,
      slipNumber: null,
    })
    const collected = await stock().post(`/v1/waste-boxes/${box.body.id}/collection`, {
      collector: 'Metal Return',
      licence: 'L-7',
      slipNumber: '4711',
      credit: eur(350),
    })
    expect(collected.body).toMatchObject({ collectedOn: '2026-12-01', slipNumber: '4711', credit: eur(350) })
    expect(
      (
        await stock().post(`/v1/waste-boxes/${box.body.id}/collection`, {
          collector: 'x',
          licence: 'x',
          slipNumber: 'x',
        })
      ).body.type,
    ).toBe('/problems/waste-box-collected')
  })

  it('keeps mercury apart and lithium insulated', async () => {
    const spent = (body: object) => house.as('bench').post('/v1/spent-cells', { pieces: 2, weightMg: 900, ...body })
    expect((await spent({ chemistry: 'mercury' })).body).toMatchObject({
      type: '/problems/waste-box-missing',
      contents: 'mercury',
    })
    await stock().post('/v1/waste-boxes', { contents: 'silver-oxide', label: 'S-3' })
    await stock().post('/v1/waste-boxes', { contents: 'mercury', label: 'M-1' })
    await stock().post('/v1/waste-boxes', { contents: 'lithium', label: 'L-1' })
    expect((await spent({ chemistry: 'mercury' })).body).toMatchObject({
      contents: 'mercury',
      label: 'M-1',
      weightMg: 900,
    })
    expect((await spent({ chemistry: 'lithium-manganese' })).body.errors[0].pointer).toBe('#/polesInsulated')
    expect((await spent({ chemistry: 'lithium-manganese', polesInsulated: true })).body.label).toBe('L-1')
  })

  it('counts shelf against book, and the difference is a signed entry', async () => {
    const sheet = await stock().get('/v1/stock-counts/sheet?place=drawer%20SR626SW')
    expect(sheet.body.items).toHaveLength(shelf.length - 2)
    expect(await allOf('/v1/stock-counts/sheet?place=drawer%20SR626SW&limit=2')).toEqual(sheet.body.items)
    const counted = await stock().post('/v1/stock-counts', {
      place: 'drawer',
      lines: [
        { lotId: lots.B, counted: 28 },
        { lotId: lots.C, counted: 41 },
        { lotId: lots.N, counted: 60 },
      ],
    })
    expect(counted.body).toMatchObject({ found: 1, missing: 2, money: -92 })
    expect(counted.body.lines.filter((line: { entryId: string | null }) => line.entryId === null)).toMatchObject([
      { lotId: lots.N },
    ])
    expect((await get(`/v1/cell-lots/${lots.B}`)).body.shelf).toBe(28)
    const twice = await stock().post('/v1/stock-counts', {
      lines: [
        { lotId: lots.B, counted: 1 },
        { lotId: lots.B, counted: 2 },
      ],
    })
    expect([twice.status, twice.body.errors[0].pointer]).toEqual([400, '#/lines/1/lotId'])
  })

  it('orders on their way count in the position', async () => {
    const order = await stock().post('/v1/stock-orders', {
      designation: 'SR66SW',
      supplier: 'Harbour Parts',
      pieces: 50,
      unitPrice: eur(90),
      expectedOn: '2026-12-20',
      expectedBestBefore: '2029-12',
    })
    expect(order.body).toMatchObject({ state: 'open', expectedBestBefore: '2029-12-31' })
    expect((await get('/v1/reports/cell-outlook?designation=SR66SW')).body.position.onOrder).toBe(50)
    expect((await stock().post(`/v1/stock-orders/${order.body.id}/cancellation`)).body.state).toBe('cancelled')
    expect((await stock().post(`/v1/stock-orders/${order.body.id}/receipt`)).body.type).toBe('/problems/order-ended')
  })
})

// 20 watches are due in February 2027 and come up in December; walk-ins are 8 a month before, and differ once it is December
describe('forecasts kept from the night', () => {
  const demandIn = async (month: string) => {
    const { body } = await get('/v1/reports/cell-outlook?designation=SR626SW')
    return Number(body.demand.months.find((m: { month: string }) => m.month === month).pieces)
  }
  const change = (key: string, value: number, fromDay: string) =>
    house.as('manager').post('/v1/house-rules', { key, value, fromDay, reason: 'counted here' }).expect(201)
  const kept = async () =>
    (await house.database.pool.query('select count(*)::int as n from demand_forecast')).rows[0].n as number

  it('are forgotten with the change of a number they rest on: at once, and on its day where that lies ahead', async () => {
    await run({ db: house.database, today: '2026-12-01' as never, currency: 'EUR' })
    expect(await kept()).toBeGreaterThan(0)
    const before = await demandIn('2027-02')
    await change('comesDuePercent', 50, '2026-12-01')
    // a quarter more of twenty
    expect(await demandIn('2027-02')).toBe(before + 5)
    await tickFlagLots(house.service)
    await change('comesDuePercent', 75, '2026-12-02')
    await run({ db: house.database, today: '2026-12-01' as never, currency: 'EUR' })
    expect(await demandIn('2027-02')).toBe(before + 5)
    house.setNow('2026-12-02')
    expect(await demandIn('2027-02')).toBe(before + 10)
    // the next tick makes them anew, though the night of the day has run
    await run({ db: house.database, today: '2026-12-02' as never, currency: 'EUR' })
    await change('comesDuePercent', 25, '2026-12-02')
    expect(await kept()).toBe(0)
    await tickFlagLots(house.service)
    await tickFlagLots(house.service)
    expect(await kept()).toBeGreaterThan(0)
    expect(await demandIn('2027-02')).toBe(before)
  })

  it('are forgotten when dates were reckoned anew, at once for a few and at the end of a re-reckoning', async () => {
    const before = await demandIn('2027-02')
    await change('cellMonths', 30, '2026-12-02')
    // due six months later: a quarter of twenty falls away
    expect(await demandIn('2027-02')).toBe(before - 5)
    await run({ db: house.database, today: '2026-12-02' as never, currency: 'EUR' })
    await change('cellMonths', 24, '2026-12-03')
    house.setNow('2026-12-03')
    expect(await demandIn('2027-02')).toBe(before - 5)
    await runReReckonings(house.service)
    expect(await demandIn('2027-02')).toBe(before)
  })

  it('can be thought of with another number: cells by designation, no watch and no letter', async () => {
    const before = await kept()
    const asked = { key: 'comesDuePercent', value: 100, fromDay: '2026-12-03', weeks: 26 }
    const { body } = await house.as('manager').post('/v1/house-rules/rehearsals', asked).expect(200)
    // twenty are due in February: all of them instead of a quarter
    const row = body.demand.find((one: { designation: string }) => one.designation === 'SR66SW')
    expect(row.after - row.before).toBe(15)
    expect(body.watches).toEqual({ touched: 0, moved: 0 })
    expect(body.letters).toMatchObject({ owners: 0, lookedAt: 0, exact: true })
    expect(await kept()).toBe(before)
  })

  it('are forgotten when a calibre is found to take another cell, or more of them', async () => {
    await run({ db: house.database, today: '2026-12-03' as never, currency: 'EUR' })
    const before = await demandIn('2027-02')
    const { id } = (await house.database.pool.query(`select id from calibre where name = 'Q 10'`)).rows[0]
    const mend = (body: object) => house.as('bench').patch(`/v1/calibres/${id}`, body, '*').expect(200)
    await mend({ jewels: 5 })
    expect(await kept()).toBeGreaterThan(0)
    await mend({ cellCount: 2 })
    expect(await kept()).toBe(0)
    // a quarter of twenty, once more
    expect(await demandIn('2027-02')).toBe(before + 5)
  })
})
