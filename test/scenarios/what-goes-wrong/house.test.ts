import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { addDays } from '../../../src/domain/day.ts'
import { eur, openShop, type Shop } from '../../features/tickets/shop.ts'

/** What goes wrong in the house as a whole, and what the service does then (common practice, no source). */
let shop: Shop
beforeAll(async () => {
  shop = await openShop()
})
afterAll(() => shop.close())

test('stuck for parts: the wait has a date, and past it the ticket climbs to the list by itself', async () => {
  const ticket = await shop.book()
  await shop.agreed(ticket.number)
  await shop.told(
    ticket.number,
    'parts',
    { lines: [{ what: 'crystal', onHand: false, expectedOn: '2026-12-21' }] },
    shop.stock,
  )
  expect(await shop.moved(ticket.number, 'awaiting-parts')).toMatchObject({ nextActor: 'stock', nextBy: '2026-12-24' })
  const later = { lines: [{ what: 'crystal', onHand: false, expectedOn: '2026-12-23', chasedOn: '2026-11-25' }] }
  await shop.told(ticket.number, 'parts', later, shop.stock)
  const moved = (await shop.counter.get(`/v1/tickets/${ticket.number}`)).body
  expect(moved.nextBy, 'three working days, not three days').toBe('2026-12-28')
  expect((await shop.move(ticket.number, 'ready-for-bench')).body).toMatchObject({
    gate: 'G8',
    why: expect.stringContaining('crystal'),
  })
  const stuck = async () =>
    (await shop.manager.get('/v1/reports/stuck-tickets?limit=100').expect(200)).body.items.map(
      (row: { number: string }) => row.number,
    )
  expect(await stuck()).not.toContain(ticket.number)
  shop.house.setNow('2026-12-29T09:00:00Z')
  expect(await stuck()).toContain(ticket.number)
  const advice = async () =>
    (await shop.manager.get('/v1/reports/stuck-tickets?limit=100').expect(200)).body.items.find(
      (row: { number: string }) => row.number === ticket.number,
    ).advice
  expect(await advice()).toBe('chase the supplier, and tell the owner the new day before the old one passes')
  shop.house.setNow('2027-01-24T09:00:00Z')
  expect(await advice(), 'sixty days after 25 November').toContain('offer the owner to take the watch back undone')
  const csv = await shop.manager.get('/v1/reports/stuck-tickets').set('accept', 'text/csv').expect(200)
  expect(csv.headers['content-type']).toMatch(/^text\/csv/)
  expect(csv.text.split('\n')[0]).toMatch(/^number,step/)
  shop.house.setNow('2026-12-16T13:00:00Z')
})

test('a supplier who keeps moving the day: the owner hears of it before the day promised passes, and after sixty days of waiting the watch is offered back', async () => {
  shop.house.setNow('2026-12-16T13:10:00Z')
  const ticket = await shop.book()
  await shop.agreed(ticket.number)
  const expected = (expectedOn: string) =>
    shop.told(ticket.number, 'parts', { lines: [{ what: 'crown', onHand: false, expectedOn }] }, shop.stock)
  await shop.told(ticket.number, 'promises', { on: '2027-01-20' })
  await expected('2027-01-08')
  await shop.moved(ticket.number, 'awaiting-parts')
  const row = async () =>
    (await shop.manager.get('/v1/reports/stuck-tickets?limit=100').expect(200)).body.items.find(
      (one: { number: string }) => one.number === ticket.number,
    )
  expect(await row()).toBeUndefined()
  await expected('2027-02-02')
  expect(await row()).toMatchObject({
    daysPast: 0,
    advice:
      'the part is expected on 2027-02-02 and the watch was promised for 2027-01-20: tell the owner the new day before that one passes',
  })
  await shop.told(ticket.number, 'promises', { on: '2027-02-20' })
  expect(await row()).toBeUndefined()

  // sixty days after 16 December; the day of the next actor is always still to come
  for (const day of ['2027-01-30', '2027-02-13']) {
    shop.house.setNow(`${day}T09:00:00Z`)
    await expected('2027-02-19')
  }
  expect(await row()).toBeUndefined()
  shop.house.setNow('2027-02-14T09:00:00Z')
  await shop.manager
    .post(`/v1/tickets/${ticket.number}/side-states`, {
      state: 'on-hold',
      until: '2027-03-31',
      reason: 'the supplier asked',
    })
    .expect(200)
  expect(await row(), 'on hold it waits all the same').toMatchObject({
    side: 'on-hold',
    daysPast: 0,
    advice: 'no part in 60 days: offer the owner to take the watch back undone',
  })
  shop.house.setNow('2026-12-16T13:30:00Z')
})

