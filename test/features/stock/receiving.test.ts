import { afterAll, beforeAll, describe, expect, it, test } from 'vitest'
import type { House } from '../../support/house.ts'
import { addDesignation, eur, everything, lotNow, openStock, receive } from './shelf.ts'

let house: House
beforeAll(async () => {
  house = await openStock()
  await addDesignation(house, 'SR626SW', { capacityMah: 28, weightMg: 390 })
})
afterAll(() => house.close())

const lot = (more: object = {}) => ({
  designation: 'SR626SW',
  supplier: 'Harbour Parts',
  pieces: 10,
  unitCost: eur(92),
  bestBefore: '2029-04-30',
  storagePlace: `place ${Math.random()}`,
  ...more,
})
const post = (body: object) => house.as('stock').post('/v1/cell-lots', body)

describe('designations', () => {
  it('take dimensions from the size table and chemistry from the letter', async () => {
    const made = await house.as('stock').post('/v1/designations', { designation: 'cr 1216', drain: 'unknown' })
    expect(made.body).toMatchObject({
      name: 'CR1216',
      chemistry: 'lithium-manganese',
      volts: 3,
      diameterMm: 12.5,
      heightMm: 1.6,
    })
  })

  it('know one cell under both of its codes', async () => {
    const again = await house.as('stock').post('/v1/designations', { designation: 'SR66SW', drain: 'low' })
    expect([again.status, again.body.type]).toEqual([409, '/problems/item-known'])
  })

  it('refuse a chemistry that the letter belies', async () => {
    const made = await house
      .as('stock')
      .post('/v1/designations', { designation: 'LR41', drain: 'low', chemistry: 'silver-oxide' })
    expect([made.status, made.body.errors[0].pointer]).toEqual([400, '#/chemistry'])
  })

  it('let a watchmaker approve a substitute, one way, of the same chemistry and drain', async () => {
    const own = await addDesignation(house, 'SR521SW')
    await addDesignation(house, 'SR527SW')
    await addDesignation(house, 'SR521W', { drain: 'high' })
    await addDesignation(house, 'LR521')
    const approve = (designation: string) =>
      house.as('bench').post(`/v1/designations/${own}/substitutes`, { designation, reason: 'fits with the spacer' })
    const made = await approve('SR527SW')
    expect(made.body.substitutes).toMatchObject([{ name: 'SR64SW', place: 1, approvedBy: 'bench of the test' }])
    expect((await approve('SR527SW')).status).toBe(409)
    expect((await approve('SR521W')).body.type).toBe('/problems/substitute-impossible')
    expect((await approve('LR521')).body.type).toBe('/problems/substitute-impossible')
    expect((await approve('SR521SW')).status).toBe(400)
    const byStock = await house
      .as('stock')
      .post(`/v1/designations/${own}/substitutes`, { designation: 'SR527SW', reason: 'x' })
    expect(byStock.status).toBe(403)
    const withdrawn = await house
      .as('manager')
      .post(`/v1/designations/${own}/substitutes/${made.body.substitutes[0].id}/withdrawal`)
    expect(withdrawn.body.substitutes).toEqual([])
  })

  it('are mended only by who read them last', async () => {
    const id = await addDesignation(house, 'SR416SW')
    const patch = (etag: string) => house.as('stock').patch(`/v1/designations/${id}`, { weightMg: 120 }, etag)
    expect((await patch('"v1"')).body).toMatchObject({ weightMg: 120, version: 2 })
    expect((await patch('"v1"')).status).toBe(412)
  })
})

