import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { book, dueOf } from '../support/book.ts'
import { type House, openHouse } from '../support/house.ts'

let house: House
beforeAll(async () => {
  house = await openHouse({ now: '2026-11-25' })
})
afterAll(() => house.close())
const { owner, watch } = book(() => house)

describe('facts', () => {
  test('move the dates in the transaction that records them, and a struck fact counts no longer', async () => {
    const { id } = await watch({ sold: '2019-11-18' })
    const first = await house
      .as('bench')
      .post(`/v1/watches/${id}/events`, { event: 'complete-service', on: '2022-03-15', source: 'own-record' })
      .expect(201)
    expect(dueOf(first.body, 'complete-service')?.dueOn).toBe('2027-03-15')
    const struck = await house
      .as('bench')
      .post(`/v1/watches/${id}/strikes`, {
        factId: first.body.id,
        reason: 'typed the wrong year',
        replacement: { event: 'complete-service', on: '2021-03-15', source: 'own-record' },
      })
      .expect(201)
    expect(dueOf(struck.body, 'complete-service')?.dueOn).toBe('2026-03-15')
    const again = await house.as('bench').post(`/v1/watches/${id}/strikes`, { factId: first.body.id, reason: 'again' })
    expect(again.body.type).toBe('/problems/already-struck')
    const { body } = await house.as('bench').get(`/v1/watches/${id}/history`).expect(200)
    expect(
      body.events.map((event: { on: string; struck: object | null }) => [event.on, event.struck !== null]),
    ).toEqual([
      ['2022-03-15', true],
      ['2021-03-15', false],
    ])
  })

  test('dated in the future are refused at the counter', async () => {
    const { id } = await watch()
    const answer = await house
      .as('counter')
      .post(`/v1/watches/${id}/events`, { event: 'complete-service', on: '2027-01-12', source: 'own-record' })
    expect([answer.status, answer.body.type, answer.body.errors[0].pointer]).toEqual([
      400,
      '/problems/fact-in-future',
      '#/on',
    ])
    // a month that has begun is not in the future
    await house
      .as('counter')
      .post(`/v1/watches/${id}/events`, { event: 'case-opened', on: '2026-11', source: 'owner-word' })
      .expect(201)
  })

  test('are asked again as they were known on a past day', async () => {
    const { id } = await watch({ sold: '2019-11-18' })
    house.setNow('2026-12-01')
    await house
      .as('bench')
      .post(`/v1/watches/${id}/events`, { event: 'complete-service', on: '2026-11-20', source: 'own-record' })
      .expect(201)
    const then = await house.as('bench').get(`/v1/watches/${id}/obligations?on=2026-11-30`).expect(200)
    const now = await house.as('bench').get(`/v1/watches/${id}/obligations`).expect(200)
    house.setNow('2026-11-25')
    expect([dueOf(then.body, 'complete-service')?.dueOn, dueOf(now.body, 'complete-service')?.dueOn]).toEqual([
      '2024-11-18',
      '2031-11-20',
    ])
    expect((await house.as('bench').get(`/v1/watches/${id}/obligations?on=2019-12-31`)).body.errors[0].parameter).toBe(
      'on',
    )
  })

  test('about wear belong to the person: a new owner’s are unknown, and the letters wait ninety days', async () => {
    // sold on 2026-05-02, the new owner makes himself known on 2026-11-01; serviced 2020-09-30, worn rarely and unexposed by the former owner
    const [former, present] = [await owner('Former Owner'), await owner('Present Owner')]
    house.setNow('2020-10-01')
    const { id } = await watch({ kind: 'hand-wound', ownerId: former.id })
    await house
      .as('bench')
      .post(`/v1/watches/${id}/events`, { event: 'complete-service', on: '2020-09-30', source: 'own-record' })
      .expect(201)
    const worn = { daily: 'no', vibration: 'no', heat: 'no', cold: 'no', source: 'owner-word' }
    const before = await house.as('counter').post(`/v1/watches/${id}/wear`, worn).expect(201)
    expect(dueOf(before.body, 'complete-service')?.dueOn).toBe('2027-09-30')
    house.setNow('2026-05-02')
    await house
      .as('counter')
      .post(`/v1/watches/${id}/ownerships`, { ownerId: null, from: '2026-05-02', how: 'sold on' })
      .expect(201)
    house.setNow('2026-11-01')
    const after = await house
      .as('counter')
      .post(`/v1/watches/${id}/ownerships`, { ownerId: present.id, from: '2026-05-02', how: 'came in himself' })
      .expect(201)
    expect(after.body.ownerId).toBe(present.id)
    house.setNow('2026-11-25')
    const { body } = await house.as('counter').get(`/v1/watches/${id}/obligations`).expect(200)
    expect(body.obligations[0]).toMatchObject({
      kind: 'complete-service',
      rule: 'usual',
      dueOn: '2025-09-30',
      noticesDueOn: '2027-01-30',
      comingUpFrom: '2026-12-01',
    })
  })

  test('of two recorded at once neither is forgotten', async () => {
    const { id } = await watch({ kind: 'quartz', waterClaim: { marked: 'rated', bar: 10 } })
    await Promise.all([
      house
        .as('bench')
        .post(`/v1/watches/${id}/events`, { event: 'complete-service', on: '2025-01-10', source: 'own-record' }),
      house
        .as('bench')
        .post(`/v1/watches/${id}/events`, { event: 'cell-fitted', on: '2025-06-15', source: 'own-record' }),
      house.as('bench').post(`/v1/watches/${id}/events`, {
        event: 'water-test',
        on: '2025-07-01',
        source: 'own-record',
        passed: true,
        bar: 10,
      }),
      house.as('counter').post(`/v1/watches/${id}/wear`, { water: 'now-and-then', source: 'owner-word' }),
    ])
    const { rows } = await house.database.pool.query(
      `select kind, due_on from obligation where watch_id = $1 and rule is not null order by kind`,
      [id],
    )
    expect(rows).toEqual([
      { kind: 'cell-change', due_on: '2027-06-15' },
      { kind: 'complete-service', due_on: '2032-01-10' },
      { kind: 'seals', due_on: '2029-01-10' },
      { kind: 'water-check', due_on: '2027-07-01' },
    ])
  })

  test('and the obligation they change are one transaction (equal xmin)', async () => {
    const { id } = await watch({ kind: 'quartz' })
    await house
      .as('bench')
      .post(`/v1/watches/${id}/events`, { event: 'cell-fitted', on: '2025-06-15', source: 'own-record' })
      .expect(201)
    const { rows } = await house.database.pool.query(
      `select (select xmin::text from watch_event where watch_id = $1) as fact, array_agg(distinct xmin::text) as obligations from obligation where watch_id = $1 and kind = 'cell-change'`,
      [id],
    )
    expect(rows[0].obligations).toEqual([rows[0].fact])
  })

  test('a replaced movement brings its calibre’s rules and the event the reckoning lives on', async () => {
    const calibre = (
      await house.as('bench').post('/v1/calibres', { name: 'HF 36', energy: 'none', beatsPerHour: 36_000 }).expect(201)
    ).body
    const { id } = await watch({ kind: 'self-winding', sold: '2015' })
    const answer = await house
      .as('bench')
      .post(`/v1/watches/${id}/movements`, {
        calibreId: calibre.id,
        on: '2025-10-15',
        condition: 'freshly-serviced',
        source: 'paper',
      })
      .expect(201)
    expect(dueOf(answer.body, 'complete-service')).toMatchObject({ rule: 'high-beat', dueOn: '2028-10-15' })
  })
})