test('an answer that does not come: each attempt is counted, and after the number of the house a letter goes by post', async () => {
  shop.house.setNow('2026-12-16T14:00:00Z')
  const ticket = await shop.book({ dial: 'coral' })
  await shop.moved(ticket.number, 'looked-over')
  await shop.told(ticket.number, 'looks', { findings: 'cell', workClass: 'cell' }, shop.bench)
  await shop.told(ticket.number, 'estimates', { lines: shop.usualLines }, shop.bench)
  await shop.moved(ticket.number, 'awaiting-yes')
  const attempt = () => shop.told(ticket.number, 'contacts', { about: 'estimate', means: 'phone', result: 'failed' })
  await attempt()
  shop.house.setNow('2026-12-24T09:00:00Z')
  const advice = async () =>
    (await shop.manager.get('/v1/reports/stuck-tickets?limit=100').expect(200)).body.items.find(
      (row: { number: string }) => row.number === ticket.number,
    ).advice
  expect(await advice(), 'a missing local setting means stop').toContain('stop and ask (local setting contactAttempts)')
  await shop.made(shop.manager, '/v1/local-settings', {
    key: 'contactAttempts',
    value: 2,
    fromDay: '2026-12-24',
    reason: 'decided',
  })
  expect(await advice()).toBe('1 attempt did not reach the owner: try another means; after 2 a letter goes by post')
  await attempt()
  expect(await advice()).toBe('2 attempts did not reach the owner: send a letter by post')
  shop.house.setNow('2026-12-24T10:00:00Z')
})

