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
    await shop.told(ticket.number, 'looks', { findings: 'the hands touched', workClass: 'case' }, shop.bench)
    await shop.moved(ticket.number, 'final-check', {}, shop.bench)
    await shop.check(ticket.number)
    const { ownerName } = (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body
    await shop.moved(ticket.number, 'ready')
    expect((await handOver(ticket, ownerName)).body).toMatchObject({ type: '/problems/gate-shut', gate: 'G7' })
  })
})

/** At the bench, worked on and closed, its test still to come. */
async function closedAtTheBench() {
  const ticket = await shop.book()
  const estimate = await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  await shop.worked(ticket.number, estimate.lines)
  return { ...ticket, estimate }
}
const recordsOf = async (ref: string) => {
  const { rows } = await shop.house.database.pool.query<{ id: string; kind: string }>(
    'select r.id, r.kind from ticket_record r join ticket t on t.id = r.ticket_id where t.number = $1 order by r.seq',
    [ref],
  )
  return rows
}

describe('the water gate by its side doors', () => {
  test('an opening, a failed test and what was seen of the seals are struck by the manager alone', async () => {
    const ticket = await closedAtTheBench()
    await shop.waterTest(ticket.number)
    const failed = await shop.waterTest(ticket.number, { seen: 'failed' })
    await shop.told(ticket.number, 'openings', { reason: 'mend it' }, shop.bench)
    await shop.told(ticket.number, 'seals-seen', { seals: [{ position: 'crown', condition: 'hard' }] }, shop.bench)
    const opening = (await recordsOf(ticket.number)).findLast((record) => record.kind === 'opening')!
    const seals = (await recordsOf(ticket.number)).findLast((record) => record.kind === 'seals-seen')!
    for (const record of [opening.id, failed.id, seals.id]) {
      for (const caller of [shop.counter, shop.bench]) {
        const answer = await shop.say(ticket.number, 'strikes', { record, reason: 'typed by mistake' }, caller)
        expect(answer.body).toMatchObject({ type: '/problems/role-refused', roles: ['manager'] })
      }
    }
    expect((await shop.gates(ticket.number)).G11!.state).toBe('shut')
    await shop.told(ticket.number, 'strikes', { record: failed.id, reason: 'of another watch' }, shop.manager)
  })
  test('the counter strikes nothing that the bench recorded', async () => {
    const ticket = await closedAtTheBench()
    const done = (await recordsOf(ticket.number)).findLast((record) => record.kind === 'operation')!
    const strike = { record: done.id, reason: 'not wanted' }
    expect((await shop.say(ticket.number, 'strikes', strike, shop.counter)).status).toBe(403)
    await shop.told(ticket.number, 'strikes', strike, shop.bench)
  })
  test('a claim is not made less of while the watch stands opened and untested, but by the manager, who says why', async () => {
    const ticket = await closedAtTheBench()
    const edit = async (caller: Shop['bench'], marked: object, more = {}) => {
      const { headers } = await caller.get(`/v1/watches/${ticket.watchId}`).expect(200)
      return caller.patch(`/v1/watches/${ticket.watchId}`, { waterClaim: marked, ...more }, headers.etag!)
    }
    for (const caller of [shop.counter, shop.bench])
      for (const marked of [{ marked: 'none' }, { marked: 'plain' }, { marked: 'rated', bar: 0.1 }])
        expect((await edit(caller, marked, { reason: 'worn off' })).body).toMatchObject({
          type: '/problems/claim-under-test',
          number: ticket.number,
        })
    expect((await edit(shop.manager, { marked: 'none' })).status, 'nor by the manager without a word').toBe(409)
    expect((await shop.gates(ticket.number)).G11!.state).toBe('shut')
    expect((await edit(shop.bench, { marked: 'rated', bar: 10 })).status, 'more is no side door').toBe(200)
    expect((await edit(shop.manager, { marked: 'none' }, { reason: 'the back says so' })).status).toBe(200)
    expect((await shop.gates(ticket.number)).G11!.state).toBe('not-asked')
  })
  test('a test that asks less than the claim is agreed by somebody entitled, and one that asks as much says why', async () => {
    const ticket = await closedAtTheBench()
    const agree = (body: object) =>
      shop.say(ticket.number, 'water-agreements', { bar: 5, needed: ['overpressure-dry'], ...body }, shop.bench)
    const why = { reason: 'the tester is small' }
    for (const less of [
      { bar: 0.01, ...why },
      { needed: ['condensation'], ...why },
      { bar: null, ...why },
    ])
      expect((await agree(less)).body.errors[0]).toMatchObject({ pointer: '#/person' })
    expect((await agree({})).body.errors[0]).toMatchObject({ pointer: '#/reason' })
    expect((await agree({ bar: 0.01, person: 'A Stranger', how: 'phone' })).body.type).toBe('/problems/not-entitled')
    const owner = ticket.estimate.ownerName
    expect((await agree({ bar: 0.01, person: owner })).body.errors[0]).toMatchObject({ pointer: '#/how' })
    expect((await agree({ needed: ['overpressure-dry', 'condensation'], ...why })).status).toBe(201)
    const dropped = await agree(why)
    expect(dropped.body.errors[0], 'nor is what was agreed once dropped again').toMatchObject({ pointer: '#/person' })
    expect((await agree({ bar: 0.5, person: owner, how: 'phone' })).status).toBe(201)
  })
})

