import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { House } from '../../support/house.ts'
import { addCalibre, addDesignation, addWatch, lotNow, openStock, receive } from './shelf.ts'

let house: House
let lotId: string
const watches: string[] = []
beforeAll(async () => {
  house = await openStock()
})
afterAll(() => house.close())

const owner = async (name: string) => {
  const made = await house.as('counter').post('/v1/owners', {
    name,
    contacts: [{ means: 'e-mail', value: `${name.replaceAll(' ', '.')}@example.org` }],
    confirmedNew: true,
  })
  expect(made.status, JSON.stringify(made.body)).toBe(201)
  return made.body.id as string
}

// A recalled lot of 40: shelf 11, fitted 26 in 25 watches, loose 2, damaged 1; 22 reachable, 2 of them in the house (common practice, no source).
describe('a recall of a lot of 40', () => {
  beforeAll(async () => {
    await addDesignation(house, 'SR626SW', { weightMg: 390 })
    lotId = await receive(house, 'SR626SW', 'LOT-40', 40, '2029-08-31')
    const one = await addCalibre(house, 'Q 10', 'SR626SW', 1)
    const two = await addCalibre(house, 'Q 20', 'SR66SW', 2)
    const unknownLot: string[] = []
    for (let i = 0; i < 28; i++) {
      const ownerId = i === 24 ? undefined : await owner(`Owner ${i}`)
      const watchId = await addWatch(house, `R-${i}`, i === 0 ? two : one, { ownerId })
      if (i >= 25) unknownLot.push(watchId)
      else watches.push(watchId)
    }
    for (const watchId of watches) {
      const issued = await house.as('stock').post('/v1/cell-issues', { watchId })
      expect(issued.status, JSON.stringify(issued.body)).toBe(201)
      const { pieces } = issued.body.cells[0]
      const fitted = await house.as('bench').post('/v1/cell-fittings', { watchId, cells: [{ lotId, pieces }] })
      expect(fitted.status, JSON.stringify(fitted.body)).toBe(201)
    }
    await house
      .as('counter')
      .post('/v1/loose-sales', { designation: 'SR626SW', pieces: 2, childSafePack: true, warningGiven: true })
    await house
      .as('stock')
      .post(`/v1/cell-lots/${lotId}/entries`, { kind: 'damaged-on-shelf', pieces: 1, reason: 'dropped' })
    for (const watchId of unknownLot) {
      const made = await house
        .as('bench')
        .post(`/v1/watches/${watchId}/events`, { event: 'cell-fitted', on: '2026-12-01', source: 'own-record' })
      expect(made.status, JSON.stringify(made.body)).toBe(201)
    }
    const { pool } = house.database
    await pool.query('update watch set in_house = true where id = any($1)', [watches.slice(0, 2)])
    await pool.query(
      `update owner set erased_on = '2026-11-01' where id = (select owner_id from watch where id = $1)`,
      [watches[22]],
    )
    await pool.query(
      `update contact set failed_on = '2026-11-01' where owner_id = (select owner_id from watch where id = $1)`,
      [watches[23]],
    )
  })

  let id: string
  it('balances, and finds every watch and how its owner can be told', async () => {
    const made = await house.as('stock').post('/v1/recalls', {
      designation: 'SR66SW',
      supplier: 'harbour parts',
      lotNumber: 'LOT-40',
      reason: 'leaks early',
    })
    expect(made.status, JSON.stringify(made.body)).toBe(201)
    id = made.body.id
    expect(made.body.mass.sum).toMatchObject({
      received: 40,
      shelf: 11,
      fitted: 26,
      soldLoose: 2,
      damaged: 1,
      outAtBench: 0,
      unaccounted: 0,
    })
    expect(made.body.mass.balances).toBe(true)
    expect(made.body.fitted).toMatchObject({
      pieces: 26,
      reachable: 20,
      inHouse: 2,
      ownersToWriteTo: 20,
      tellAtNextSight: 3,
    })
    expect(made.body.fitted.watches).toHaveLength(25)
    expect(made.body.possible).toHaveLength(3)
    expect(made.body.progress).toEqual({ all: 25, settled: 0, open: 25 })
  })

  it('has blocked the shelf at once', async () => {
    expect(await lotNow(house, lotId)).toMatchObject({
      blocked: 'recall',
      grade: 'not-to-be-fitted',
      bucket: 'blocked',
    })
    const none = await house.as('stock').post('/v1/cell-issues', { watchId: watches[3] })
    expect(none.body).toMatchObject({ type: '/problems/stock-short', blocked: 11 })
    expect((await house.as('manager').post(`/v1/cell-lots/${lotId}/releases`, { note: 'x' })).body.type).toBe(
      '/problems/blocked-by-recall',
    )
    expect(
      (await house.as('stock').post(`/v1/cell-lots/${lotId}/write-offs`, { pieces: 11, reason: 'x' })).body.type,
    ).toBe('/problems/blocked-by-recall')
  })

  it('writes once to every owner who can be reached, outside the rhythm, and to nobody else', async () => {
    const write = () => house.as('stock').post(`/v1/recalls/${id}/letters`)
    const today = house.service.clock.now().toISOString().slice(0, 10)
    await house
      .as('manager')
      .post('/v1/house-rules', { key: 'recallComeByDays', value: 5, fromDay: today, reason: 'it leaks' })
      .expect(201)
    const first = await write()
    expect(first.status, JSON.stringify(first.body)).toBe(201)
    // 20 owners of known fittings and the 3 of the possible ones
    expect(first.body.queued).toBe(23)
    const states = first.body.recall.fitted.watches.map((w: { state: string }) => w.state)
    expect(states.filter((state: string) => state === 'letter-queued')).toHaveLength(20)
    expect((await write()).body.queued).toBe(0)
    const { rows } = await house.database.pool.query(
      `select count(*)::int as letters, bool_or(reminder) as reminder, count(distinct owner_id)::int as owners, min(come_by - run_on) as days,
         max(come_by - run_on) as most from notice`,
    )
    expect(rows).toEqual([{ letters: 23, reminder: false, owners: 23, days: 5, most: 5 }])
    const known = await house.database.pool.query(
      `select notice_id from recall_watch where certainty = 'fitted' and notice_id is not null limit 1`,
    )
    const preview = await house.as('manager').get(`/v1/notices/${known.rows[0].notice_id}/preview`)
    expect(preview.status, JSON.stringify(preview.body)).toBe(200)
    expect(preview.body.subject).toBe('A cell in your watch was called back by its supplier')
    expect(preview.body.text).toContain('The cell that we fitted in this watch comes from that batch.')
    expect(preview.body.text).toMatch(/free\s+of\s+charge/)
    expect(preview.body.text).not.toContain('undefined')
  })

  it('a watch whose cell came out since is settled and counted apart', async () => {
    await house
      .as('bench')
      .post(`/v1/watches/${watches[5]}/events`, { event: 'cell-removed', on: '2026-12-01', source: 'own-record' })
    const { body } = await house.as('manager').get(`/v1/recalls/${id}`)
    expect(body.fitted).toMatchObject({ pieces: 25 })
    expect(body.takenOutSince).toMatchObject([{ watchId: watches[5], pieces: 1 }])
    expect(body.mass).toMatchObject({ balances: true, sum: { fitted: 26 } })
    expect(body.progress).toMatchObject({ settled: 1, open: 24 })
  })

  it('says first by how much the mass does not close', async () => {
    // as it was left before a struck fact took its pieces with it
    await house.database.pool.query(
      `insert into strike (fact_id, fact_table, watch_id, reason, learned, recorded_by)
       select event_id, 'watch_event', watch_id, 'wrong watch', '2026-12-01', 'test' from stock_entry where watch_id = $1 and kind = 'fitted'`,
      [watches[6]],
    )
    const { body } = await house.as('manager').get(`/v1/recalls/${id}`)
    expect(body.mass).toMatchObject({ balances: false, sum: { fitted: 25, unaccounted: 1 } })
  })

  it('takes in what comes of the lot afterwards: blocked at once, and in the sum', async () => {
    const more = await receive(house, 'SR626SW', 'LOT-40', 5, '2029-08-31', {
      supplier: 'HARBOUR PARTS',
      receivedOn: '2026-12-01',
      storagePlace: 'drawer of late comers',
    })
    expect(await lotNow(house, more)).toMatchObject({ blocked: 'recall', grade: 'not-to-be-fitted' })
    const other = await receive(house, 'SR626SW', 'LOT-41', 5, '2029-08-31')
    expect(await lotNow(house, other)).toMatchObject({ blocked: null })
    const { body } = await house.as('manager').get(`/v1/recalls/${id}`)
    expect(body.mass.sum).toMatchObject({ received: 45, shelf: 16 })
    const back = { kind: 'returned-to-supplier', pieces: 5, reason: 'recall' }
    expect((await house.as('stock').post(`/v1/cell-lots/${more}/entries`, back)).status).toBe(201)
  })

  it('is closed by the manager once every watch is settled and nothing lies on the shelf', async () => {
    const closing = () => house.as('manager').post(`/v1/recalls/${id}/closing`, { note: 'all told, 11 returned' })
    expect((await closing()).body).toMatchObject({ type: '/problems/recall-not-settled', shelf: 11 })
    for (const watchId of watches) {
      const done = await house
        .as('counter')
        .post(`/v1/recalls/${id}/watches/${watchId}/progress`, { state: 'settled', note: 'changed free of charge' })
      expect(done.status).toBe(200)
    }
    await house
      .as('stock')
      .post(`/v1/cell-lots/${lotId}/entries`, { kind: 'returned-to-supplier', pieces: 11, reason: 'recall' })
    const closed = await closing()
    expect(closed.body).toMatchObject({
      closedOn: '2026-12-01',
      closingNote: 'all told, 11 returned',
      progress: { open: 0 },
    })
    expect(
      (await house.as('counter').post(`/v1/recalls/${id}/watches/${watches[0]}/progress`, { state: 'told' })).body.type,
    ).toBe('/problems/recall-closed')
  })

  it('keeps its lot number suspect when it is over: what comes then waits for the manager', async () => {
    const late = await receive(house, 'SR626SW', 'LOT-40', 3, '2029-08-31', { storagePlace: 'drawer of the last' })
    expect(await lotNow(house, late)).toMatchObject({ blocked: 'recall' })
    const { body } = await house.as('manager').get(`/v1/recalls/${id}`)
    expect(body.mass.sum, 'a closed recall stays as it was closed').toMatchObject({ received: 45, shelf: 0 })
    const freed = await house.as('manager').post(`/v1/cell-lots/${late}/releases`, { note: 'made after the fault' })
    expect(freed.body, JSON.stringify(freed.body)).toMatchObject({ blocked: null })
  })

  it('of a lot nobody has is not found, and needs a number or a span', async () => {
    const recall = (body: object) =>
      house.as('stock').post('/v1/recalls', { designation: 'SR66SW', supplier: 'Harbour Parts', reason: 'x', ...body })
    expect((await recall({ lotNumber: 'NONE' })).status).toBe(404)
    expect((await recall({})).body.errors[0].pointer).toBe('#/lotNumber')
    expect((await recall({ from: '2026-06-02', to: '2026-06-01' })).body.errors[0].pointer).toBe('#/to')
    expect((await house.as('counter').post('/v1/recalls', {})).status).toBe(403)
  })
})
