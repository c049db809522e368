import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { eur, openShop, type Shop } from '../features/tickets/shop.ts'

/** What goes wrong in a house, and what the service does then (common practice, no source). */
let shop: Shop
beforeAll(async () => {
  shop = await openShop()
})
afterAll(() => shop.close())

const facts = async (watchId: string) =>
  (await shop.counter.get(`/v1/watches/${watchId}/history`).expect(200)).body.events as {
    event: string
    struck: unknown
  }[]

describe('wrong watch to wrong owner', () => {
  test('a look-alike in the house is named at booking-in and has to be answered at the hand-over', async () => {
    const first = await shop.readied({ dial: 'green' })
    const second = await shop.book({ dial: 'green' })
    expect(second.twins).toContainEqual(expect.objectContaining({ number: first.number }))
    await shop.pay(first.number, 3600)
    const handOver = (more: object) =>
      shop.move(first.number, 'handed-over', {
        release: shop.release(first, first.collector, first.serialOn, more as never),
      })

    const silent = await handOver({})
    expect(silent.body).toMatchObject({ gate: 'G15', why: expect.stringContaining('same look') })
    const override = await shop.manager.post(`/v1/tickets/${first.number}/overrides`, {
      gate: 'G15',
      part: 'twin',
      reason: 'they differ',
    })
    expect(override.body).toMatchObject({ type: '/problems/override-refused', status: 403 })
    const wrongTag = await handOver({ tagNumber: second.number, twinAnswer: 'compared with the other one' })
    expect(wrongTag.body).toMatchObject({ gate: 'G15', why: expect.stringContaining('tag') })
    const wrongSerial = await handOver({ serialRead: 'ZZ 1', twinAnswer: 'compared with the other one' })
    expect(wrongSerial.body).toMatchObject({ gate: 'G15', why: expect.stringContaining('match') })
    const stranger = await handOver({ collector: 'A Stranger', twinAnswer: 'compared with the other one' })
    expect(stranger.body).toMatchObject({ gate: 'G15', why: expect.stringContaining('list') })
    const right = await handOver({ twinAnswer: `serial and pictures compared with ${second.number}` })
    expect(right.status, JSON.stringify(right.body)).toBe(200)
  })
})

describe('opened, not tested after', () => {
  test('a ready watch that is opened goes back to the bench by itself, and its passed test is withdrawn from the reckoning', async () => {
    const ticket = await shop.readied()
    expect(
      (await facts(ticket.watchId)).filter((fact) => fact.event === 'water-test' && fact.struck === null),
    ).toHaveLength(1)
    const opened = await shop.told(ticket.number, 'openings', { reason: 'a speck of dust' }, shop.bench)
    expect(opened).toMatchObject({ step: 'on-the-bench', water: { state: 'shut', why: 'the case is open' } })
    expect(
      (await facts(ticket.watchId)).filter((fact) => fact.event === 'water-test' && fact.struck === null),
    ).toHaveLength(0)

    await shop.told(ticket.number, 'closings', {}, shop.bench)
    const shut = await shop.move(ticket.number, 'ready', {}, shop.bench)
    expect(shut.body).toMatchObject({ gate: 'G11', why: expect.stringContaining('no overpressure-dry test') })
    const override = await shop.manager.post(`/v1/tickets/${ticket.number}/overrides`, {
      gate: 'G11',
      part: 'overpressure-dry',
      reason: 'it was fine before',
    })
    expect(override.status).toBe(403)
    await shop.waterTest(ticket.number)
    await shop.moved(ticket.number, 'final-check', {}, shop.bench)
    expect((await shop.move(ticket.number, 'ready', {}, shop.bench)).body).toMatchObject({ gate: 'G13' })
    await shop.check(ticket.number)
    await shop.moved(ticket.number, 'ready', {}, shop.checker)
  })

  test('the same from the look on: a case opened for a look and closed again wants its test on the way back undone', async () => {
    const ticket = await shop.book()
    await shop.moved(ticket.number, 'looked-over')
    await shop.told(ticket.number, 'openings', { reason: 'just a look' }, shop.bench)
    await shop.moved(ticket.number, 'return-undone', { reason: 'too dear' })
    expect((await shop.say(ticket.number, 'openings', { reason: 'again' }, shop.bench)).body).toMatchObject({
      type: '/problems/record-not-taken',
    })
    await shop.told(ticket.number, 'closings', {}, shop.bench)
    await shop.check(ticket.number)
    expect((await shop.move(ticket.number, 'ready')).body).toMatchObject({ gate: 'G11' })
    await shop.waterTest(ticket.number)
    await shop.check(ticket.number)
    expect((await shop.moved(ticket.number, 'ready')).undone).toBe(true)
  })
})

