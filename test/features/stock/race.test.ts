import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { House } from '../../support/house.ts'
import { addDesignation, openStock, openTicket, receive } from './shelf.ts'

let house: House
beforeAll(async () => {
  house = await openStock()
  ticketId = await openTicket(house)
})
afterAll(() => house.close())

let ticketId: string

describe('64 issuers at once', () => {
  it('take the last pieces in order and never below zero', async () => {
    await addDesignation(house, 'SR626SW')
    const order: string[] = []
    // seven lots of seven: 49 pieces for 64 people
    for (let i = 0; i < 7; i++) order.push(await receive(house, 'SR626SW', `L${i}`, 7, `2029-0${i + 3}-15`))
    const answers = await Promise.all(
      Array.from({ length: 64 }, () =>
        house.as('bench').post('/v1/cell-issues', { ticketId, wants: [{ designation: 'SR626SW', pieces: 1 }] }),
      ),
    )
    const given = answers.filter((a) => a.status === 201)
    expect(answers.filter((a) => a.status !== 201).map((a) => a.body.type)).toEqual(
      Array(15).fill('/problems/stock-short'),
    )
    expect(given).toHaveLength(49)
    const { rows } = await house.database.pool.query(
      `select lot_id from stock_entry where kind = 'issued' order by recorded_at, id`,
    )
    expect(rows).toHaveLength(49)
    const { rows: shelf } = await house.database.pool.query('select shelf, bench from stock_lot order by good_through')
    expect(shelf).toEqual(Array(7).fill({ shelf: 0, bench: 7 }))
    for (const lotId of order) expect(given.filter((a) => a.body.cells[0].lotId === lotId)).toHaveLength(7)
  })

  it('are never out of order: no lot is opened while an earlier one has pieces', async () => {
    await addDesignation(house, 'SR521SW')
    for (let i = 0; i < 5; i++) await receive(house, 'SR521SW', `M${i}`, 20, `2029-0${i + 3}-15`)
    await Promise.all(
      Array.from({ length: 64 }, () =>
        house.as('bench').post('/v1/cell-issues', { ticketId, wants: [{ designation: 'SR521SW', pieces: 1 }] }),
      ),
    )
    const { rows } = await house.database.pool.query(
      `select l.bench from stock_lot l join stock_item i on i.id = l.item_id where i.name = 'SR63SW' order by l.good_through`,
    )
    expect(rows.map((row) => row.bench)).toEqual([20, 20, 20, 4, 0])
  })

  it('who take two designations in opposite order do not block one another', async () => {
    await addDesignation(house, 'SR916SW')
    await addDesignation(house, 'SR920SW')
    await receive(house, 'SR916SW', 'a', 20, '2029-05-15')
    await receive(house, 'SR920SW', 'b', 20, '2029-05-15')
    const wants = [
      { designation: 'SR916SW', pieces: 1 },
      { designation: 'SR920SW', pieces: 1 },
    ]
    const answers = await Promise.all(
      Array.from({ length: 30 }, (_, i) =>
        house.as('bench').post('/v1/cell-issues', { ticketId, wants: i % 2 ? wants : [...wants].reverse() }),
      ),
    )
    expect(answers.filter((a) => a.status === 201)).toHaveLength(20)
    expect(answers.filter((a) => a.status !== 201).map((a) => a.body.type)).toEqual(
      Array(10).fill('/problems/stock-short'),
    )
  })
})
