import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { book, dueOf } from '../support/book.ts'
import { type House, openHouse } from '../support/house.ts'

let house: House
beforeAll(async () => {
  house = await openHouse({ now: '2026-11-25' })
})
afterAll(() => house.close())
const { watch } = book(() => house)

describe('guidance and house rules', () => {
  test('a maker’s word reaches every watch of the calibre at once, with ninety days’ fairness', async () => {
    const calibre = (
      await house.as('bench').post('/v1/calibres', { name: 'HA 28', energy: 'none', beatsPerHour: 28_800 }).expect(201)
    ).body
    const { id } = await watch({ calibreId: calibre.id })
    await house
      .as('bench')
      .post(`/v1/watches/${id}/events`, {
        event: 'complete-service',
        on: '2022-04-30',
        source: 'own-record',
        learned: '2022-04-30',
      })
      .expect(201)
    const guidance = {
      calibreId: calibre.id,
      obligation: 'complete-service',
      months: 48,
      inForceFrom: '2026-10-01',
      learned: '2026-10-01',
      sourcePaper: 'bulletin 12',
    }
    const said = await house.as('manager').post('/v1/guidance', guidance).expect(201)
    expect(said.body.reReckoning.watchesAtOnce).toBe(1)
    const { body } = await house.as('bench').get(`/v1/watches/${id}`).expect(200)
    expect(dueOf(body, 'complete-service')).toMatchObject({
      rule: 'maker',
      dueOn: '2026-04-30',
      noticesDueOn: '2026-12-30',
    })
    const both = await house.as('manager').post('/v1/guidance', { ...guidance, maker: 'Halden', model: 'Fjord' })
    expect(both.status).toBe(400)
  })

  test('house rules are listed with bounds; a new value holds from its day on and never before today', async () => {
    const { body } = await house.as('counter').get('/v1/house-rules').expect(200)
    const rule = body.items.find((item: { key: string }) => item.key === 'usualServiceMonths')
    expect(rule).toMatchObject({ value: 60, default: 60, unit: 'months', values: [] })
    const change = { key: 'usualServiceMonths', value: 54, fromDay: '2026-11-25', reason: 'softer water here' }
    expect((await house.as('manager').post('/v1/house-rules', { ...change, fromDay: '2026-11-24' })).body.type).toBe(
      '/problems/rule-in-past',
    )
    expect((await house.as('manager').post('/v1/house-rules', { ...change, value: 1000 })).body.errors[0].pointer).toBe(
      '#/value',
    )
    expect((await house.as('manager').post('/v1/house-rules', { ...change, key: 'none' })).body.errors[0].pointer).toBe(
      '#/key',
    )
    expect((await house.as('counter').post('/v1/house-rules', change)).status).toBe(403)
    await house.as('manager').post('/v1/house-rules', change).expect(201)
    const { id } = await watch()
    const done = await house
      .as('bench')
      .post(`/v1/watches/${id}/events`, { event: 'complete-service', on: '2022-03-15', source: 'own-record' })
      .expect(201)
    expect(dueOf(done.body, 'complete-service')?.dueOn).toBe('2026-09-15')
  })
})