describe('estimate exceeded without a yes', () => {
  test('a line above the agreed total stops the job and makes a new version; only agreed lines are worked on', async () => {
    const ticket = await shop.book()
    const first = await shop.agreed(ticket.number)
    await shop.toBench(ticket.number)
    const lines = [...shop.usualLines, { what: 'stem', unitPrice: 1800, taxClass: 'usual', choice: 'must' }]
    const second = await shop.told(ticket.number, 'estimates', { lines }, shop.bench)
    expect(second).toMatchObject({ version: 2, total: 5760, insideCeiling: false })
    expect((await shop.counter.get(`/v1/tickets/${ticket.number}`)).body).toMatchObject({ step: 'priced' })
    expect((await shop.move(ticket.number, 'on-the-bench')).body).toMatchObject({ gate: 'G7' })
    const stale = await shop.counter.post(`/v1/tickets/${ticket.number}/estimates/1/answers`, {
      person: first.ownerName,
      how: 'in-person',
      total: eur(3600),
      lines: first.lines.map((line) => ({ line: line.id, answer: 'yes' })),
    })
    expect(stale.body).toMatchObject({ type: '/problems/version-not-newest', newest: 2 })
    await shop.moved(ticket.number, 'awaiting-yes')
    const answer = (stem: string, total: number) =>
      shop.counter.post(`/v1/tickets/${ticket.number}/estimates/2/answers`, {
        person: first.ownerName,
        how: 'in-person',
        total: eur(total),
        lines: second.lines.map((line: { id: string; what: string }) => ({
          line: line.id,
          answer: line.what === 'stem' ? stem : 'yes',
        })),
      })
    expect((await answer('no', 5760)).body.errors[0]).toMatchObject({
      pointer: '#/total',
      detail: expect.stringContaining('36.00 EUR'),
    })
    await answer('no', 3600).then((reply) => expect(reply.status).toBe(201))
    await shop.moved(ticket.number, 'on-the-bench')
    const stem = second.lines.find((line: { what: string }) => line.what === 'stem')
    expect(
      (await shop.say(ticket.number, 'operations', { line: stem.id, state: 'done' }, shop.bench)).body,
    ).toMatchObject({ type: '/problems/above-agreed' })
  })

  test('within the amount agreed in advance the work goes on', async () => {
    const ticket = await shop.book({ ceiling: eur(45_000) })
    await shop.moved(ticket.number, 'looked-over')
    await shop.told(ticket.number, 'looks', { findings: 'dry', workClass: 'cell' }, shop.bench)
    const price = (more: object[]) => [
      { what: 'labour', unitPrice: 28_000, taxClass: 'usual', choice: 'must', opensCase: true },
      {
        what: 'gaskets',
        quantity: 3,
        unitPrice: 450,
        taxClass: 'usual',
        choice: 'must',
        requiredBy: 0,
        pressureTest: true,
      },
      { what: 'crystal', part: true, unitPrice: 6200, taxClass: 'usual', choice: 'must' },
      ...more,
    ]
    expect(await shop.told(ticket.number, 'estimates', { lines: price([]) }, shop.bench)).toMatchObject({
      net: 35_550,
      tax: 7110,
      total: 42_660,
    })
    await shop.told(ticket.number, 'kits', shop.kit, shop.bench)
    await shop.moved(ticket.number, 'on-the-bench')
    const stem = { what: 'stem', unitPrice: 1800, taxClass: 'usual', choice: 'must' }
    expect(await shop.told(ticket.number, 'estimates', { lines: price([stem]) }, shop.bench)).toMatchObject({
      total: 44_820,
      insideCeiling: true,
    })
    expect((await shop.counter.get(`/v1/tickets/${ticket.number}`)).body.step).toBe('on-the-bench')
    const above = await shop.told(
      ticket.number,
      'estimates',
      { lines: price([stem, { ...stem, what: 'crown' }]) },
      shop.bench,
    )
    expect(above).toMatchObject({ total: 46_980, insideCeiling: false })
    expect((await shop.counter.get(`/v1/tickets/${ticket.number}`)).body.step).toBe('priced')
  })
})