describe('loss and theft', () => {
  test('a watch that the evening count does not find is an incident and freezes its ticket', async () => {
    const lost = await shop.book({ place: 'drawer 9', dial: 'white' })
    const there = await shop.book({ place: 'drawer 9', dial: 'grey' })
    const astray = await shop.book({ place: 'drawer 10', dial: 'black' })
    await shop.book({ place: 'drawer 12', dial: 'olive' })
    const twoPlaces = await shop.manager.post('/v1/evening-counts', {
      places: [
        { place: 'drawer 9', numbers: [there.number, lost.number] },
        { place: 'drawer 10', numbers: [lost.number, astray.number] },
      ],
    })
    expect([twoPlaces.status, twoPlaces.body.errors], 'a tag in two places is on a wrong watch').toEqual([
      400,
      [{ pointer: '#/places/1/numbers/0', detail: expect.stringContaining('was counted at drawer 9, too') }],
    ])
    const count = await shop.made(shop.manager, '/v1/evening-counts', {
      places: [{ place: 'drawer 9', numbers: [there.number, astray.number] }],
    })
    expect(count.notCounted, 'nothing missing there means nothing').toContainEqual({ place: 'drawer 12', watches: 1 })
    expect(count.notCounted, 'the one watch of it was found').not.toContainEqual(
      expect.objectContaining({ place: 'drawer 10' }),
    )
    const kept = (await shop.manager.get(`/v1/evening-counts/${count.id}`).expect(200)).body
    expect(kept.notCounted).toEqual(count.notCounted)
    expect(count).toMatchObject({
      missing: [{ number: lost.number, place: 'drawer 9' }],
      elsewhere: [{ number: astray.number, place: 'drawer 10', foundAt: 'drawer 9' }],
      unknown: [],
    })
    const tasks = async (kind: string, number: string) => {
      const { items } = (await shop.manager.get(`/v1/tasks?role=manager&kind=${kind}`).expect(200)).body
      return (items as { words: string; dueOn: string }[]).filter(({ words }) => words.includes(number))
    }
    expect(await tasks('tell-insurer', lost.number), 'nobody has said how long the policy allows').toEqual([
      expect.objectContaining({ dueOn: '2026-12-24', words: expect.stringContaining('is not set') }),
    ])
    expect(await tasks('local-setting-missing', 'insurerNoticeDays')).toHaveLength(1)
    await shop.made(shop.manager, '/v1/local-settings', {
      key: 'insurerNoticeDays',
      value: 3,
      fromDay: '2026-12-24',
      reason: 'the policy',
    })
    expect(await tasks('local-setting-missing', 'insurerNoticeDays')).toEqual([])
    const stolen = await shop.book({ place: 'drawer 11', dial: 'ivory' })
    const gone = { state: 'missing', until: '2026-12-28', reason: 'the window was open' }
    expect((await shop.say(stolen.number, 'side-states', gone)).status).toBe(200)
    expect(await tasks('tell-insurer', stolen.number)).toEqual([
      expect.objectContaining({ dueOn: '2026-12-27', words: expect.stringContaining('allows 3 days') }),
    ])
    const frozen = await shop.move(lost.number, 'awaiting-look')
    expect(frozen.body).toMatchObject({ type: '/problems/ticket-frozen', side: 'missing' })
    expect((await shop.gates(lost.number)).G4).toMatchObject({ state: 'shut', why: 'the watch is missing' })
    const notYours = await shop.say(lost.number, 'side-state-ends', { reason: 'found it' })
    expect(notYours.status).toBe(409)
    const found = await shop.manager.post(`/v1/tickets/${lost.number}/side-state-ends`, {
      reason: 'found under the bench',
    })
    expect(found.body).toMatchObject({ step: 'booked-in', side: null })
  })

  test('value at risk is told by place against the cover', async () => {
    await shop.book({ place: 'safe 78', declaredValue: null })
    const unsure = (await shop.manager.get('/v1/reports/value-at-risk').expect(200)).body
    expect(unsure, 'a sum that lacks a watch is not said to be within the cover').toMatchObject({
      over: null,
      because: '1 watch has no declared value and is not in the sum',
    })
    await shop.book({ place: 'safe 77', declaredValue: eur(9_000_000) })
    await shop.book({ place: 'safe 77', declaredValue: eur(2_000_000) })
    const risk = (await shop.manager.get('/v1/reports/value-at-risk').expect(200)).body
    expect(risk.places).toContainEqual({
      place: 'safe 77',
      currency: 'EUR',
      watches: 2,
      amount: 11_000_000,
      withoutValue: 0,
    })
    expect(risk).toMatchObject({ over: true, cover: eur(10_000_000) })
  })

  test('a watch is in one place: of two moves at once from the same place one is refused, and the chain never breaks', async () => {
    const ticket = await shop.book({ dial: 'salmon' })
    const to = (place: string) =>
      shop.counter.post(`/v1/tickets/${ticket.number}/custody-moves`, {
        from: 'counter',
        to: place,
        holder: 'Bert',
        tagNumber: ticket.number,
      })
    const answers = await Promise.all([to('safe'), to('bench 2'), to('window'), to('drawer 1')])
    expect(answers.map((answer) => answer.status).sort()).toEqual([201, 409, 409, 409])
    expect(answers.find((answer) => answer.status === 409)!.body.type).toBe('/problems/custody-broken')
    const other = await shop.book({ dial: 'mauve' })
    const swapped = await shop.counter.post(`/v1/tickets/${ticket.number}/custody-moves`, {
      from: 'safe',
      to: 'bench',
      holder: 'Bert',
      tagNumber: other.number,
    })
    expect(swapped.body).toMatchObject({ status: 409, detail: expect.stringContaining('another watch') })
    await expect(
      shop.house.database.pool.query(
        `insert into custody_move (ticket_id, n, prev, from_place, to_place, holder, at, recorded_by) values ($1, 3, 2, 'nowhere', 'x', 'y', now(), 'z')`,
        [ticket.id],
      ),
    ).rejects.toThrow('custody_move_from_where_it_was')
  })
})

