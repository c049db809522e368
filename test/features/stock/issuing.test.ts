import { afterAll, beforeAll, describe, expect, it, test } from 'vitest'
import type { House } from '../../support/house.ts'
import {
  addCalibre,
  addDesignation,
  addWatch,
  everything,
  fillShelf,
  type Lots,
  lotNow,
  openStock,
  openTicket,
  receive,
} from './shelf.ts'

let house: House
let lots: Lots
let watch: string
let ticketId: string
beforeAll(async () => {
  house = await openStock()
  lots = await fillShelf(house)
  ticketId = await openTicket(house)
  watch = await addWatch(house, 'A-1', await addCalibre(house, 'Q 10', 'SR66SW'))
})
afterAll(() => house.close())

const issue = (body: object, role: 'bench' | 'manager' = 'bench') => house.as(role).post('/v1/cell-issues', body)

describe('a routine change', () => {
  it('takes from B, which expires first among those of full life', async () => {
    const made = await issue({ watchId: watch })
    expect(made.body.cells).toMatchObject([
      { lotId: lots.B, pieces: 1, bestBefore: '2029-04-30', grade: 'full-life', nextChangeOn: '2028-12-01' },
    ])
    expect(await lotNow(house, lots.B as string)).toMatchObject({ shelf: 29, bench: 1 })
  })

  it('asks by any code of the same size', async () => {
    expect((await issue({ watchId: watch, wants: [{ designation: 'SR626SW', pieces: 1 }] })).status).toBe(201)
  })

  it('puts an untouched cell back into its own lot, and a touched one not', async () => {
    const back = (body: object) =>
      house
        .as('bench')
        .post(`/v1/cell-lots/${lots.B}/entries`, { kind: 'returned-to-shelf', reason: 'owner declined', ...body })
    const touched = await back({ pieces: 1 })
    expect([touched.status, touched.body.errors[0].pointer]).toEqual([400, '#/untouched'])
    expect((await back({ pieces: 1, untouched: true })).body).toMatchObject({
      kind: 'returned-to-shelf',
      pieces: 1,
      on: '2026-12-01',
    })
    expect((await back({ pieces: 2, untouched: true })).body).toMatchObject({
      type: '/problems/stock-below-zero',
      there: 1,
    })
  })

  it('two months later takes from C, since B is past its last day', async () => {
    house.setNow('2027-02-01')
    expect((await issue({ watchId: watch })).body.cells[0].lotId).toBe(lots.C)
    house.setNow('2026-12-01')
  })

  it('by the maker’s shorter interval gives what the house’s would not', async () => {
    const calibre = await addCalibre(house, 'Q 12', 'SR66SW')
    const guided = await addWatch(house, 'A-2', calibre)
    const told = await house.as('bench').post('/v1/guidance', {
      calibreId: calibre,
      obligation: 'cell-change',
      months: 18,
      upToMonths: 30,
      inForceFrom: '2026-01-01',
      sourcePaper: 'service sheet',
    })
    expect(told.status, JSON.stringify(told.body)).toBe(201)
    // 18 + 3 months from 2026-12-01 end on 2028-09-01: A is of full life here.
    expect((await issue({ watchId: guided })).body.cells[0]).toMatchObject({
      lotId: lots.A,
      nextChangeOn: '2028-06-01',
    })
  })
})

describe('a watch with two cells', () => {
  it('gets both from one lot; a lot with one is passed over', async () => {
    await addDesignation(house, 'SR521SW')
    const one = await receive(house, 'SR521SW', 'one', 1, '2029-04-30')
    const many = await receive(house, 'SR521SW', 'many', 5, '2029-08-31')
    const double = await addWatch(house, 'D-1', await addCalibre(house, 'Q 20', 'SR521SW', 2))
    expect((await issue({ watchId: double })).body.cells).toMatchObject([{ lotId: many, pieces: 2 }])
    expect((await lotNow(house, one)).shelf).toBe(1)
  })

  it('of two designations gets both or none', async () => {
    await addDesignation(house, 'SR527SW')
    await receive(house, 'SR527SW', 'f', 1, '2029-08-31')
    const before = await everything(house)
    const wants = [
      { designation: 'SR521SW', pieces: 1 },
      { designation: 'SR527SW', pieces: 2 },
    ]
    const refused = await issue({ ticketId, wants })
    expect(refused.body).toMatchObject({ type: '/problems/stock-short', wanted: 2, mostInOneLot: 1 })
    expect(await everything(house)).toBe(before)
    const made = await issue({ ticketId, wants: [wants[0], { designation: 'SR527SW', pieces: 1 }] })
    expect(made.body.cells).toHaveLength(2)
  })
})

