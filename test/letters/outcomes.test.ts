import { afterAll, beforeAll, expect, test } from 'vitest'
import { type HandingOver, openHandingOver } from '../../src/features/notices/handing-over.ts'
import { type Relay, startRelay } from '../faults/delivery/relay.ts'
import { eur, openShop, type Shop } from '../features/tickets/shop.ts'
import { queueLetter, stateOf } from './book.ts'
import { due } from './sample.ts'

let relay: Relay
let shop: Shop
let letters: HandingOver

beforeAll(async () => {
  relay = await startRelay()
  shop = await openShop({
    now: '2026-11-25T09:00:00Z',
    env: { SMTP_URL: relay.url, LETTERS_FROM: 'letters@centre.example' },
  })
  letters = openHandingOver(shop.house.service, async () => new Map())
})
afterAll(async () => {
  await letters.close()
  await shop.close()
  await relay.close()
})

const written = async (ownerId: string, watchId: string, runOn: string, stage: string, kinds: string[]) => {
  const parts = kinds.map((kind) => due({ watchId, recordId: ownerId, kind: kind as 'cell-change', stage }))
  const id = await queueLetter(shop.house, ownerId, watchId, { parts, runOn })
  await letters.round()
  expect(await stateOf(shop.house, id)).toBe('sent')
  return id
}
const outcomes = async (from: string, to: string) =>
  (await shop.manager.get(`/v1/notices/outcomes?from=${from}&to=${to}`).expect(200)).body

test('letter, visit, bill, payment: the takings stand under the letter that brought the watch in', async () => {
  const ownerId = await shop.owner()
  const watchId = await shop.watch(ownerId)
  await written(ownerId, watchId, '2026-10-10', '1', ['cell-change'])
  await written(ownerId, watchId, '2026-11-20', '2', ['cell-change', 'water-check'])
  // written to on the same days, and never seen: the one letter of October, and one beyond the ninety days
  const other = await shop.owner('Otto Reed')
  await written(other, await shop.watch(other), '2026-10-10', '1', ['cell-change'])
  const late = await shop.owner('Lena Moss')
  const lateWatch = await shop.watch(late)
  await written(late, lateWatch, '2026-08-26', '1', ['cell-change'])
  await shop.book({ ownerId: late, watchId: lateWatch })

  const ticket = await shop.readied({ ownerId, watchId })
  // cell change 20.00 and pressure test 10.00, and tax at 20 %
  expect((await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body.bill).toEqual(eur(3600))
  await shop.pay(ticket.number, 4000)
  await shop.told(ticket.number, 'payments', { amount: eur(400), how: 'returned' })

  const counts = { delivered: 0, returned: 0, inDoubt: 0, failed: 0, withdrawn: 0, answered: 0 }
  const none = { ...counts, cameIn: 0, takings: [] }
  const one = { ...counts, letters: 1, sent: 1, cameIn: 1, takings: [eur(3600)] }
  const { items, inAll } = await outcomes('2026-08-01', '2026-11-30')
  expect(items).toEqual([
    // 26 August to 25 November is the ninety-first day
    { kind: 'cell-change', stage: '1', letters: 3, sent: 3, ...none },
    { kind: 'cell-change', stage: '2', ...one },
    { kind: 'water-check', stage: '2', ...one },
  ])
  // what two items brought in together is taken once
  expect(inAll).toEqual({ ...one, letters: 4, sent: 4 })
  expect((await outcomes('2026-10-01', '2026-10-31')).inAll).toEqual({ letters: 2, sent: 2, ...none })
  expect((await outcomes('2025-10-01', '2025-10-31')).inAll).toEqual({ letters: 0, sent: 0, ...none })
})

test('on the ninetieth day it still came of the letter; a struck payment was never taken', async () => {
  const ownerId = await shop.owner()
  const watchId = await shop.watch(ownerId)
  await written(ownerId, watchId, '2026-08-27', '1', ['complete-service'])
  const ticket = await shop.book({ ownerId, watchId })
  const cameIn = async () => {
    const { items } = await outcomes('2026-08-27', '2026-08-27')
    return [items[0].cameIn, items[0].takings]
  }
  expect(await cameIn()).toEqual([1, []])
  const paid = await shop.told(ticket.number, 'payments', { amount: eur(500), how: 'deposit' })
  expect(await cameIn()).toEqual([1, [eur(500)]])
  await shop.told(ticket.number, 'strikes', { record: paid.id, reason: 'typed on the wrong ticket' })
  expect(await cameIn()).toEqual([1, []])
})
