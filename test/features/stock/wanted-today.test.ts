import { afterAll, beforeAll, expect, it } from 'vitest'
import type { House } from '../../support/house.ts'
import { addCalibre, addDesignation, addWatch, openStock, receive } from './shelf.ts'

let house: House
const get = (path: string) => house.as('manager').get(path)
beforeAll(async () => {
  house = await openStock()
})
afterAll(() => house.close())

// Watches in the house that wait for a cell are demand of today, one each, less the pieces issued to them (common practice, no source).
it('a watch in the house that waits for its cells wants them today, less those it was given', async () => {
  await addDesignation(house, 'SR521SW')
  const lotId = await receive(house, 'SR521SW', 'W1', 9, '2029-10-31')
  const calibre = await addCalibre(house, 'Q 21', 'SR521SW', 2)
  const owner = await house.as('counter').post('/v1/owners', { name: 'Waits' }).expect(201)
  const watchId = await addWatch(house, 'WAITS-1', calibre, { ownerId: owner.body.id })
  const wanted = async () => {
    const { body } = await get('/v1/reports/cell-outlook?designation=SR521SW')
    return [body.demand.atOnce, body.position.promised]
  }
  expect(await wanted()).toEqual([0, 0])
  const ticket = await house
    .as('counter')
    .post('/v1/tickets', { owner: { id: owner.body.id }, watch: { id: watchId }, complaint: 'stopped' })
  expect(ticket.status, JSON.stringify(ticket.body)).toBe(201)
  expect(await wanted(), 'nobody has said yet that it is the cells').toEqual([0, 0])
  await house.database.pool.query(`update ticket set work_class = 'cell' where id = $1`, [ticket.body.id])
  expect(await wanted()).toEqual([2, 0])
  const bench = house.as('bench')
  const kept = await bench.post('/v1/cell-reservations', { watchId, plannedOn: '2026-12-03' }).expect(201)
  expect(await wanted(), 'reserved pieces are the same pieces').toEqual([2, 2])
  await bench.post(`/v1/cell-reservations/${kept.body.reservations[0].id}/issue`, {}).expect(201)
  expect(await wanted()).toEqual([0, 0])
  await bench
    .post(`/v1/cell-lots/${lotId}/entries`, {
      kind: 'damaged-at-bench',
      pieces: 1,
      reason: 'dropped',
      ticketId: ticket.body.id,
    })
    .expect(201)
  expect(await wanted(), 'one was dropped').toEqual([1, 0])
  const other = await addWatch(house, 'WAITS-2', calibre)
  await bench.post('/v1/cell-reservations', { watchId: other, plannedOn: '2026-12-03' }).expect(201)
  expect(await wanted(), 'a reservation for a watch that is not in the house').toEqual([3, 2])
})