describe('short life', () => {
  beforeAll(async () => {
    await addDesignation(house, 'SR916SW')
    await receive(house, 'SR916SW', 'late', 3, '2029-01-31')
    await receive(house, 'SR916SW', 'short', 3, '2028-05-31')
  })
  const wants = [{ designation: 'SR916SW', pieces: 1 }]

  it('is named and not given without the manager', async () => {
    const before = await everything(house)
    const refused = await issue({ ticketId, wants })
    expect(refused.status).toBe(409)
    expect(refused.body).toMatchObject({
      type: '/problems/short-life-unsigned',
      bestBefore: '2029-01-31',
      nextChangeOn: '2028-12-01',
    })
    const bench = await issue({ ticketId, wants, shortLife: { ownerTold: true, note: 'told' } })
    expect([bench.status, bench.body.type]).toEqual([403, '/problems/role-refused'])
    const untold = await issue({ ticketId, wants, shortLife: { ownerTold: false, note: 'x' } }, 'manager')
    expect([untold.status, untold.body.errors[0].pointer]).toEqual([400, '#/shortLife/ownerTold'])
    expect(await everything(house)).toBe(before)
  })

  it('is given with the manager’s name and the owner told', async () => {
    const made = await issue(
      { ticketId, wants, shortLife: { ownerTold: true, note: 'half price, told at the counter' } },
      'manager',
    )
    expect(made.body.cells).toMatchObject([
      { bestBefore: '2029-01-31', grade: 'short-life', nextChangeOn: '2028-12-01' },
    ])
    const entry = await house.as('stock').get(`/v1/stock-entries/${made.body.cells[0].entryId}`)
    expect(entry.body).toMatchObject({
      grade: 'short-life',
      allowedBy: 'manager of the test',
      reason: 'half price, told at the counter',
    })
  })

  it('comes after the full life of a substitute', async () => {
    await addDesignation(house, 'SR920SW')
    const full = await receive(house, 'SR920SW', 'full', 2, '2029-12-31')
    const { body } = await house.as('stock').get('/v1/designations')
    const own = body.items.find((one: { name: string }) => one.name === 'SR916SW').id
    await house
      .as('bench')
      .post(`/v1/designations/${own}/substitutes`, { designation: 'SR920SW', reason: 'same height in this case' })
    expect((await issue({ ticketId, wants })).body.cells[0]).toMatchObject({ lotId: full, grade: 'full-life' })
    // One way: the other does not take the first.
    await issue({ ticketId, wants })
    expect((await issue({ ticketId, wants: [{ designation: 'SR920SW', pieces: 1 }] })).body.type).toBe(
      '/problems/stock-short',
    )
  })
})

describe('what does not fit', () => {
  test.each([
    ['a rechargeable', 'rechargeable-quartz', '/problems/never-a-primary-cell'],
    ['a hand-wound watch', 'hand-wound', '/problems/takes-no-cell'],
  ])('%s gets no cell', async (name, kind, type) => {
    const id = await addWatch(house, `K-${kind}`, null, { kind })
    const before = await everything(house)
    const refused = await issue({ watchId: id, wants: [{ designation: 'SR66SW', pieces: 1 }] })
    expect([refused.status, refused.body.type], name).toEqual([409, type])
    expect(await everything(house)).toBe(before)
  })

  it('another designation than the calibre takes', async () => {
    const before = await everything(house)
    const refused = await issue({ watchId: watch, wants: [{ designation: 'SR521SW', pieces: 1 }] })
    expect(refused.body).toMatchObject({ type: '/problems/designation-does-not-fit', wanted: 'SR63SW', fits: 'SR66SW' })
    expect(await everything(house)).toBe(before)
  })

  it('more than is there, an unknown designation, the same one twice, and no watch', async () => {
    const before = await everything(house)
    expect((await issue({ ticketId, wants: [{ designation: 'SR66SW', pieces: 21 }] })).status).toBe(400)
    const unknown = await issue({ ticketId, wants: [{ designation: 'SR59SW', pieces: 1 }] })
    expect([unknown.status, unknown.body.errors[0].pointer]).toEqual([400, '#/wants/0/designation'])
    const twice = [
      { designation: 'SR66SW', pieces: 1 },
      { designation: 'SR626SW', pieces: 1 },
    ]
    expect((await issue({ ticketId, wants: twice })).body.errors[0].pointer).toBe('#/wants/1/designation')
    expect((await issue({ wants: [{ designation: 'SR66SW', pieces: 1 }] })).body.errors[0].pointer).toBe('#/watchId')
    expect((await issue({ watchId: '00000000-0000-7000-8000-00000000000f' })).status).toBe(404)
    const nobodys = { ticketId: '00000000-0000-7000-8000-00000000000f', wants: [{ designation: 'SR66SW', pieces: 1 }] }
    expect((await issue(nobodys)).body).toMatchObject({ type: '/problems/not-found', what: 'ticket' })
    expect((await issue({ ticketId, watchId: watch })).body.errors[0].pointer).toBe('#/watchId')
    expect(await everything(house)).toBe(before)
  })

  it('an expired, a blocked and a listed lot are no offer', async () => {
    await addDesignation(house, 'SR936SW')
    const wants = [{ designation: 'SR936SW', pieces: 1 }]
    await receive(house, 'SR936SW', 'expired', 4, '2026-10-31')
    const blocked = await receive(house, 'SR936SW', 'blocked', 5, '2029-10-31')
    await house.as('stock').post(`/v1/cell-lots/${blocked}/blocks`, { reason: 'other', note: 'wet pack' })
    const refused = await issue({ ticketId, wants })
    expect(refused.body).toMatchObject({ type: '/problems/stock-short', mostInOneLot: 0, blocked: 5, tooOld: 4 })
    await house.as('manager').post(`/v1/cell-lots/${blocked}/releases`, { note: 'dry after all' })
    expect((await issue({ ticketId, wants })).status).toBe(201)
  })
})