test('cell from a loose drawer: no lot, no fitting without saying why; never an ordinary cell in a rechargeable', async () => {
  const owner = await shop.owner()
  const watchId = await shop.watch(owner, { kind: 'rechargeable-quartz' })
  const ticket = await shop.book({ ownerId: owner, watchId })
  await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  await shop.told(ticket.number, 'openings', { reason: 'cell' }, shop.bench)
  const bare = await shop.say(ticket.number, 'cell-fittings', { designation: 'SR621SW' }, shop.bench)
  expect(bare.body.errors).toContainEqual({ pointer: '#/lot', detail: expect.any(String) })
  const never = await shop.say(
    ticket.number,
    'cell-fittings',
    { designation: 'SR621SW', lotUnknownBecause: 'drawer' },
    shop.bench,
  )
  expect(never.body).toMatchObject({ status: 409, detail: expect.stringContaining('Never fit an ordinary cell') })
})

test('comeback within the guarantee: linked, decided by line, the days in the house added', async () => {
  const first = await shop.readied()
  await shop.pay(first.number, 3600)
  await shop.moved(first.number, 'handed-over', {
    release: shop.release(first, first.collector, first.serialOn, { twinAnswer: 'compared' }),
  })
  const strange = await shop.say(first.number, 'conditions', { marks: [], clasp: 'there' })
  expect(strange.body).toMatchObject({ type: '/problems/ticket-ended' })

  shop.house.setNow('2026-11-26T09:00:00Z')
  const again = await shop.book({
    ownerId: first.ownerId,
    watchId: first.watchId,
    comebackOf: first.number,
    complaint: 'it stopped again',
  })
  await shop.moved(again.number, 'looked-over')
  expect((await shop.move(again.number, 'priced')).body).toMatchObject({ gate: 'G16' })
  const line = first.estimate.lines[0]!.id
  const undecided = await shop.say(
    again.number,
    'comeback-decisions',
    { lines: [{ line: first.id, covered: true, voided: 'no', because: 'x' }], cause: 'part' },
    shop.bench,
  )
  expect(undecided.body.errors[0].pointer).toBe('#/lines/0/line')
  await shop.told(
    again.number,
    'comeback-decisions',
    { lines: [{ line, covered: true, voided: 'no', because: 'runs until next November' }], cause: 'lot' },
    shop.bench,
  )
  const { ownerName } = (await shop.counter.get(`/v1/tickets/${again.number}`)).body
  await shop.told(again.number, 'looks', { findings: 'cell weak', workClass: 'cell' }, shop.bench)
  const free = shop.usualLines.map((one) => ({ ...one, unitPrice: 0 }))
  const estimate = await shop.told(again.number, 'estimates', { lines: free }, shop.bench)
  await shop.moved(again.number, 'awaiting-yes')
  await shop.told(again.number, 'estimates/1/answers', {
    person: ownerName,
    how: 'in-person',
    total: eur(0),
    lines: estimate.lines.map((one: { id: string }) => ({ line: one.id, answer: 'yes' })),
  })
  await shop.toBench(again.number)
  await shop.worked(again.number, estimate.lines)
  await shop.waterTest(again.number)
  await shop.moved(again.number, 'final-check', {}, shop.bench)
  await shop.check(again.number)
  await shop.moved(again.number, 'ready')
  shop.house.setNow('2026-12-16T09:00:00Z')
  await shop.moved(again.number, 'handed-over', {
    release: shop.release(again, ownerName, first.serialOn, { twinAnswer: 'compared' }),
  })
  const { rows } = await shop.house.database.pool.query(
    'select days from guarantee_days d join guarantee g on g.id = d.guarantee_id where g.line_id = $1',
    [line],
  )
  expect(rows).toEqual([{ days: 20 }])
  const report = await shop.manager.get('/v1/reports/comebacks?from=2026-11-01&to=2026-12-31').expect(200)
  expect(report.body.items).toContainEqual({ cause: 'lot', tickets: 1, covered: 1 })
  shop.house.setNow('2026-12-16T10:00:00Z')
})

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
    await shop.made(shop.manager, '/v1/centre-settings', {
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

test('owner unreachable: the gate says so, a failed attempt is logged, and "will call in" opens it', async () => {
  const owner = (await shop.made(shop.counter, '/v1/owners', { name: 'Ivo Nowhere', contacts: [] })).id
  const ticket = await shop.book({ ownerId: owner })
  expect((await shop.move(ticket.number, 'awaiting-look')).body).toMatchObject({
    gate: 'G1',
    why: expect.stringContaining('reached'),
  })
  await shop.told(ticket.number, 'contacts', {
    about: 'test',
    means: 'phone',
    result: 'failed',
    words: 'no such number',
  })
  await shop.told(ticket.number, 'people', { approve: [], collect: [], willCallIn: true })
  await shop.moved(ticket.number, 'awaiting-look')
})

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
  expect((await shop.move(ticket.number, 'ready-for-bench')).body).toMatchObject({
    gate: 'G8',
    why: expect.stringContaining('crystal'),
  })
  const stuck = async () =>
    (await shop.manager.get('/v1/reports/stuck-tickets?limit=100').expect(200)).body.items.map(
      (row: { number: string }) => row.number,
    )
  expect(await stuck()).not.toContain(ticket.number)
  shop.house.setNow('2026-12-25T09:00:00Z')
  expect(await stuck()).toContain(ticket.number)
  const csv = await shop.manager.get('/v1/reports/stuck-tickets').set('accept', 'text/csv').expect(200)
  expect(csv.headers['content-type']).toMatch(/^text\/csv/)
  expect(csv.text.split('\n')[0]).toMatch(/^number,step/)
  shop.house.setNow('2026-12-16T13:00:00Z')
})

