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

test('the work of a day: by who must act, who holds it, where it lies and until when, the soonest first, page by page', async () => {
  const yesterday = await shop.book({ place: 'tray 7' })
  const holds = async (ref: { number: string }, from: string, holder: string) =>
    shop.told(ref.number, 'custody-moves', { from, to: 'bench 9', holder, tagNumber: ref.number })
  const [first, second, third] = [await shop.book(), await shop.book(), await shop.book()]
  for (const ticket of [first, second, third]) {
    await shop.moved(ticket.number, 'looked-over')
    await holds(ticket, 'counter', 'Ilva')
  }
  const on = (ticket: { id: string }, day: string) =>
    shop.house.database.pool.query('update ticket set next_by = $2 where id = $1', [ticket.id, day])
  await on(first, '2026-11-28')
  await on(second, '2026-11-25')
  await on(third, '2026-11-26')
  type Row = { number: string; nextBy: string; nextActor: string }
  const list = async (query: string) =>
    ((await shop.bench.get(`/v1/tickets?${query}`).expect(200)).body.items as Row[]).map((row) => row.number)
  expect(await list('holder=Ilva')).toEqual([second, third, first].map((one) => one.number))
  expect(await list('holder=Ilva&nextActor=bench&dueBefore=2026-11-26')).toEqual([second.number])
  expect(await list('holder=Ilva&nextActor=bench&dueBefore=2026-11-27')).toEqual([second.number, third.number])
  expect(await list('holder=Ilva&nextActor=stock')).toEqual([])
  expect(await list('place=tray%207')).toEqual([yesterday.number])

  const walked: string[] = []
  let next: string | undefined = '/v1/tickets?holder=Ilva&limit=1'
  while (next) {
    const { body, headers }: { body: { items: Row[] }; headers: Record<string, string> } = await shop.bench
      .get(next)
      .expect(200)
    walked.push(...body.items.map((row) => row.number))
    next = /<([^>]+)>; rel="next"/.exec(headers.link ?? '')?.[1]
  }
  expect(walked).toEqual([second, third, first].map((one) => one.number))
  // what has ended is nobody's work, and is there for who asks for it
  expect(await list('holder=the%20collector')).toEqual([])
  expect((await list('holder=the%20collector&open=false')).length).toBeGreaterThan(0)
  await shop.bench.get('/v1/tickets?dueBefore=soon').expect(400)
})
