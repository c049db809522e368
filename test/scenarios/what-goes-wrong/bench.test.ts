import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { run as flagLots } from '../../../src/jobs/flag-lots.ts'
import { openShop, type Shop } from '../../features/tickets/shop.ts'

/** What goes wrong at the bench, and what the service does then (common practice, no source). */
let shop: Shop
beforeAll(async () => {
  shop = await openShop({ now: '2026-12-16T09:00:00Z' })
})
afterAll(() => shop.close())

const facts = async (watchId: string) =>
  (await shop.counter.get(`/v1/watches/${watchId}/history`).expect(200)).body.events as {
    event: string
    struck: unknown
  }[]

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
    expect(shut.body).toMatchObject({ gate: 'G11', why: expect.stringContaining('no dry pressure test') })
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
  expect(never.body).toMatchObject({ status: 409, type: '/problems/never-a-primary-cell' })
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
    {
      bar: 0.5,
      needed: ['overpressure-dry'],
      ownerConsents: true,
      person: (await shop.counter.get(`/v1/tickets/${ticket.number}`)).body.ownerName,
      how: 'phone',
    },
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
  const gone = await shop.readied({ dial: 'lilac' })
  await shop.pay(gone.number, 3600)
  await shop.moved(gone.number, 'handed-over', {
    release: shop.release(gone, gone.collector, gone.serialOn, { twinAnswer: 'compared' }),
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
  expect(first, 'watches in the house first, then those that went out').toBeGreaterThan(0)
  expect(list.slice(first).every((row) => !row.inHouse)).toBe(true)
})

test('a tester that fails its daily check opens no gate until it passes one', async () => {
  const tester = await shop.made(shop.manager, '/v1/tools', { kind: 'pressure-tester', serial: 'P-2', name: 'second' })
  await shop.made(shop.manager, `/v1/tools/${tester.id}/certificates`, {
    on: '2026-06-01',
    asFound: 'in-tolerance',
    asLeft: 'in-tolerance',
    byWhom: 'the laboratory',
  })
  const checked = async (value: string, passed: boolean) =>
    (await shop.made(shop.bench, `/v1/tools/${tester.id}/daily-checks`, { value, passed })).tool as Record<
      string,
      unknown
    >
  expect(await checked('2.00 bar held', true)).toMatchObject({ inDate: true, lastCheck: { passed: true } })
  const ticket = await shop.book({ dial: 'teal' })
  const estimate = await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  await shop.worked(ticket.number, estimate.lines)
  expect((await shop.waterTest(ticket.number, { tool: tester.id })).gate.state).toBe('open')
  expect(await checked('loses 0.2 bar a minute', false)).toMatchObject({
    inDate: false,
    lastCheck: { value: 'loses 0.2 bar a minute', passed: false, by: 'bench of the test' },
  })
  expect((await shop.gates(ticket.number)).G11!.state, 'what it found that day opens nothing').toBe('shut')
  expect(await shop.waterTest(ticket.number, { tool: tester.id })).toMatchObject({ toolInDate: false })
  expect(await checked('2.00 bar held, new seal', true)).toMatchObject({ inDate: true })
  expect((await shop.waterTest(ticket.number, { tool: tester.id })).gate.state).toBe('open')
  expect((await shop.bench.post(`/v1/tools/${tester.id}/daily-checks`, { value: 'well' })).status).toBe(400)
})