describe('loss and theft', () => {
  test('a watch that the evening count does not find is an incident and freezes its ticket', async () => {
    const lost = await shop.book({ place: 'drawer 9', dial: 'white' })
    const there = await shop.book({ place: 'drawer 9', dial: 'grey' })
    const astray = await shop.book({ place: 'drawer 10', dial: 'black' })
    const count = await shop.made(shop.manager, '/v1/evening-counts', {
      places: [{ place: 'drawer 9', numbers: [there.number, astray.number] }],
    })
    expect(count).toMatchObject({
      missing: [{ number: lost.number, place: 'drawer 9' }],
      elsewhere: [{ number: astray.number, place: 'drawer 10', foundAt: 'drawer 9' }],
      unknown: [],
    })
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

test('"that scratch is new": no condition agreed, no way into the safe; a manager may stand for it only below the house line', async () => {
  const cheap = await shop.book({ condition: { marks: [], clasp: 'there', agreed: null }, declaredValue: eur(100_000) })
  const dear = await shop.book({ condition: { marks: [], clasp: 'there', agreed: null }, declaredValue: eur(100_001) })
  const unknown = await shop.book({ condition: { marks: [], clasp: 'there', agreed: null }, declaredValue: null })
  const override = (ticket: { number: string }) =>
    shop.manager.post(`/v1/tickets/${ticket.number}/overrides`, {
      gate: 'G2',
      part: 'agreed',
      reason: 'the owner had a train',
    })
  expect((await shop.move(cheap.number, 'awaiting-look')).body).toMatchObject({ gate: 'G2' })
  expect((await override(cheap)).status).toBe(201)
  expect((await override(dear)).status).toBe(403)
  expect((await override(unknown)).status).toBe(403)
  await shop.moved(cheap.number, 'awaiting-look')
  await shop.told(cheap.number, 'conditions', { marks: [], clasp: 'there', agreed: null })
  expect((await shop.gates(cheap.number)).G2!.state, 'a later fact ends the override').toBe('shut')
})

test('water test kills the watch: wet only after dry, never above the claim, gently and with consent where acrylic', async () => {
  const owner = await shop.owner()
  const watchId = await shop.watch(owner, { crystal: 'acrylic' })
  const ticket = await shop.book({ ownerId: owner, watchId })
  await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  const attempt = (more: object) => shop.say(ticket.number, 'water-tests', { ...shop.aTest, ...more }, shop.bench)
  expect(
    (await attempt({ test: 'overpressure-wet', seconds: 600 })).body.errors.map((e: { pointer: string }) => e.pointer),
  ).toContain('#/test')
  expect((await attempt({ bar: 0.5 })).body.errors[0]).toMatchObject({
    pointer: '#/bar',
    detail: expect.stringContaining('consent'),
  })
  await shop.told(
    ticket.number,
    'water-agreements',
    { bar: 0.5, needed: ['overpressure-dry'], ownerConsents: true },
    shop.bench,
  )
  expect((await attempt({ bar: 0.6 })).body.errors[0].pointer).toBe('#/bar')
  expect((await attempt({ bar: 0.5 })).body).toMatchObject({ passed: true })
})

test('an out-of-date tester opens no gate; one found out of tolerance shuts gates and lists every doubtful result', async () => {
  const old = await shop.made(shop.manager, '/v1/tools', {
    kind: 'pressure-tester',
    serial: 'P-old',
    name: 'old tester',
  })
  await shop.made(shop.manager, `/v1/tools/${old.id}/certificates`, {
    on: '2025-11-30',
    asFound: 'in-tolerance',
    asLeft: 'in-tolerance',
    byWhom: 'the laboratory',
  })
  const ticket = await shop.book({ dial: 'ochre' })
  const estimate = await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  await shop.worked(ticket.number, estimate.lines)
  expect(await shop.waterTest(ticket.number, { tool: old.id })).toMatchObject({
    passed: true,
    toolInDate: false,
    gate: { state: 'shut', why: expect.stringContaining('out of calibration') },
  })
  const events = await facts(ticket.watchId)
  expect(
    events.filter((fact) => fact.event === 'water-test'),
    'nor does it settle anything',
  ).toHaveLength(0)
  expect((await shop.waterTest(ticket.number)).gate.state).toBe('open')

  const certificate = await shop.made(shop.manager, `/v1/tools/${shop.tools.pressure}/certificates`, {
    on: '2026-12-16',
    asFound: 'out-of-tolerance',
    asLeft: 'in-tolerance',
    byWhom: 'the laboratory',
  })
  expect(certificate.doubtfulResults).toContainEqual(expect.objectContaining({ number: ticket.number, inHouse: true }))
  expect((await shop.gates(ticket.number)).G11).toMatchObject({
    state: 'shut',
    why: expect.stringContaining('out of tolerance'),
  })
  const list = (await shop.manager.get(`/v1/tools/${shop.tools.pressure}/doubtful-results`).expect(200)).body.items as {
    inHouse: boolean
  }[]
  const first = list.findIndex((row) => !row.inHouse)
  expect(
    list.slice(first).every((row) => !row.inHouse),
    'watches in the house first',
  ).toBe(true)
  shop.house.setNow('2026-12-17T09:00:00Z')
})

test('double booking-in: a watch in the house is not booked in twice, and likely doubles are offered', async () => {
  const ticket = await shop.book({ dial: 'rose' })
  const twice = await shop.counter.post(
    '/v1/tickets',
    await shop.booking({ ownerId: ticket.ownerId, watchId: ticket.watchId }),
  )
  expect(twice.body).toMatchObject({ type: '/problems/watch-in-house', number: ticket.number })
  const base = await shop.booking({ ownerId: ticket.ownerId, watchId: ticket.watchId })
  const { serial, maker } = (await shop.counter.get(`/v1/watches/${ticket.watchId}`)).body
  const offered = await shop.counter.post('/v1/tickets', {
    ...base,
    watch: { new: { maker, serial: serial.replaceAll(' ', '-'), kind: 'quartz' } },
  })
  expect(offered.body).toMatchObject({ type: '/problems/likely-double', part: 'watch', candidates: [ticket.watchId] })
  const owner = (await shop.counter.get(`/v1/owners/${ticket.ownerId}`)).body
  const person = { name: 'Somebody Else', contacts: [{ means: 'e-mail', value: owner.contacts[0].value }] }
  const who = await shop.counter.post('/v1/tickets', {
    ...base,
    owner: { new: person },
    watch: { new: { maker: 'Quill', kind: 'quartz' } },
  })
  expect(who.body).toMatchObject({ type: '/problems/likely-double', part: 'owner', candidates: [ticket.ownerId] })
  const made = await shop.made(shop.counter, '/v1/tickets', {
    ...base,
    owner: { new: person, confirmedNew: true },
    watch: { new: { maker: 'Quill', kind: 'quartz' } },
  })
  expect(made.alsoDue).toContainEqual(
    expect.objectContaining({ kind: 'cell-change', rule: 'unknown-base', standing: 'to-be-assessed' }),
  )
})

test('wrong person approves: an answer from somebody not on the list is refused and writes nothing', async () => {
  const ticket = await shop.book({ mayCollect: ['Sam Vale'] })
  await shop.moved(ticket.number, 'looked-over')
  await shop.told(ticket.number, 'looks', { findings: 'cell', workClass: 'cell' }, shop.bench)
  const estimate = await shop.told(ticket.number, 'estimates', { lines: shop.usualLines }, shop.bench)
  await shop.moved(ticket.number, 'awaiting-yes')
  const body = {
    person: 'Sam Vale',
    how: 'phone',
    total: eur(3600),
    lines: estimate.lines.map((line: { id: string }) => ({ line: line.id, answer: 'yes' })),
  }
  const refused = await shop.say(ticket.number, 'estimates/1/answers', body)
  expect(refused.body).toMatchObject({ type: '/problems/not-entitled', status: 403, errors: [{ pointer: '#/person' }] })
  const { rows } = await shop.house.database.pool.query(
    'select count(*)::int as n from estimate_answer where ticket_id = $1',
    [ticket.id],
  )
  expect(rows[0].n).toBe(0)
  await shop.told(ticket.number, 'people', { approve: ['Sam Vale'], collect: [] })
  await shop.told(ticket.number, 'estimates/1/answers', body)
})

test('the quiet ticket: every open ticket has a next actor and a date', async () => {
  const { rows } = await shop.house.database.pool.query(
    'select count(*)::int as n, count(*) filter (where next_actor is null or next_by is null)::int as quiet from ticket where ended is null',
  )
  expect(rows[0].n).toBeGreaterThan(10)
  expect(rows[0].quiet).toBe(0)
})

test('deceased owner, watch in the house: released only on papers, by the manager', async () => {
  const ticket = await shop.readied({ dial: 'ivory', mayCollect: ['Heir One'] })
  await shop.pay(ticket.number, 3600)
  await shop.manager.post(`/v1/owners/${ticket.ownerId}/deceased`, { toldBy: 'the daughter' })
  const handOver = (caller: typeof shop.counter, more: object = {}) =>
    shop.move(
      ticket.number,
      'handed-over',
      { release: shop.release(ticket, 'Heir One', ticket.serialOn, more as never) },
      caller,
    )
  expect((await handOver(shop.counter)).body).toMatchObject({ gate: 'G15', why: expect.stringContaining('papers') })
  expect((await handOver(shop.counter, { papersShown: 'certificate of inheritance' })).status).toBe(409)
  expect(
    (
      await shop.manager.post(`/v1/tickets/${ticket.number}/overrides`, {
        gate: 'G15',
        part: 'papers',
        reason: 'known to us',
      })
    ).status,
  ).toBe(403)
  expect((await handOver(shop.manager, { papersShown: 'certificate of inheritance 12/26' })).status).toBe(200)
})

test('change of mind: a yes taken back on the bench leaves only what was done to pay', async () => {
  const ticket = await shop.book({ dial: 'teal' })
  const estimate = await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  await shop.told(ticket.number, 'operations', { line: estimate.lines[1]!.id, state: 'done' }, shop.bench)
  await shop.told(ticket.number, 'revocations', { person: estimate.ownerName, how: 'phone' })
  expect((await shop.gates(ticket.number)).G7!.state).toBe('shut')
  expect(
    (await shop.say(ticket.number, 'operations', { line: estimate.lines[0]!.id, state: 'done' }, shop.bench)).body.type,
  ).toBe('/problems/above-agreed')
  expect((await shop.counter.get(`/v1/tickets/${ticket.number}`)).body.bill).toEqual(eur(1200))
})

test('hazard: radium lume stops at the door of the bench until the local rules are set and the note is confirmed at the right bench', async () => {
  const owner = await shop.owner()
  const watchId = await shop.watch(owner, {
    kind: 'hand-wound',
    luminous: 'radium',
    made: '1955',
    waterClaim: { marked: 'none' },
  })
  const ticket = await shop.book({ ownerId: owner, watchId })
  await shop.moved(ticket.number, 'awaiting-look')
  expect((await shop.move(ticket.number, 'looked-over')).body).toMatchObject({ gate: 'G5' })
  await shop.told(
    ticket.number,
    'hazard-confirmations',
    { bench: shop.benchId, note: 'closed glove box, no scraping' },
    shop.bench,
  )
  expect((await shop.move(ticket.number, 'looked-over')).body).toMatchObject({
    gate: 'G5',
    why: expect.stringContaining('local radiation rules'),
  })
  expect(
    (
      await shop.manager.post(`/v1/tickets/${ticket.number}/overrides`, {
        gate: 'G5',
        part: 'local-rules',
        reason: 'hurry',
      })
    ).status,
  ).toBe(403)
  await shop.made(shop.manager, '/v1/centre-settings', {
    key: 'radiationRules',
    value: 'licence 7 of the local authority',
    fromDay: '2026-12-17',
    reason: 'licence',
  })
  await shop.moved(ticket.number, 'looked-over')
  await shop.told(ticket.number, 'hazards', { kind: 'water-inside' })
  const opened = await shop.say(ticket.number, 'openings', { reason: 'dry it' }, shop.bench)
  expect(opened.body, 'a hazard seen later asks again at the opening').toMatchObject({
    type: '/problems/gate-shut',
    gate: 'G5',
  })
})

test('strap mixed up: what came with the watch has to go with it', async () => {
  const ticket = await shop.readied({ dial: 'plum', looseItems: [{ bag: 'A-17', words: 'brown strap, lizard' }] })
  await shop.pay(ticket.number, 3600)
  const handOver = (looseReturned: string[]) =>
    shop.move(ticket.number, 'handed-over', {
      release: shop.release(ticket, ticket.collector, ticket.serialOn, { looseReturned }),
    })
  expect((await handOver([])).body).toMatchObject({ gate: 'G15', why: expect.stringContaining('A-17') })
  expect((await handOver(['A-17'])).status).toBe(200)
})

test('lost slip: a manager accepts identity and description by name, for this collector only', async () => {
  const ticket = await shop.readied({ dial: 'sand' })
  await shop.pay(ticket.number, 3600)
  await shop.told(
    ticket.number,
    'releases',
    shop.release(ticket, ticket.collector, ticket.serialOn, { slip: 'lost', identityProof: 'passport seen' }),
  )
  expect((await shop.move(ticket.number, 'handed-over')).body).toMatchObject({
    gate: 'G15',
    mayOverride: ['entitlement: manager'],
  })
  await shop.made(shop.manager, `/v1/tickets/${ticket.number}/overrides`, {
    gate: 'G15',
    part: 'entitlement',
    reason: 'passport and description fit',
  })
  expect((await shop.move(ticket.number, 'handed-over')).status).toBe(200)
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