describe('a lot of cells', () => {
  it('with a best-before month counts to its last day, and shows its last days', async () => {
    const made = await post(lot({ bestBefore: '2029-06' }))
    expect(made.body).toMatchObject({
      bestBefore: '2029-06-30',
      goodThroughFrom: 'month',
      lastFullLifeDay: '2027-03-31',
      lastShortLifeDay: '2028-06-30',
      grade: 'full-life',
      bucket: 'days-91-180',
      shelf: 10,
      available: 10,
      capacityMah: 28,
    })
  })

  it('with only its manufacture counts from the first day of that month, plus the shelf life', async () => {
    const made = await post(lot({ bestBefore: undefined, manufactured: '2026-10' }))
    expect(made.body).toMatchObject({ bestBefore: '2029-10-01', goodThroughFrom: 'manufacture', madeMonth: '2026-10' })
  })

  it('keeps the date code as printed and the table that read it', async () => {
    const table = {
      name: 'digit and letter',
      layout: 'YM',
      monthSigns: '123456789OND',
      source: 'sheet of the supplier',
    }
    expect((await house.as('stock').post('/v1/date-code-tables', table)).status).toBe(201)
    const made = await post(lot({ bestBefore: undefined, dateCode: '6O', dateCodeTable: 'digit and letter' }))
    expect(made.body).toMatchObject({
      madeMonth: '2026-10',
      dateCode: '6O',
      dateCodeTable: 'digit and letter',
      bestBefore: '2029-10-01',
    })
    const unread = await post(lot({ dateCode: '6Z', dateCodeTable: 'digit and letter' }))
    expect([unread.status, unread.body.errors[0].pointer]).toEqual([400, '#/dateCode'])
    expect((await post(lot({ dateCode: '6O' }))).body.errors[0].pointer).toBe('#/dateCodeTable')
  })

  it('stored hotter than allowed is blocked at once', async () => {
    expect((await post(lot({ maxCelsius: 30 }))).body).toMatchObject({ blocked: null })
    expect((await post(lot({ maxCelsius: 30.1 }))).body).toMatchObject({ blocked: 'stored-hot', bucket: 'blocked' })
  })

  it('whose pack was opened without a mark is blocked', async () => {
    const { body } = await post(lot())
    const changed = await house.as('stock').patch(`/v1/cell-lots/${body.id}`, { opened: 'unmarked' }, '"v1"')
    expect([changed.status, changed.body.blocked, changed.body.opened]).toEqual([200, 'opened-unmarked', true])
    const released = await house.as('manager').post(`/v1/cell-lots/${body.id}/releases`, { note: 'found the label' })
    expect(released.body.blocked).toBeNull()
  })

  it('never shares a compartment', async () => {
    await post(lot({ storagePlace: 'Drawer 7' }))
    const second = await post(lot({ storagePlace: 'drawer 7' }))
    expect([second.status, second.body.type]).toEqual([409, '/problems/place-taken'])
  })

  it('never shares a compartment with one received at the same moment', async () => {
    await addDesignation(house, 'SR920SW')
    const other = await house.database.pool.connect()
    // looking is let through, putting on file waits: so both have looked before either is there
    await other.query('begin')
    await other.query('lock table stock_lot in share mode')
    const both = Promise.all(
      ['SR626SW', 'SR920SW'].map((designation) => post(lot({ designation, storagePlace: 'Drawer 8' }))),
    )
    const waiting = `select count(*)::int as n from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock'`
    for (let n = 0; n < 2; ) n = (await house.database.pool.query(waiting)).rows[0].n
    await other.query('rollback')
    other.release()
    expect((await both).map((answer) => answer.status).sort()).toEqual([201, 409])
  })

  it('does not come back to a compartment that another has by now, by a return or by a strike', async () => {
    const first = await post(lot({ pieces: 1, storagePlace: 'Drawer 9' }))
    const entries = `/v1/cell-lots/${first.body.id}/entries`
    const gone = await house.as('stock').post(entries, { kind: 'damaged-on-shelf', pieces: 1, reason: 'dropped' })
    const other = await post(lot({ storagePlace: 'Drawer 9' }))
    const strike = () => house.as('stock').post(`/v1/stock-entries/${gone.body.id}/strike`, { reason: 'it was whole' })
    expect((await strike()).body).toMatchObject({ type: '/problems/place-taken', lotId: other.body.id })
    await house.as('stock').patch(`/v1/cell-lots/${first.body.id}`, { storagePlace: 'Drawer 10' }, '"v1"').expect(200)
    expect((await strike()).status).toBe(201)
  })

  it('sent twice with one key is received once', async () => {
    const body = lot()
    const first = await house.as('stock').post('/v1/cell-lots', body, '"one-pack"')
    const second = await house.as('stock').post('/v1/cell-lots', body, '"one-pack"')
    expect(second.body).toEqual(first.body)
    expect((await lotNow(house, first.body.id)).shelf).toBe(10)
    expect((await house.as('stock').post('/v1/cell-lots', { ...body, pieces: 11 }, '"one-pack"')).status).toBe(422)
  })

  test.each([
    ['a best-before on the day of receipt', { bestBefore: '2026-12-01' }, '#/bestBefore'],
    ['a best-before year', { bestBefore: '2029' }, '#/bestBefore'],
    ['a best-before of the next century', { bestBefore: '2129-06' }, '#/bestBefore'],
    ['no date at all', { bestBefore: undefined }, '#/bestBefore'],
    ['a day that does not exist', { bestBefore: '2029-02-30' }, '#/bestBefore'],
    ['a manufacture after the receipt', { bestBefore: undefined, manufactured: '2027-01' }, '#/manufactured'],
    [
      'a best-before before the manufacture',
      { receivedOn: '2026-11-30', manufactured: '2026-11-01', bestBefore: '2026-10-30' },
      '#/bestBefore',
    ],
    ['a receipt in the future', { receivedOn: '2026-12-02' }, '#/receivedOn'],
    ['no pieces', { pieces: 0 }, '#/pieces'],
    ['half a piece', { pieces: 1.5 }, '#/pieces'],
    ['another currency', { unitCost: { amount: 92, currency: 'USD' } }, '#/unitCost/currency'],
    ['a designation not on file', { designation: 'SR59SW' }, '#/designation'],
    ['an unknown key', { colour: 'red' }, '#/colour'],
  ])('is refused with %s, and nothing is written', async (_, more, pointer) => {
    const before = await everything(house)
    const { status, body } = await post(lot(more))
    expect([status, body.errors?.[0]?.pointer], JSON.stringify(body)).toEqual([400, pointer])
    expect(await everything(house)).toBe(before)
  })

  it('of mercury cells is refused', async () => {
    await house.as('stock').post('/v1/designations', { designation: 'MR9', chemistry: 'mercury', drain: 'unknown' })
    expect((await post(lot({ designation: 'MR9' }))).body.type).toBe('/problems/mercury-not-fitted')
  })
})