test('a certificate that ends within the lead is a task of the manager, once, and closed by the next', async () => {
  const tool = await shop.made(shop.manager, '/v1/tools', { kind: 'scales', serial: 'S-1', name: 'scales' })
  const certificate = (on: string) =>
    shop.made(shop.manager, `/v1/tools/${tool.id}/certificates`, {
      on,
      asFound: 'in-tolerance',
      asLeft: 'in-tolerance',
      byWhom: 'the laboratory',
    })
  await certificate('2026-01-10')
  const night = (today: string) => flagLots({ db: shop.house.database, today: today as never, currency: 'EUR' })
  const open = async (done = 'no') => {
    const { items } = (await shop.manager.get(`/v1/tasks?role=manager&kind=tool-due&done=${done}`).expect(200)).body
    return (items as { id: string; words: string; dueOn: string }[]).filter((task) => task.words.includes('S-1'))
  }
  await night('2026-12-10')
  expect(await open(), '31 days before').toEqual([])
  await night('2026-12-11')
  await night('2026-12-12')
  expect(await open()).toEqual([
    expect.objectContaining({ dueOn: '2027-01-10', words: expect.stringContaining('holds through 2027-01-10') }),
  ])
  const [task] = await open()
  await shop.manager.post(`/v1/tasks/${task!.id}/closing`, { how: 'the laboratory comes on the 5th' }).expect(200)
  await night('2026-12-13')
  expect(await open(), 'told once').toEqual([])
  await shop.manager
    .post('/v1/house-rules', {
      key: 'toolLeadDays',
      value: 60,
      fromDay: '2027-10-01',
      reason: 'the laboratory is slow',
    })
    .expect(201)
  const at = shop.house.service.clock.now().toISOString()
  shop.house.setNow('2027-01-08T09:00:00Z')
  await certificate('2027-01-07')
  await night('2027-11-07')
  expect(await open()).toEqual([])
  await night('2027-11-08')
  expect((await open())[0]!.dueOn).toBe('2028-01-07')
  shop.house.setNow('2027-11-20T09:00:00Z')
  await certificate('2027-11-19')
  expect(await open()).toEqual([])
  expect(await open('yes')).toHaveLength(2)
  shop.house.setNow(at)
})

/** A tester of the test's own, with a good certificate. */
async function aTester(serial: string): Promise<string> {
  const { id } = await shop.made(shop.manager, '/v1/tools', { kind: 'pressure-tester', serial, name: serial })
  const good = { on: '2026-06-01', asFound: 'in-tolerance', asLeft: 'in-tolerance', byWhom: 'the laboratory' }
  await shop.made(shop.manager, `/v1/tools/${id}/certificates`, good)
  return id
}

test('swapped parts: what was found at the opening is listed with pictures, and what was taken out goes back', async () => {
  const ticket = await shop.book({ dial: 'bronze' })
  const estimate = await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  const inventory = [
    { part: 'dial', words: 'signed below 6, a scratch at 2' },
    { part: 'movement', words: 'gilt', number: '4471' },
  ]
  const bare = await shop.say(ticket.number, 'openings', { reason: 'cell change', inventory }, shop.bench)
  expect([bare.status, bare.body.errors[0].pointer]).toEqual([400, '#/pictures'])
  const picture = await shop.picture(shop.bench)
  await shop.told(
    ticket.number,
    'openings',
    { reason: 'cell change', inventory, pictures: [{ id: picture, view: 'dial' }] },
    shop.bench,
  )
  const story = JSON.stringify((await shop.counter.get(`/v1/watches/${ticket.watchId}/story`).expect(200)).body)
  expect(story).toContain('movement: gilt, number 4471')
  expect((await shop.counter.get(`/v1/pictures/${picture}`).expect(200)).body).toMatchObject({ ticketId: ticket.id })

  const done = { line: estimate.lines[0]!.id, state: 'done' }
  const old = (more: object) => shop.say(ticket.number, 'operations', { ...done, ...more }, shop.bench)
  const stranger = await old({ oldParts: [{ bag: 'O1', words: 'crown', leftBy: 'a passer-by' }] })
  expect([stranger.body.type, stranger.body.errors[0].pointer]).toEqual([
    '/problems/not-entitled',
    '#/oldParts/0/leftBy',
  ])
  const twice = await old({
    oldParts: [
      { bag: 'O1', words: 'crown' },
      { bag: 'O1', words: 'tube' },
    ],
  })
  expect([twice.status, twice.body.errors[0].pointer]).toEqual([400, '#/oldParts/0/bag'])
  const parts = [
    { bag: 'O1', words: 'old crown' },
    { bag: 'O2', words: 'spent cell', leftBy: estimate.ownerName },
  ]
  expect((await old({ oldParts: parts })).status).toBe(201)
  await shop.told(ticket.number, 'closings', {}, shop.bench)
  await shop.told(ticket.number, 'operations', { line: estimate.lines[1]!.id, state: 'done' }, shop.bench)
  await shop.waterTest(ticket.number, { tool: await aTester('P-swapped') })
  await shop.moved(ticket.number, 'final-check', {}, shop.bench)
  await shop.check(ticket.number)
  await shop.moved(ticket.number, 'ready', {}, shop.checker)
  await shop.pay(ticket.number, 3600)
  const { serial } = (await shop.counter.get(`/v1/watches/${ticket.watchId}`).expect(200)).body
  const release = (looseReturned: string[]) => ({
    release: shop.release(ticket, estimate.ownerName, serial, { twinAnswer: 'compared', looseReturned }),
  })
  const kept = await shop.move(ticket.number, 'handed-over', release([]))
  expect(kept.body, 'returned by default').toMatchObject({ gate: 'G15', why: expect.stringContaining('O1') })
  expect(kept.body.why).not.toContain('O2')
  await shop.moved(ticket.number, 'handed-over', release(['O1']))
})