test('the quiet ticket: every open ticket has a next actor and a date', async () => {
  const { rows } = await shop.house.database.pool.query(
    'select count(*)::int as n, count(*) filter (where next_actor is null or next_by is null)::int as quiet from ticket where ended is null',
  )
  expect(rows[0].n).toBeGreaterThan(5)
  expect(rows[0].quiet).toBe(0)
})

test('where the queue is: watches by step, how long, how many past their day or set aside', async () => {
  const queues = async () => {
    const { items } = (await shop.manager.get('/v1/reports/queues').expect(200)).body
    return new Map((items as { step: string }[]).map((row) => [row.step, row as Record<string, number | string>]))
  }
  const before = await queues()
  expect([...before.keys()].slice(0, 3)).toEqual(['booked-in', 'awaiting-look', 'looked-over'])
  expect(before.get('final-check'), 'none is told as none').toMatchObject({ watches: 0, longestDays: null })
  const [waiting, held] = [await shop.book({ dial: 'lilac' }), await shop.book({ dial: 'lime' })]
  for (const { number } of [waiting, held]) await shop.moved(number, 'awaiting-look')
  await shop.say(held.number, 'side-states', { state: 'on-hold', until: '2027-06-01', reason: 'the owner travels' })
  const at = before.get('awaiting-look')!
  const after = (await queues()).get('awaiting-look')!
  expect([after.watches, after.aside]).toEqual([Number(at.watches) + 2, Number(at.aside) + 1])
  const { nextBy } = (await shop.counter.get(`/v1/tickets/${waiting.number}`).expect(200)).body
  const now = shop.house.service.clock.now().toISOString()
  shop.house.setNow(`${addDays(nextBy, 9)}T09:00:00Z`)
  const late = (await queues()).get('awaiting-look')!
  expect(late.past).toBe(Number(at.watches) + 1)
  expect(late.longestDays).toBeGreaterThan(8)
  const csv = await shop.manager.get('/v1/reports/queues').set('accept', 'text/csv').expect(200)
  expect(csv.text.split('\r\n')[0]).toBe('step,watches,aside,past,nextBy,longestDays')
  shop.house.setNow(now)
})

test('every record of the record is append-only in the database itself', async () => {
  const { pool } = shop.house.database
  await shop.book({ dial: 'amber' })
  await expect(pool.query(`update ticket_record set data = '{}'`)).rejects.toThrow(/never changed or deleted/)
  await expect(pool.query(`delete from custody_move`)).rejects.toThrow(/never changed or deleted/)
  for (const table of [
    'ticket_record',
    'custody_move',
    'estimate',
    'estimate_line',
    'estimate_answer',
    'loose_item',
    'ticket_picture',
    'guarantee',
    'tool_certificate',
    'tool_check',
    'evening_count',
  ]) {
    const { rows } = await pool.query(
      `select count(*)::int as n from pg_trigger where tgrelid = $1::regclass and tgname = $2`,
      [table, `${table}_append_only`],
    )
    expect(rows[0].n, table).toBe(1)
    await expect(pool.query(`truncate ${table} cascade`), table).rejects.toThrow(/never changed or deleted/)
  }
})
