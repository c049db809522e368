import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { type House, openHouse } from '../support/house.ts'

let house: House
beforeAll(async () => {
  house = await openHouse({ now: '2026-11-25' })
})
afterAll(() => house.close())

const owner = async (name = 'Ada Fennimore', contacts: object[] = [], more: object = {}) =>
  (
    await house
      .as('counter')
      .post('/v1/owners', { name, contacts, ...more })
      .expect(201)
  ).body
const watch = async (fields: object = {}) =>
  (
    await house
      .as('counter')
      .post('/v1/watches', { maker: 'Halden', kind: 'self-winding', firstSeen: '2020-01-01', ...fields })
      .expect(201)
  ).body
const dueOf = (
  body: { obligations: { kind: string; dueOn: string; noticesDueOn: string; rule: string }[] },
  kind: string,
) => body.obligations.find((one) => one.kind === kind)

describe('owners', () => {
  test('are found by any part of the name, by mail address and by telephone number however it is written', async () => {
    const made = await owner('Mireille Österwald-Šimić', [
      { means: 'e-mail', value: 'Mireille.O@example.org' },
      { means: 'phone', value: '044 668 18 00' },
    ])
    // E.164 form by libphonenumber's own table: 044 668 18 00 in CH is +41446681800
    for (const search of [
      'osterwald',
      'simic',
      'MIREILLE oster',
      'mireille.o@ex',
      '+41 44 668 18 00',
      '0446681800',
      '668-1800',
    ]) {
      const found = await house
        .as('counter')
        .get(`/v1/owners?search=${encodeURIComponent(search)}`)
        .expect(200)
      expect(
        found.body.items.map((item: { id: string }) => item.id),
        search,
      ).toContain(made.id)
    }
    const none = await house.as('counter').get('/v1/owners?search=%25').expect(200)
    expect(none.body.items.length).toBeLessThanOrEqual(50)
  })

  test('who share an address with a record on file are offered it, not silently made', async () => {
    const first = await owner('Ines Haro', [{ means: 'e-mail', value: 'ines@example.org' }])
    const body = { name: 'I. Haro', contacts: [{ means: 'e-mail', value: 'INES@example.org' }] }
    const offered = await house.as('counter').post('/v1/owners', body)
    expect([offered.status, offered.body.type, offered.body.candidates]).toEqual([
      409,
      '/problems/likely-double',
      [first.id],
    ])
    await house
      .as('counter')
      .post('/v1/owners', { ...body, confirmedNew: true })
      .expect(201)
  })

  test.each([
    ['a quoted local part', '"x y"@example.org'],
    ['a comment', 'x(y)@example.org'],
    ['two addresses', 'x@example.org,y@example.org'],
    ['an angle address', 'X <x@example.org>'],
    ['no dot in the domain', 'x@example'],
    ['a line break', 'x@example.org\r\nBcc: y@example.org'],
  ])('with %s as mail address are refused', async (_title, value) => {
    const answer = await house.as('counter').post('/v1/owners', { name: 'X', contacts: [{ means: 'e-mail', value }] })
    expect([answer.status, answer.body.errors?.[0]?.pointer]).toEqual([400, '#/contacts/0/value'])
  })

  test('are edited only by who has read the newest version; the old values are kept', async () => {
    const made = await owner('Before Edit')
    const path = `/v1/owners/${made.id}`
    const unread = await house.as('counter').patch(path, { name: 'Y' }, '').unset('if-match')
    expect([unread.status, unread.body.type]).toEqual([428, '/problems/if-match-missing'])
    const edited = await house.as('counter').patch(path, { name: 'After Edit', reason: 'married' }, '"v1"').expect(200)
    expect(edited.headers.etag).toBe('"v2"')
    // RFC 9110 13.1.1: strong comparison, a weak tag never matches
    for (const tag of ['"v1"', 'W/"v2"', '"v3"'])
      expect((await house.as('counter').patch(path, { name: 'Z' }, tag)).status).toBe(412)
    const { rows } = await house.database.pool.query(
      `select before ->> 'name' as name, reason, recorded_by from edit where record_id = $1`,
      [made.id],
    )
    expect(rows).toEqual([{ name: 'Before Edit', reason: 'married', recorded_by: 'counter of the test' }])
  })

  test('merged records keep both numbers and can be parted again', async () => {
    const [kept, double] = [await owner('Kept One'), await owner('Double One')]
    await house.as('counter').post(`/v1/owners/${double.id}/merge`, { into: kept.id }).expect(200)
    const again = await house.as('counter').post(`/v1/owners/${kept.id}/merge`, { into: double.id })
    expect([again.status, again.body.type, again.body.into]).toEqual([409, '/problems/owner-merged', kept.id])
    const parted = await house.as('counter').post(`/v1/owners/${double.id}/unmerge`).expect(200)
    expect(parted.body.mergedInto).toBeNull()
    const self = await house.as('counter').post(`/v1/owners/${kept.id}/merge`, { into: kept.id })
    expect(self.body.type).toBe('/problems/merge-impossible')
  })
})