test('magnetised in the house: measured before and after, and what that cured is no sign of trouble', async () => {
  const ownerId = await shop.owner()
  const watchId = await shop.watch(ownerId, { kind: 'hand-wound', waterClaim: { marked: 'none' } })
  const ticket = await shop.book({ ownerId, watchId })
  await shop.moved(ticket.number, 'awaiting-look')
  await shop.moved(ticket.number, 'looked-over')
  await shop.told(ticket.number, 'looks', { findings: 'loses minutes', signs: ['loses-time'] }, shop.bench)
  const service = async () => {
    const { body } = await shop.counter.get(`/v1/watches/${watchId}`).expect(200)
    return body.obligations.find((one: { kind: string }) => one.kind === 'complete-service').rule as string
  }
  expect(await service()).toBe('trouble')
  const estimate = await shop.told(
    ticket.number,
    'estimates',
    { lines: [{ what: 'demagnetise', unitPrice: 0, taxClass: 'usual', choice: 'must' }] },
    shop.bench,
  )
  await shop.moved(ticket.number, 'awaiting-yes')
  const { ownerName } = (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body
  await shop.told(ticket.number, `estimates/${estimate.version}/answers`, {
    person: ownerName,
    how: 'in-person',
    total: { amount: 0, currency: 'EUR' },
    lines: [{ line: estimate.lines[0].id, answer: 'yes' }],
  })
  await shop.toBench(ticket.number)
  const done = { line: estimate.lines[0].id, state: 'done', cures: ['loses-time'] }
  const half = await shop.say(ticket.number, 'operations', { ...done, magnetismAfter: '0.2 mT' }, shop.bench)
  expect([half.status, half.body.errors[0].pointer]).toEqual([400, '#/magnetismBefore'])
  await shop.told(
    ticket.number,
    'operations',
    { ...done, magnetismBefore: '4 mT', magnetismAfter: '0.2 mT' },
    shop.bench,
  )
  expect(await service(), 'cured without a service').not.toBe('trouble')
  const story = JSON.stringify((await shop.counter.get(`/v1/watches/${watchId}/story`).expect(200)).body)
  expect(story).toContain('magnetism 4 mT before, 0.2 mT after; cured without a service: loses-time')
})

test('sent out with a strap of exotic leather: off into its bag, or with its papers', async () => {
  const condition = { marks: [], clasp: 'there', agreed: 'owner', strapKind: 'exotic-leather' }
  const ticket = await shop.book({ dial: 'plum', condition })
  const outside = { specialist: 'the dial maker over the border', slip: 'S 12', insurance: 'policy 7' }
  const send = (more: object) =>
    shop.say(ticket.number, 'side-states', {
      state: 'sent-out',
      until: '2027-02-01',
      reason: 'dial',
      outside: { ...outside, ...more },
    })
  const refused = await send({})
  expect(refused.body).toMatchObject({ type: '/problems/side-state-refused', why: expect.stringContaining('exotic') })
  expect((await send({ abroad: true })).status).toBe(409)
  expect((await send({ abroad: true, strapRemoved: true })).status).toBe(200)
  const other = await shop.book({ dial: 'wine', condition })
  const at = (more: object) =>
    shop.say(other.number, 'side-states', {
      state: 'sent-out',
      until: '2027-02-01',
      reason: 'dial',
      outside: { ...outside, ...more },
    })
  expect((await at({ abroad: true, speciesPapers: 'export permit 88' })).status).toBe(200)
  const third = await shop.book({ dial: 'fawn', condition })
  const near = { state: 'sent-out', until: '2027-02-01', reason: 'dial', outside: { ...outside, abroad: false } }
  expect((await shop.say(third.number, 'side-states', near)).status).toBe(200)
})

test('the watch of somebody of the house: a ticket like any other, at no price, through the same gates', async () => {
  const ownerId = await shop.owner('Bert of bench 2')
  const watchId = await shop.watch(ownerId)
  const ticket = await shop.book({ ownerId, watchId, dial: 'slate' })
  const lines = shop.usualLines.map((line) => ({ ...line, unitPrice: 0 }))
  const estimate = await shop.agreed(ticket.number, 'cell', lines)
  expect(estimate.total).toBe(0)
  await shop.toBench(ticket.number)
  await shop.worked(ticket.number, estimate.lines)
  expect(
    (await shop.move(ticket.number, 'final-check', {}, shop.bench)).body,
    'no way past the water gate',
  ).toMatchObject({
    gate: 'G11',
  })
  await shop.waterTest(ticket.number, { tool: await aTester('P-house') })
  await shop.moved(ticket.number, 'final-check', {}, shop.bench)
  await shop.check(ticket.number)
  await shop.moved(ticket.number, 'ready', {}, shop.checker)
  const { serial } = (await shop.counter.get(`/v1/watches/${watchId}`).expect(200)).body
  const release = shop.release(ticket, estimate.ownerName, serial, { twinAnswer: 'compared' })
  expect(await shop.moved(ticket.number, 'handed-over', { release })).toMatchObject({ ended: 'handed-over' })
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
    setting: 'radiationRules',
  })
  const wanted = async () => {
    const url = '/v1/tasks?role=manager&kind=local-setting-missing'
    const { items } = (await shop.manager.get(url).expect(200)).body as { items: { words: string }[] }
    return items.filter(({ words }) => words.includes('radiationRules'))
  }
  await shop.move(ticket.number, 'looked-over')
  expect(await wanted(), 'the missing setting is a task of the manager, once however often it stops work').toHaveLength(
    1,
  )
  expect(
    (
      await shop.manager.post(`/v1/tickets/${ticket.number}/overrides`, {
        gate: 'G5',
        part: 'local-rules',
        reason: 'hurry',
      })
    ).status,
  ).toBe(403)
  await shop.made(shop.manager, '/v1/local-settings', {
    key: 'radiationRules',
    value: 'licence 7 of the local authority',
    fromDay: '2026-12-16',
    reason: 'licence',
  })
  expect(await wanted(), 'made').toEqual([])
  await shop.moved(ticket.number, 'looked-over')
  await shop.told(ticket.number, 'hazards', { kind: 'water-inside' })
  const opened = await shop.say(ticket.number, 'openings', { reason: 'dry it' }, shop.bench)
  expect(opened.body, 'a hazard seen later asks again at the opening').toMatchObject({
    type: '/problems/gate-shut',
    gate: 'G5',
  })
})