describe('a scanned delivery', () => {
  const item = '12345678901231'
  beforeAll(async () => {
    const { body } = await house.as('stock').get('/v1/designations')
    const { id } = body.items.find((one: { name: string }) => one.name === 'SR66SW')
    const made = await house.as('stock').post(`/v1/designations/${id}/item-numbers`, { number: item, pieces: 10 })
    expect(made.body.itemNumbers).toEqual([{ number: item, pieces: 10 }])
  })
  const pack = (scanned: string, more: object = {}) => ({
    scanned,
    supplier: 'Harbour Parts',
    unitCost: eur(92),
    storagePlace: `p ${Math.random()}`,
    ...more,
  })

  it('is read without being written', async () => {
    const before = await everything(house)
    const read = await house
      .as('stock')
      .post('/v1/deliveries/reading', { scanned: `]d2\u001d01${item}1729040010LOT-7\u001d30100` })
    expect(read.body).toMatchObject({
      designation: 'SR66SW',
      lotNumber: 'LOT-7',
      bestBefore: '2029-04-30',
      count: 100,
      piecesInPack: 10,
    })
    expect(await everything(house)).toBe(before)
  })

  it('becomes a lot: counted by the scan, or by packs', async () => {
    const counted = await house.as('stock').post('/v1/deliveries', pack(`(01)${item}(15)290430(10)LOT-7(30)100`))
    expect(counted.body).toMatchObject({ shelf: 100, lotNumber: 'LOT-7', bestBefore: '2029-04-30', name: 'SR66SW' })
    const packs = await house.as('stock').post('/v1/deliveries', pack(`(01)${item}(15)290430(10)LOT-8`, { packs: 3 }))
    expect(packs.body.shelf).toBe(30)
  })

  test.each([
    ['a bad check digit', '(01)12345678901232(15)290430'],
    ['an impossible day', `(01)${item}(15)290230`],
    ['an item number nobody knows', '(01)02345678901231(15)290430'.replace('02345678901231', '00000023456733')],
    ['a best-before that has passed', `(01)${item}(15)261101`],
    ['a count and packs', `(01)${item}(15)290430(30)5`],
  ])('is refused with %s, and nothing is moved', async (name, text) => {
    const before = await everything(house)
    const refused = await house
      .as('stock')
      .post('/v1/deliveries', pack(text, name === 'a count and packs' ? { packs: 2 } : {}))
    expect(refused.status, JSON.stringify(refused.body)).toBe(400)
    expect(refused.body.errors.length).toBeGreaterThan(0)
    expect(await everything(house)).toBe(before)
  })
})

describe('lists', () => {
  it('of lots come in pages and by filter', async () => {
    await receive(house, 'SR521SW', 'L1', 3, '2029-01-31')
    const first = await house.as('counter').get('/v1/cell-lots?limit=2&onShelf=true')
    expect(first.body.items).toHaveLength(2)
    expect(first.headers.link).toMatch(/rel="next"/)
    const next = await house.as('counter').get(/<(.*)>/.exec(first.headers.link as string)?.[1] as string)
    expect(next.body.items[0].id > first.body.items[1].id).toBe(true)
    const own = await house.as('counter').get('/v1/cell-lots?designation=SR63SW')
    expect(own.body.items.map((one: { name: string }) => one.name)).toEqual(['SR63SW'])
  })
})
