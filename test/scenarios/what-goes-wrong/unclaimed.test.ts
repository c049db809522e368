import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { openShop, type Shop } from '../../features/tickets/shop.ts'

/** What goes wrong after the work: nobody fetches the watch, and what the service does then (common practice, no source). */
let shop: Shop
beforeAll(async () => {
  shop = await openShop()
})
afterAll(() => shop.close())

describe('unclaimed for months', () => {
  test('the clock runs from the delivered notice, nothing is disposed of by itself, and a missing law means stop', async () => {
    shop.house.setNow('2026-12-16T11:00:00Z')
    const ticket = await shop.readied()
    const plan = async () =>
      (await shop.counter.get(`/v1/tickets/${ticket.number}/unclaimed-plan`).expect(200)).body.plan
    await shop.told(ticket.number, 'contacts', { about: 'ready', means: 'e-mail', result: 'sent' })
    expect(await plan()).toBeNull()
    await shop.told(ticket.number, 'contacts', { about: 'ready', means: 'e-mail', result: 'delivered' })
    expect((await plan()).steps.map((step: { on: string }) => step.on)).toEqual([
      '2026-12-30',
      '2027-01-30',
      '2027-03-16',
    ])
    const dispose = () =>
      shop.manager.post(`/v1/tickets/${ticket.number}/endings`, { as: 'disposed-of', words: 'nobody came' })
    expect((await dispose()).status).toBe(409)
    const early = await shop.say(ticket.number, 'unclaimed-steps', { step: 'registered', words: 'amount owed 36.00' })
    expect(early.body).toMatchObject({ status: 409, detail: expect.stringContaining('2027-03-16') })
    shop.house.setNow('2027-03-16T09:00:00Z')
    await shop.told(ticket.number, 'unclaimed-steps', { step: 'registered', words: 'amount owed 36.00', proof: 'RR 1' })
    expect((await plan()).after).toMatchObject({ state: 'stop' })
    expect((await dispose()).body).toMatchObject({ type: '/problems/setting-missing', setting: 'unclaimedLaw' })
    await shop.made(shop.manager, '/v1/local-settings', {
      key: 'unclaimedLaw',
      value: { name: 'the local act', monthsIfOwed: 3, monthsIfNotOwed: 1 },
      fromDay: '2027-03-16',
      reason: 'asked',
    })
    expect((await plan()).after).toMatchObject({ state: 'law', noStepThrough: '2027-06-16' })
    shop.house.setNow('2027-06-16T09:00:00Z')
    expect((await dispose()).status).toBe(409)
    shop.house.setNow('2027-06-17T09:00:00Z')
    expect((await dispose()).body).toMatchObject({ ended: 'disposed-of' })
    shop.house.setNow('2026-12-16T12:00:00Z')
  })
})