describe('watches', () => {
  test('are found by serial without spaces and dashes, with O for 0 and I for 1', async () => {
    const made = await watch({ serial: 'OI-12 B' })
    for (const serial of ['01-12b', 'oi12', '0I 1-2-B']) {
      const { body } = await house
        .as('counter')
        .get(`/v1/watches?serial=${encodeURIComponent(serial)}`)
        .expect(200)
      expect(
        body.items.map((item: { id: string }) => item.id),
        serial,
      ).toContain(made.id)
    }
    const twin = await house.as('counter').post('/v1/watches', { maker: 'halden', kind: 'quartz', serial: '0112B' })
    expect([twin.status, twin.body.type, twin.body.id]).toEqual([409, '/problems/serial-known', made.id])
  })

  test('every fault of a body is told at once, with a pointer each, and nothing is written', async () => {
    const before = await house.database.pool.query('select count(*) from watch')
    const answer = await house.as('counter').post('/v1/watches', {
      maker: '',
      kind: 'sundial',
      made: '2023-02-29',
      waterClaim: { marked: 'plain', bar: 5 },
      colour: 'blue',
      firstSeen: 3,
    })
    expect(answer.status).toBe(400)
    expect(answer.body.errors.map((error: { pointer: string }) => error.pointer).sort()).toEqual([
      '#/colour',
      '#/firstSeen',
      '#/kind',
      '#/made',
      '#/maker',
      '#/waterClaim/bar',
    ])
    expect((await house.database.pool.query('select count(*) from watch')).rows).toEqual(before.rows)
  })

  test('that are unknown are 404 wherever they are named', async () => {
    const nobody = '01890000-0000-7000-8000-000000000000'
    for (const path of ['', '/history', '/obligations'])
      expect((await house.as('bench').get(`/v1/watches/${nobody}${path}`)).status, path).toBe(404)
    for (const [path, body] of [
      ['events', { event: 'complete-service', on: '2024', source: 'paper' }],
      ['wear', { source: 'owner-word' }],
      ['notes', { obligation: 'complete-service', months: 12, on: '2024-01-01', reason: 'worn' }],
      ['ownerships', { ownerId: null, from: '2024-01-01', how: 'sold' }],
      ['hazards', { kind: 'radium' }],
      ['strikes', { factId: nobody, reason: 'x' }],
    ] as const) {
      const answer = await house.as('manager').post(`/v1/watches/${nobody}/${path}`, body)
      expect([answer.status, answer.body.type], path).toEqual([404, '/problems/not-found'])
    }
  })
})

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
      `select (select xmin::text from watch_event where watch_id = $1) as fact, array_agg(distinct xmin::text) as obligations from obligation where watch_id = $1`,
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

describe('imports', () => {
  test('load owners, watches and facts; what lies in the future is taken, set aside and told', async () => {
    const { body } = await house
      .as('manager')
      .post('/v1/imports', {
        owners: [
          {
            ref: 'a',
            name: 'Imported Owner',
            language: 'fr',
            contacts: [{ means: 'e-mail', value: 'imported@example.org' }],
          },
        ],
        watches: [
          {
            ref: 'w',
            owner: 'a',
            maker: 'Halden',
            kind: 'hand-wound',
            firstSeen: '2019-01-01',
            events: [
              { event: 'complete-service', on: '2021-05-04', source: 'own-record', learned: '2021-05-04' },
              { event: 'complete-service', on: '2027-01-12', source: 'own-record' },
            ],
          },
        ],
      })
      .expect(201)
    expect(body.warnings).toEqual([
      { pointer: '/watches/0/events/1/on', detail: 'lies in the future: on file, set aside until that day' },
    ])
    const { body: due } = await house.as('counter').get(`/v1/watches/${body.watches[0].id}/obligations`).expect(200)
    expect(due.obligations[0]).toMatchObject({
      dueOn: expect.stringMatching(/^2025-11-04|2026-05-04$/),
      baseOn: '2021-05-04',
    })
    expect(due.warnings).toMatchObject([{ code: 'future-dated' }])
  })

  test('a row that refers to nothing is a fault with its pointer, and nothing of the request is written', async () => {
    const count = async () => (await house.database.pool.query('select count(*)::int as n from owner')).rows[0].n
    const before = await count()
    const answer = await house.as('manager').post('/v1/imports', {
      owners: [
        { ref: 'a', name: 'One' },
        { ref: 'a', name: 'Two' },
      ],
      watches: [{ ref: 'w', owner: 'nobody', calibre: 'none such', maker: 'Halden', kind: 'quartz' }],
    })
    expect(answer.status).toBe(400)
    expect(answer.body.errors.map((error: { pointer: string }) => error.pointer).sort()).toEqual([
      '#/owners/1/ref',
      '#/watches/0/calibre',
      '#/watches/0/owner',
    ])
    expect(await count()).toBe(before)
  })
})

describe('the stateless reckoning', () => {
  test('answers without a key, and tells every fault by pointer', async () => {
    const { body } = await house.as('counter').post('/v1/reckonings', {
      on: '2026-11-25',
      watch: { kind: 'self-winding', beatsPerHour: 28_800, firstSeen: '2020-01-01' },
      wear: { daily: 'yes', vibration: 'no', heat: 'no', cold: 'no' },
      history: [{ event: 'complete-service', on: '2022-03-15', source: 'own-record' }],
    })
    // common practice, no source: five years for a watch worn daily and unexposed
    expect(body.obligations[0]).toMatchObject({
      kind: 'complete-service',
      rule: 'usual',
      dueOn: '2027-03-15',
      comingUpFrom: '2027-01-14',
      overdueFrom: '2027-05-15',
      stopOn: '2028-03-15',
    })
    const faulty = await house.as('counter').post('/v1/reckonings', {
      watch: { kind: 'sundial', 'a/b': 1 },
      history: [{ event: 'sign', on: '2024', source: 'paper' }],
    })
    expect(faulty.body.errors.map((error: { pointer: string }) => error.pointer).sort()).toEqual([
      '#/history/0/sign',
      '#/on',
      '#/watch/a~1b',
      '#/watch/firstSeen',
      '#/watch/kind',
    ])
  })
})
