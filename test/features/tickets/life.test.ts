import { afterAll, beforeAll, expect, test } from 'vitest'
import { mightBeTaken } from '../../../src/domain/tickets/twins.ts'
import { eur, openShop, type Shop } from './shop.ts'

let shop: Shop
beforeAll(async () => {
  shop = await openShop()
})
afterAll(() => shop.close())

test('a cell change from door to door: booked in, agreed, done, tested, checked, paid, handed over', async () => {
  const ticket = await shop.readied()
  const ready = (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body
  expect(ready).toMatchObject({ step: 'ready', bill: eur(3600), nextActor: 'counter' })

  const unpaid = await shop.move(ticket.number, 'handed-over', {
    release: shop.release(ticket, ticket.collector, ticket.serialOn),
  })
  expect(unpaid.status).toBe(409)
  expect(unpaid.body).toMatchObject({ type: '/problems/gate-shut', gate: 'G15' })

  await shop.pay(ticket.number, 3600)
  const over = await shop.moved(ticket.number, 'handed-over', {
    release: shop.release(ticket, ticket.collector, ticket.serialOn),
  })
  expect(over).toMatchObject({
    step: 'handed-over',
    ended: 'handed-over',
    nextActor: null,
    nextBy: null,
    place: 'with the owner',
  })

  const { body: due } = await shop.counter.get(`/v1/watches/${ticket.watchId}/obligations`).expect(200)
  const cell = due.obligations.find((one: { kind: string }) => one.kind === 'cell-change')
  expect(cell).toMatchObject({ rule: 'usual', baseOn: '2026-11-25', dueOn: '2028-11-25' })
  const { rows } = await shop.house.database.pool.query(
    'select what, starts_on::text as starts, months from guarantee where watch_id = $1',
    [ticket.watchId],
  )
  expect(rows).toEqual([{ what: 'cell change', starts: '2026-11-25', months: 12 }])
})

test('a watch is told of every open one it might be taken for and of no other, whatever of either is unknown', async () => {
  const looks = ['Harbour', 'Lantern', undefined].flatMap((model) =>
    ['steel', undefined].flatMap((caseMaterial) =>
      ['ivory', 'slate', undefined].map((dial) => ({ model, caseMaterial, dial })),
    ),
  )
  const owner = await shop.owner()
  const inside: { number: string; model: string | null; metal: string | null; dial: string | null }[] = []
  for (const { model, caseMaterial, dial } of [...looks, ...looks.reverse()]) {
    const made = await shop.watch(owner, { model, caseMaterial, maker: 'Twinmaker' })
    const { body: ticket, status } = await shop.counter.post('/v1/tickets', {
      owner: { id: owner },
      watch: { id: made },
      complaint: 'it stopped',
      ...(dial ? { dial } : {}),
    })
    expect(status, JSON.stringify(ticket)).toBe(201)
    const look = { maker: 'Twinmaker', model: model ?? null, metal: caseMaterial ?? null, dial: dial ?? null }
    const alike = inside.filter((other) =>
      mightBeTaken({ ...look, diameterMm: 38 }, { maker: 'Twinmaker', diameterMm: 38, ...other }, 1),
    )
    expect(
      ticket.twins.map((twin: { number: string }) => twin.number),
      JSON.stringify(look),
    ).toEqual(alike.map((other) => other.number).sort())
    inside.push({ number: ticket.number, ...look })
  }
})