describe('what happened is not dated before what it followed', () => {
  const minutesAgo = (n: number) => new Date(Date.parse('2026-11-25T15:00:00Z') - n * 60_000).toISOString()
  test('openings, closings, tests and answers', async () => {
    shop.house.setNow(minutesAgo(200))
    const ticket = await shop.book()
    const at = (path: string, body: object, minutes: number, caller = shop.bench) =>
      shop.say(ticket.number, path, { ...body, at: minutesAgo(minutes) }, caller)
    const refused = async (answer: ReturnType<typeof at>, before: string) =>
      expect((await answer).body.errors).toEqual([{ pointer: '#/at', detail: expect.stringContaining(before) }])
    shop.house.setNow(minutesAgo(190))
    await shop.moved(ticket.number, 'looked-over')
    await refused(at('looks', { findings: 'x', workClass: 'cell' }, 201), 'the ticket was booked in')
    expect((await at('looks', { findings: 'x', workClass: 'cell' }, 195)).status).toBe(201)
    const estimate = await shop.told(ticket.number, 'estimates', { lines: shop.usualLines }, shop.bench)
    shop.house.setNow(minutesAgo(180))
    await shop.moved(ticket.number, 'awaiting-yes')
    const { ownerName } = (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body
    const yes = {
      person: ownerName,
      how: 'in-person',
      total: { amount: estimate.total, currency: 'EUR' },
      lines: estimate.lines.map((line: { id: string }) => ({ line: line.id, answer: 'yes' })),
    }
    await refused(at('estimates/1/answers', yes, 191, shop.counter), 'version 1 was made')
    expect((await at('estimates/1/answers', yes, 185, shop.counter)).status).toBe(201)
    await shop.toBench(ticket.number)
    shop.house.setNow(minutesAgo(100))
    expect((await at('openings', { reason: 'cell' }, 110)).status).toBe(201)
    await refused(at('closings', {}, 111), 'the last opening')
    expect((await at('closings', {}, 105)).status).toBe(201)
    await refused(at('water-tests', shop.aTest, 106), 'the last opening')
    expect((await at('water-tests', shop.aTest, 104)).status).toBe(201)
    await refused(
      at('openings', { reason: 'back-dated, so that the test would still count' }, 104.5),
      'the last opening',
    )
    expect((await shop.gates(ticket.number)).G11!.state).toBe('open')
    shop.house.setNow('2026-11-25T15:00:00Z')
  })
  test('a price that has lapsed is not agreed by a yes dated before it was made', async () => {
    const ticket = await shop.book()
    await shop.moved(ticket.number, 'looked-over')
    await shop.told(ticket.number, 'looks', { findings: 'x', workClass: 'cell' }, shop.bench)
    const lines = { lines: shop.usualLines, validUntil: '2026-11-25' }
    const estimate = await shop.told(ticket.number, 'estimates', lines, shop.bench)
    await shop.moved(ticket.number, 'awaiting-yes')
    shop.house.setNow('2026-11-26T15:00:00Z')
    const { ownerName } = (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body
    const yes = {
      person: ownerName,
      how: 'in-person',
      total: { amount: estimate.total, currency: 'EUR' },
      lines: estimate.lines.map((line: { id: string }) => ({ line: line.id, answer: 'yes' })),
    }
    const early = await shop.say(ticket.number, 'estimates/1/answers', { ...yes, at: '2026-11-20T09:00:00Z' })
    expect(early.body.errors[0].pointer).toBe('#/at')
    await shop.told(ticket.number, 'estimates/1/answers', yes)
    expect((await shop.gates(ticket.number)).G7).toMatchObject({ state: 'shut', parts: expect.anything() })
    shop.house.setNow('2026-11-25T15:00:00Z')
  })
  test('work written down after the final check counts after it, whatever hour it is given', async () => {
    const ticket = await closedAtTheBench()
    await shop.waterTest(ticket.number)
    await shop.moved(ticket.number, 'final-check', {}, shop.bench)
    shop.house.setNow('2026-11-25T15:30:00Z')
    await shop.check(ticket.number)
    const operation = { what: 'one more drop of oil', state: 'done', to: '2026-11-25T15:10:00Z' }
    await shop.told(ticket.number, 'operations', operation, shop.bench)
    await shop.moved(ticket.number, 'final-check', {}, shop.bench)
    expect((await shop.move(ticket.number, 'ready')).body).toMatchObject({ gate: 'G13' })
    shop.house.setNow('2026-11-25T15:00:00Z')
  })
})

describe('the gate of the readings', () => {
  test('asks for the class of work where something was done and nobody named one', async () => {
    const ticket = await shop.book()
    await shop.moved(ticket.number, 'looked-over')
    const estimate = await shop.told(ticket.number, 'estimates', { lines: shop.usualLines }, shop.bench)
    await shop.moved(ticket.number, 'awaiting-yes')
    const { ownerName } = (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body
    await shop.told(ticket.number, 'estimates/1/answers', {
      person: ownerName,
      how: 'in-person',
      total: { amount: estimate.total, currency: 'EUR' },
      lines: estimate.lines.map((line: { id: string }) => ({ line: line.id, answer: 'yes' })),
    })
    await shop.toBench(ticket.number)
    await shop.worked(ticket.number, estimate.lines)
    await shop.waterTest(ticket.number)
    expect((await shop.move(ticket.number, 'final-check', {}, shop.bench)).body).toMatchObject({
      gate: 'G12',
      opens: ['record a look that names the class of the work that was done'],
    })
    await shop.told(ticket.number, 'looks', { findings: 'cell spent', workClass: 'cell' }, shop.bench)
    await shop.moved(ticket.number, 'final-check', {}, shop.bench)
  })
  test('a complete service is not passed off as a cell change', async () => {
    const ticket = await shop.book()
    const service = { ...shop.usualLines[0], what: 'complete service', completeService: true }
    const { lines } = await shop.agreed(ticket.number, 'cell', [service, shop.usualLines[1]!])
    await shop.toBench(ticket.number)
    await shop.worked(ticket.number, lines)
    await shop.waterTest(ticket.number)
    expect((await shop.move(ticket.number, 'final-check', {}, shop.bench)).body).toMatchObject({
      gate: 'G12',
      why: expect.stringContaining('the movement was worked on'),
    })
  })
  test('no reading counts that was taken on a tester out of calibration or blocked', async () => {
    const ticket = await shop.book()
    const { lines } = await shop.agreed(ticket.number, 'quartz')
    await shop.toBench(ticket.number)
    await shop.worked(ticket.number, lines)
    await shop.waterTest(ticket.number)
    await shop.moved(ticket.number, 'under-observation', {}, shop.bench)
    const old = await shop.made(shop.manager, '/v1/tools', { kind: 'quartz-tester', serial: 'Q-old', name: 'old' })
    await shop.made(shop.manager, `/v1/tools/${old.id}/certificates`, {
      on: '2024-06-01',
      asFound: 'in-tolerance',
      asLeft: 'in-tolerance',
      byWhom: 'the laboratory',
    })
    const read = (tool: string) =>
      shop.told(
        ticket.number,
        'quartz-readings',
        {
          rate: { value: 6, unit: 's/month' },
          measuringTime: { value: 60, unit: 's' },
          inhibitionPeriod: 60,
          consumption: { value: 1.2, unit: 'uA' },
          lowerWorkingVoltage: { value: 1.25, unit: 'V' },
          tool,
        },
        shop.bench,
      )
    const missing = 'the readings are complete'
    const bad = await read(old.id)
    expect(bad).toMatchObject({ toolInDate: false, gate: { state: 'shut' } })
    const complete = async () => (await shop.gates(ticket.number)).G12!.parts.find((part) => part.part === 'complete')!
    expect(await complete()).toMatchObject({ open: false, why: expect.stringContaining('out of calibration, blocked') })
    await read(shop.tools.quartz)
    expect(await complete()).toMatchObject({ open: true, why: missing })
  })
})

describe('a frozen ticket', () => {
  test('is not moved by a new price or a failed check, nor worked towards a gate; a word with the owner is still kept', async () => {
    const checked = await closedAtTheBench()
    await shop.waterTest(checked.number)
    await shop.moved(checked.number, 'final-check', {}, shop.bench)
    const waiting = await shop.book()
    await shop.agreed(waiting.number)
    await shop.moved(waiting.number, 'ready-for-bench')
    const state = { state: 'dispute', until: '2026-12-01', reason: 'the scratch is new, the owner says' }
    for (const { number } of [checked, waiting]) expect((await shop.say(number, 'side-states', state)).status).toBe(200)
    const failed = {
      passed: false,
      reason: 'dust',
      functions: true,
      picturesCompared: true,
      clean: false,
      oldPartsBagged: true,
    }
    const frozen = { type: '/problems/ticket-frozen', side: 'dispute' }
    expect((await shop.checker.post(`/v1/tickets/${checked.number}/final-checks`, failed)).body).toMatchObject(frozen)
    const dearer = { lines: [{ ...shop.usualLines[0], unitPrice: 9000 }, shop.usualLines[1]] }
    expect((await shop.say(waiting.number, 'estimates', dearer, shop.bench)).body).toMatchObject(frozen)
    expect((await shop.say(waiting.number, 'kits', shop.kit, shop.bench)).body).toMatchObject(frozen)
    const step = async (ref: string) => (await shop.counter.get(`/v1/tickets/${ref}`).expect(200)).body.step
    expect([await step(checked.number), await step(waiting.number)]).toEqual(['final-check', 'ready-for-bench'])
    await shop.told(waiting.number, 'contacts', { about: 'question', means: 'phone', result: 'delivered' })
  })
})

describe('the same act has the same roles', () => {
  test('neither bench nor stock compares a watch with its collector or hands it over, by whichever address', async () => {
    const ready = await shop.readied({ dial: 'copper' })
    await shop.pay(ready.number, 3600)
    const release = shop.release(ready, ready.collector, ready.serialOn, { twinAnswer: 'compared' })
    for (const caller of [shop.bench, shop.stock])
      for (const body of [{ release }, {}])
        expect((await shop.move(ready.number, 'handed-over', body, caller)).body).toMatchObject({
          type: '/problems/role-refused',
          roles: ['counter', 'manager'],
        })
    await shop.moved(ready.number, 'handed-over', { release })
  })
})

test('a serial that lies inside the case: pictures and marks are compared instead, and it is said why', async () => {
  const ready = await shop.readied({ dial: 'bronze' })
  await shop.pay(ready.number, 3600)
  const hand = (more: object) =>
    shop.move(ready.number, 'handed-over', {
      release: shop.release(ready, ready.collector, null, { twinAnswer: 'compared', ...more }),
    })
  const inside = { serialUnreadable: 'stamped on the movement' }
  for (const more of [
    {},
    inside,
    { ...inside, marksMatch: false },
    { ...inside, marksMatch: true, picturesMatch: false },
  ])
    expect((await hand(more)).body, JSON.stringify(more)).toMatchObject({ gate: 'G15' })
  const wrong = { ...inside, marksMatch: true, serialRead: 'ZZ 9' }
  expect((await hand(wrong)).body, 'one that was read and is another is never passed').toMatchObject({ gate: 'G15' })
  expect((await hand({ ...inside, marksMatch: true })).status).toBe(200)
})

describe('a side state', () => {
  const shown = async (ref: string) => (await shop.counter.get(`/v1/tickets/${ref}`).expect(200)).body
  const aside = async (ref: string, state: string, until: string, caller = shop.counter) => {
    const body = { state, until, reason: 'because' }
    const outside = { outside: { specialist: 'a dial maker', slip: 'S 1', insurance: 'theirs' } }
    const answer = await shop.say(ref, 'side-states', { ...body, ...(state === 'sent-out' && outside) }, caller)
    expect(answer.status, JSON.stringify(answer.body)).toBe(200)
  }
  test('keeps its actor and day through a move, a list of parts, and a freeze that comes over it', async () => {
    const ticket = await shop.book()
    await shop.agreed(ticket.number)
    await aside(ticket.number, 'on-hold', '2027-03-01')
    const held = { side: 'on-hold', nextActor: 'counter', nextBy: '2027-03-01' }
    expect(await shop.moved(ticket.number, 'awaiting-parts')).toMatchObject(held)
    const part = { what: 'crystal', onHand: false, expectedOn: '2026-12-23' }
    await shop.told(ticket.number, 'parts', { lines: [part] }, shop.stock)
    expect(await shown(ticket.number)).toMatchObject(held)
    await aside(ticket.number, 'dispute', '2026-12-01', shop.manager)
    const end = { reason: 'settled' }
    expect((await shop.say(ticket.number, 'side-state-ends', end, shop.manager)).body).toMatchObject(held)
    const left = await shop.say(ticket.number, 'side-state-ends', end)
    expect(left.body, 'three working days after the part').toMatchObject({
      side: null,
      nextActor: 'stock',
      nextBy: '2026-12-28',
    })
  })
  test('is not overwritten by the evening count: what is on hold comes back to it, what was sent out is not missed', async () => {
    const held = await shop.book({ place: 'drawer 41' })
    const out = await shop.book({ place: 'drawer 41' })
    await aside(held.number, 'on-hold', '2027-03-01')
    await aside(out.number, 'sent-out', '2027-03-02')
    const count = await shop.made(shop.manager, '/v1/evening-counts', { places: [{ place: 'drawer 41', numbers: [] }] })
    expect(count).toMatchObject({ missing: [{ number: held.number }] })
    expect(await shown(out.number)).toMatchObject({ side: 'sent-out', nextBy: '2027-03-02' })
    expect(await shown(held.number)).toMatchObject({ side: 'missing' })
    const found = await shop.say(held.number, 'side-state-ends', { reason: 'under the tray' }, shop.manager)
    expect(found.body).toMatchObject({ side: 'on-hold', nextActor: 'counter', nextBy: '2027-03-01' })
  })
})

test('nothing of a watch whose owner has died goes by post or to an end', async () => {
  const ready = await shop.readied({ dial: 'pewter' })
  await shop.told(ready.number, 'contacts', { about: 'ready', means: 'phone', result: 'delivered' })
  const died = await shop.counter.post(`/v1/owners/${ready.ownerId}/deceased`, { toldBy: 'the daughter' })
  expect(died.status, JSON.stringify(died.body)).toBe(201)
  shop.house.setNow('2027-03-16T09:00:00Z')
  const step = await shop.say(ready.number, 'unclaimed-steps', { step: 'second-means', words: 'called' })
  expect(step.body).toMatchObject({ status: 409, detail: expect.stringContaining('The owner has died') })
  const end = { as: 'disposed-of', words: 'nobody came' }
  expect((await shop.say(ready.number, 'endings', end, shop.manager)).body).toMatchObject({
    detail: expect.stringContaining('The owner has died'),
  })
  const heir = { approve: [], collect: ['Mara Vale'], authorisedBy: 'Mara Vale', how: 'papers' }
  expect((await shop.say(ready.number, 'people', heir)).status, 'the manager alone, by the papers').toBe(403)
  await shop.told(ready.number, 'people', heir, shop.manager)
  shop.house.setNow('2026-11-25T15:00:00Z')
})

test('a final check is passed with all its parts, and the views of the booking-in are taken again', async () => {
  const ticket = await closedAtTheBench()
  await shop.waterTest(ticket.number)
  await shop.moved(ticket.number, 'final-check', {}, shop.bench)
  const all = { passed: true, functions: true, picturesCompared: true, clean: true, oldPartsBagged: true }
  const check = (more: object) => shop.say(ticket.number, 'final-checks', { ...all, ...more }, shop.checker)
  const bare = await check({ functions: false, picturesCompared: false, clean: false })
  expect(bare.body.errors.map((fault: { pointer: string }) => fault.pointer)).toEqual([
    '#/functions',
    '#/picturesCompared',
    '#/clean',
  ])
  expect((await check({ oldPartsBagged: false })).body.errors).toMatchObject([{ pointer: '#/reason' }])
  expect((await check({ oldPartsBagged: false, reason: 'the owner did not want them' })).status).toBe(201)
  expect((await shop.move(ticket.number, 'ready', {}, shop.checker)).body).toMatchObject({
    gate: 'G13',
    why: expect.stringContaining('dial, back, crown-side, opposite-side, clasp'),
    mayOverride: ['pictures: manager'],
  })
  await shop.viewsAgain(ticket.number)
  await shop.moved(ticket.number, 'ready', {}, shop.checker)
})

describe('the kit', () => {
  test('says bench, tools and lots, and where the file knows better, the file counts', async () => {
    const ticket = await shop.book()
    await shop.agreed(ticket.number)
    const kit = (more: object) => shop.say(ticket.number, 'kits', { ...shop.kit, ...more }, shop.bench)
    const shut = async () => {
      const { parts } = (await shop.gates(ticket.number)).G9!
      return parts.filter((part) => part.open === false).map((part) => part.part)
    }
    const nobody = '00000000-0000-7000-8000-000000000000'
    for (const [more, pointer] of [
      [{ bench: nobody }, '#/bench'],
      [{ tools: [nobody] }, '#/tools/0'],
      [{ tools: [] }, '#/tools'],
      [{ parts: [] }, '#/parts'],
      [{ parts: [{ line: nobody, lotUnknownBecause: 'x' }] }, '#/parts/0/line'],
    ] as const)
      expect((await kit(more)).body.errors, JSON.stringify(more)).toMatchObject([{ pointer }])
    expect((await kit({ parts: [{ lot: nobody }] })).status).toBe(404)
    const old = await shop.made(shop.manager, '/v1/tools', { kind: 'pressure-tester', serial: 'P-none', name: 'new' })
    const plain = await shop.made(shop.manager, '/v1/benches', { name: 'Bench of straps', skills: ['case'] })
    expect((await kit({ tools: [old.id], bench: plain.id })).status).toBe(201)
    expect(await shut(), 'no certificate, and no skill with cells').toEqual(['tools', 'bench'])
    expect((await kit({})).status).toBe(201)
    expect(await shut()).toEqual([])
    await shop.moved(ticket.number, 'on-the-bench', {}, shop.bench)
  })
  test('lapses when a new version is made, and has every agreed part in it', async () => {
    const ticket = await shop.book({ ceiling: { amount: 100_000, currency: 'EUR' } })
    const { lines } = await shop.agreed(ticket.number)
    expect(lines).toHaveLength(2)
    await shop.told(ticket.number, 'kits', shop.kit, shop.bench)
    await shop.moved(ticket.number, 'ready-for-bench')
    const crystal = { what: 'crystal', part: true, unitPrice: 3000, taxClass: 'usual', choice: 'must' }
    const dearer = await shop.told(ticket.number, 'estimates', { lines: [...shop.usualLines, crystal] }, shop.bench)
    expect(dearer.insideCeiling).toBe(true)
    const shut = await shop.move(ticket.number, 'on-the-bench', {}, shop.bench)
    expect(shut.body).toMatchObject({
      gate: 'G9',
      why: expect.stringMatching(/before version 2.*not in the kit: crystal/),
    })
    await shop.toBench(ticket.number)
  })
})
