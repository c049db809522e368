import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { openShop, type Shop } from './shop.ts'

/** Ways round a shut gate that people find at a counter or a bench: each is shut too. */
let shop: Shop
beforeAll(async () => {
  shop = await openShop()
})
afterAll(() => shop.close())

const serialOf = async (watchId: string) =>
  (await shop.counter.get(`/v1/watches/${watchId}`).expect(200)).body.serial as string
const handOver = async (ticket: { number: string; watchId: string }, collector: string) =>
  shop.move(ticket.number, 'handed-over', {
    release: shop.release(ticket, collector, await serialOf(ticket.watchId), { twinAnswer: 'compared' }),
  })

describe('an open case', () => {
  test('is not handed over, though its claim was signed away or it makes none', async () => {
    const owner = await shop.owner()
    const unclaimed = await shop.watch(owner, { waterClaim: { marked: 'none' } })
    for (const signed of [true, false]) {
      const ticket = await shop.book(signed ? {} : { ownerId: owner, watchId: unclaimed })
      const estimate = await shop.agreed(ticket.number)
      await shop.toBench(ticket.number)
      await shop.worked(ticket.number, estimate.lines)
      if (signed)
        await shop.told(ticket.number, 'claim-withdrawals', { ownerSigned: true, textGiven: true }, shop.manager)
      await shop.told(ticket.number, 'openings', { reason: 'a speck of dust' }, shop.bench)
      const shut = await shop.move(ticket.number, 'under-observation', {}, shop.bench)
      expect(shut.body).toMatchObject({ gate: 'G11', why: 'the case is open', mayOverride: [] })
      await shop.told(ticket.number, 'closings', {}, shop.bench)
      await shop.moved(ticket.number, 'final-check', {}, shop.bench)
    }
  })
})

describe('going back undone', () => {
  test('ends at the bench: what is worked on after all is asked for its yes again', async () => {
    const ticket = await shop.book()
    await shop.moved(ticket.number, 'awaiting-look')
    await shop.moved(ticket.number, 'return-undone', { reason: 'too dear' })
    await shop.check(ticket.number)
    expect(await shop.moved(ticket.number, 'ready')).toMatchObject({ undone: true })
    expect(await shop.moved(ticket.number, 'on-the-bench', { reason: 'the owner thought again' })).toMatchObject({
      undone: false,
    })
    await shop.told(ticket.number, 'operations', { what: 'hands set', state: 'done' }, shop.bench)
    await shop.moved(ticket.number, 'final-check', {}, shop.bench)
    await shop.check(ticket.number)
    const { ownerName } = (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body
    await shop.moved(ticket.number, 'ready')
    expect((await handOver(ticket, ownerName)).body).toMatchObject({ type: '/problems/gate-shut', gate: 'G7' })
  })
})