describe('a reservation', () => {
  it('is chosen for its planned day, keeps the pieces, and is graded afresh at issue', async () => {
    await addDesignation(house, 'SR1130SW')
    const early = await receive(house, 'SR1130SW', 'early', 2, '2029-04-30')
    const late = await receive(house, 'SR1130SW', 'late', 2, '2029-08-31')
    const reserve = (plannedOn: string, pieces: number) =>
      house
        .as('counter')
        .post('/v1/cell-reservations', { ticketId, plannedOn, wants: [{ designation: 'SR1130SW', pieces }] })
    const first = await reserve('2027-01-15', 2)
    expect(first.body.reservations).toMatchObject([{ lotId: early, pieces: 2, grade: 'full-life' }])
    expect(await lotNow(house, early)).toMatchObject({ shelf: 2, reserved: 2, available: 0 })
    expect((await reserve('2027-02-15', 1)).body.reservations[0].lotId).toBe(late)
    const others = await issue({ ticketId, wants: [{ designation: 'SR1130SW', pieces: 2 }] })
    expect(others.body).toMatchObject({ type: '/problems/stock-short', mostInOneLot: 1, reserved: 3 })

    house.setNow('2027-02-01')
    const id = first.body.reservations[0].id
    const stale = await house.as('bench').post(`/v1/cell-reservations/${id}/issue`, {})
    expect(stale.body).toMatchObject({ type: '/problems/short-life-unsigned', bestBefore: '2029-04-30' })
    house.setNow('2027-01-31')
    const issued = await house.as('bench').post(`/v1/cell-reservations/${id}/issue`, {})
    expect(issued.body.cells).toMatchObject([{ lotId: early, pieces: 2, grade: 'full-life' }])
    expect(await lotNow(house, early)).toMatchObject({ shelf: 0, bench: 2, reserved: 0 })
    expect((await house.as('bench').post(`/v1/cell-reservations/${id}/issue`, {})).body.type).toBe(
      '/problems/reservation-ended',
    )
    house.setNow('2026-12-01')
  })

  it('released twice is released once', async () => {
    const made = await house.as('counter').post('/v1/cell-reservations', {
      ticketId,
      plannedOn: '2026-12-05',
      wants: [{ designation: 'SR1130SW', pieces: 1 }],
    })
    const { id, lotId } = made.body.reservations[0]
    for (const _ of [1, 2])
      expect((await house.as('counter').post(`/v1/cell-reservations/${id}/release`)).status).toBe(200)
    expect((await lotNow(house, lotId)).reserved).toBe(1)
  })
})

describe('a loose sale', () => {
  it('needs the child-safe pack and the warning, and takes full life in the same order', async () => {
    const sale = { designation: 'SR626SW', pieces: 2, childSafePack: true, warningGiven: true }
    const before = await everything(house)
    const unsafe = await house.as('counter').post('/v1/loose-sales', { ...sale, childSafePack: false })
    expect([unsafe.status, unsafe.body.errors[0].pointer]).toEqual([400, '#/childSafePack'])
    const unknown = await house.as('counter').post('/v1/loose-sales', { ...sale, designation: 'SR999SW' })
    expect([unknown.status, unknown.body.errors[0].pointer]).toEqual([400, '#/designation'])
    expect(await everything(house)).toBe(before)
    const sold = await house.as('counter').post('/v1/loose-sales', sale)
    expect(sold.body.cells).toMatchObject([{ lotId: lots.B, pieces: 2 }])
  })
})
