import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { callerOf, eur, openShop, type Shop } from './shop.ts'

/** What was struck, corrected or told at another door must neither open a gate nor shut one for good. */
let shop: Shop
beforeAll(async () => {
  shop = await openShop()
})
afterAll(() => shop.close())

type Fact = { id: string; event: string; sign: string | null; struck: unknown }

const watchOf = async (id: string) => (await shop.counter.get(`/v1/watches/${id}`).expect(200)).body
const standing = async (watchId: string, event: string) =>
  ((await shop.counter.get(`/v1/watches/${watchId}/history`).expect(200)).body.events as Fact[]).filter(
    (fact) => fact.event === event && fact.struck === null,
  )
const dueRule = async (watchId: string, kind: string) =>
  (await watchOf(watchId)).obligations.find((one: { kind: string }) => one.kind === kind)
const strike = (ref: string, record: string, caller = shop.manager) =>
  shop.told(ref, 'strikes', { record, reason: 'a mistake' }, caller)
const override = (ref: string, gate: string, part: string, caller = shop.manager) =>
  caller.post(`/v1/tickets/${ref}/overrides`, { gate, part, reason: 'for the test' })
const partOf = async (ref: string, gate: string, part: string) =>
  (await shop.gates(ref))[gate]!.parts.find((one) => one.part === part)!

/** Agreed and at the bench. */
async function atTheBench(more: Record<string, unknown> = {}) {
  const ticket = await shop.book(more)
  const estimate = await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  return { ...ticket, estimate }
}

/** Worked on, closed and tested. */
async function tested() {
  const ticket = await atTheBench()
  await shop.worked(ticket.number, ticket.estimate.lines)
  const { id } = await shop.waterTest(ticket.number)
  return { ...ticket, test: id as string }
}

describe('whoever had a hand in the watch', () => {
  test('is no second pair of eyes, though the record of it was struck, or with another key of the same name', async () => {
    const ticket = await tested()
    const mine = await shop.told(ticket.number, 'operations', { what: 'hands set', state: 'done' }, shop.checker)
    await strike(ticket.number, mine.id, shop.checker)
    await shop.moved(ticket.number, 'final-check', {}, shop.bench)
    await shop.check(ticket.number)
    expect((await shop.move(ticket.number, 'ready', {}, shop.checker)).body).toMatchObject({
      title: 'Gate shut',
      gate: 'G13',
      gateTitle: 'second pair of eyes',
      why: 'the checker worked on this ticket',
      mayOverride: ['other-person: manager'],
    })
    const accept = await shop.say(ticket.number, 'reading-acceptances', { reason: 'good enough' }, shop.checker)
    expect(accept.body, 'nor the final checker of this ticket').toMatchObject({ type: '/problems/override-refused' })

    const again = await shop.made(shop.manager, '/v1/staff-keys', { name: 'bench of the test', role: 'bench' })
    await shop.made(shop.manager, '/v1/staff-skills', {
      staffKeyId: again.id,
      skill: 'final-check',
      level: 'may-check',
    })
    const second = callerOf(shop.house, String(again.key))
    const all = { passed: true, functions: true, picturesCompared: true, clean: true, oldPartsBagged: true }
    expect((await second.post(`/v1/tickets/${ticket.number}/final-checks`, all)).status).toBe(201)
    expect(await partOf(ticket.number, 'G13', 'other-person')).toMatchObject({ open: false })
    expect((await override(ticket.number, 'G13', 'other-person')).status).toBe(201)
    await shop.moved(ticket.number, 'ready', {}, shop.checker)
  })
})

describe('what a struck record took from the reckoning comes back', () => {
  test('a water test that was withdrawn by an opening that never was', async () => {
    const ticket = await tested()
    const before = await dueRule(ticket.watchId, 'water-check')
    const opening = await shop.told(ticket.number, 'openings', { reason: 'dust' }, shop.bench)
    expect(await standing(ticket.watchId, 'water-test')).toEqual([])
    const without = await dueRule(ticket.watchId, 'water-check')
    expect(without).not.toEqual(before)
    await strike(ticket.number, opening.id)
    expect(await standing(ticket.watchId, 'water-test')).toHaveLength(1)
    expect(await dueRule(ticket.watchId, 'water-check')).toEqual(before)

    // an opening after all withdraws it again; struck at the door of the book it comes back, too
    const real = await shop.told(ticket.number, 'openings', { reason: 'dust' }, shop.bench)
    expect(real.water.state).toBe('shut')
    expect(await standing(ticket.watchId, 'water-test')).toEqual([])
    const opened = (await standing(ticket.watchId, 'case-opened')).at(-1)!
    const body = { factId: opened.id, reason: 'another watch' }
    await shop.manager.post(`/v1/watches/${ticket.watchId}/strikes`, body).expect(201)
    expect(await standing(ticket.watchId, 'water-test')).toHaveLength(1)

    // and with its own record it goes
    await strike(ticket.number, ticket.test, shop.bench)
    expect(await standing(ticket.watchId, 'water-test')).toEqual([])
    expect(await dueRule(ticket.watchId, 'water-check')).toEqual(without)
  })
  test('not while another opening stands after it', async () => {
    const ticket = await tested()
    const opening = await shop.told(ticket.number, 'openings', { reason: 'dust' }, shop.bench)
    await shop.told(ticket.number, 'cell-removals', {}, shop.bench)
    await strike(ticket.number, opening.id)
    expect(await standing(ticket.watchId, 'water-test')).toEqual([])
  })
  test('a sign that was not cured, and a bag that holds nothing', async () => {
    const ticket = await shop.book()
    await shop.moved(ticket.number, 'looked-over')
    const signs = { findings: 'stopped', workClass: 'cell', signs: ['stopped'] }
    await shop.told(ticket.number, 'looks', signs, shop.bench)
    const before = await dueRule(ticket.watchId, 'complete-service')
    const { version, total, lines } = await shop.told(
      ticket.number,
      'estimates',
      { lines: shop.usualLines },
      shop.bench,
    )
    await shop.moved(ticket.number, 'awaiting-yes')
    const { ownerName } = (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body
    await shop.told(ticket.number, `estimates/${version}/answers`, {
      person: ownerName,
      how: 'in-person',
      total: eur(total),
      lines: lines.map((line: { id: string }) => ({ line: line.id, answer: 'yes' })),
    })
    await shop.toBench(ticket.number)
    const cured = {
      what: 'demagnetised',
      state: 'done',
      cures: ['stopped'],
      oldParts: [{ bag: 'O1', words: 'a stem' }],
    }
    const loose = async () => (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body.looseItems
    const first = await shop.told(ticket.number, 'operations', cured, shop.bench)
    expect([await standing(ticket.watchId, 'sign'), await loose()]).toMatchObject([[], [{ bag: 'O1' }]])
    await strike(ticket.number, first.id, shop.bench)
    expect([await standing(ticket.watchId, 'sign'), await loose()]).toMatchObject([[{ sign: 'stopped' }], []])
    expect(await dueRule(ticket.watchId, 'complete-service')).toEqual(before)
    await shop.told(ticket.number, 'operations', cured, shop.bench)
    expect([await standing(ticket.watchId, 'sign'), await loose()]).toMatchObject([[], [{ bag: 'O1' }]])
  })
  test.each(['on its ticket', 'in the book', 'by the movement itself'])(
    'the movement the watch had, and its kind, where a fitting is struck %s',
    async (door) => {
      const calibre = async (name: string) =>
        (await shop.made(shop.bench, '/v1/calibres', { name: `${name} ${door}`, energy: 'none' })).id
      const ownerId = await shop.owner()
      const watchId = await shop.watch(ownerId, { calibreId: await calibre('Q 1') })
      const ticket = await atTheBench({ ownerId, watchId })
      const { movement: was, kind } = await watchOf(watchId)
      await shop.told(ticket.number, 'openings', { reason: 'movement' }, shop.bench)
      const other = { calibreId: await calibre('M 2'), kind: 'hand-wound', serial: '77', condition: 'new' }
      const fitted = await shop.told(ticket.number, 'movement-replacements', other, shop.bench)
      const now = await watchOf(watchId)
      expect(now).toMatchObject({ kind: 'hand-wound', movement: { serial: '77' } })
      const [event] = await standing(watchId, 'movement-fitted')
      if (door === 'on its ticket') await strike(ticket.number, fitted.id)
      else {
        const factId = door === 'in the book' ? event!.id : now.movement.id
        await shop.manager.post(`/v1/watches/${watchId}/strikes`, { factId, reason: 'into another' }).expect(201)
      }
      const after = await watchOf(watchId)
      expect([after.movement, after.kind]).toEqual([was, kind])
      expect(await standing(watchId, 'movement-fitted')).toEqual([])
      const { body } = await shop.counter.get(`/v1/tickets/${ticket.number}/records?kind=fitting`).expect(200)
      expect(body.items).toMatchObject([{ struck: { by: expect.any(String) } }])
    },
  )
})

describe('an override', () => {
  test('ends with a strike that bears on its gate, and stands through one that does not', async () => {
    const ticket = await atTheBench()
    await shop.worked(ticket.number, ticket.estimate.lines.slice(0, 1))
    const { body } = await shop.counter.get(`/v1/tickets/${ticket.number}/records?kind=operation`).expect(200)
    expect((await override(ticket.number, 'G10', 'lines', shop.checker)).status).toBe(201)
    const attempt = { about: 'question', means: 'phone', result: 'failed' }
    await strike(ticket.number, (await shop.told(ticket.number, 'contacts', attempt)).id, shop.counter)
    expect((await shop.gates(ticket.number)).G10).toMatchObject({ state: 'open' })
    await strike(ticket.number, body.items[0].id, shop.bench)
    expect((await shop.gates(ticket.number)).G10).toMatchObject({ state: 'shut', why: /cell change, pressure test/ })
  })
  test('for what a line left undone does not cover a line that is agreed after it', async () => {
    const ticket = await shop.book()
    await shop.moved(ticket.number, 'looked-over')
    await shop.told(ticket.number, 'looks', { findings: 'spent', workClass: 'cell' }, shop.bench)
    const strap = { what: 'strap', unitPrice: 500, taxClass: 'usual', choice: 'could' }
    const { total, lines } = await shop.told(
      ticket.number,
      'estimates',
      { lines: [...shop.usualLines, strap] },
      shop.bench,
    )
    await shop.moved(ticket.number, 'awaiting-yes')
    const { ownerName } = (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body
    const answer = (which: { id: string }[], last: string, amount: number) =>
      shop.told(ticket.number, 'estimates/1/answers', {
        person: ownerName,
        how: 'in-person',
        total: eur(amount),
        lines: which.map((line) => ({ line: line.id, answer: line === lines[2] ? last : 'yes' })),
      })
    await answer(lines, 'no', total - 600)
    await shop.toBench(ticket.number)
    await shop.worked(ticket.number, [])
    expect((await override(ticket.number, 'G10', 'lines', shop.checker)).status).toBe(201)
    expect((await shop.gates(ticket.number)).G10!.state).toBe('open')
    await answer([lines[2]], 'yes', total)
    expect((await shop.gates(ticket.number)).G10!.state).toBe('shut')
  })
})

describe('the amount agreed in advance', () => {
  test('is no yes to a version above it that was there before', async () => {
    const ticket = await shop.book()
    await shop.moved(ticket.number, 'looked-over')
    await shop.told(ticket.number, 'looks', { findings: 'spent', workClass: 'cell' }, shop.bench)
    await shop.told(ticket.number, 'estimates', { lines: shop.usualLines }, shop.bench)
    await shop.moved(ticket.number, 'awaiting-yes')
    const { ownerName } = (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body
    const ceiling = (amount: number) =>
      shop.told(ticket.number, 'ceilings', { amount: eur(amount), person: ownerName, how: 'in-person' })
    await ceiling(3599)
    expect((await shop.move(ticket.number, 'ready-for-bench')).body).toMatchObject({ gate: 'G7' })
    await shop.told(ticket.number, 'revocations', { person: ownerName, how: 'phone' })
    await ceiling(3600)
    await shop.moved(ticket.number, 'ready-for-bench')
  })
})

describe('a hazard', () => {
  test('is asked when a watch that was to go back undone is opened after all', async () => {
    const ticket = await shop.book({ hazards: [{ kind: 'leaking-cell' }] })
    await shop.moved(ticket.number, 'awaiting-look')
    await shop.moved(ticket.number, 'return-undone', { reason: 'too dear' })
    await shop.check(ticket.number)
    await shop.moved(ticket.number, 'ready')
    const opened = await shop.say(ticket.number, 'openings', { reason: 'just a look' }, shop.bench)
    expect(opened.body).toMatchObject({ type: '/problems/gate-shut', title: 'Gate shut', gate: 'G5' })
  })
  test('is seen with the cell that leaks: nothing goes on before its note is confirmed', async () => {
    const ticket = await atTheBench()
    await shop.told(ticket.number, 'openings', { reason: 'cell change' }, shop.bench)
    await shop.told(ticket.number, 'cell-removals', { leaking: true }, shop.bench)
    const cell = { designation: 'SR626SW', lotUnknownBecause: 'from the old drawer' }
    const fitAgain = () => shop.say(ticket.number, 'cell-fittings', cell, shop.bench)
    expect((await fitAgain()).body).toMatchObject({ gate: 'G5', why: expect.stringContaining('leaking-cell') })
    await shop.told(ticket.number, 'hazard-confirmations', { bench: shop.benchId, note: 'gloves' }, shop.bench)
    expect((await fitAgain()).status).toBe(201)
    expect((await watchOf(ticket.watchId)).hazards).toMatchObject([{ kind: 'leaking-cell' }])
  })
  test('told at the door of the watch after a note was confirmed wants a note of its own, at the bench too', async () => {
    const ticket = await atTheBench()
    const seen = await shop.say(ticket.number, 'hazards', { kind: 'water-inside' }, shop.bench)
    expect(seen.status).toBe(201)
    const confirm = () =>
      shop.told(ticket.number, 'hazard-confirmations', { bench: shop.benchId, note: 'gloves' }, shop.bench)
    await confirm()
    const work = () => shop.say(ticket.number, 'operations', { what: 'dried', state: 'done' }, shop.bench)
    expect((await work()).status).toBe(201)
    await shop.bench.post(`/v1/watches/${ticket.watchId}/hazards`, { kind: 'leaking-cell' }).expect(201)
    expect((await work()).body).toMatchObject({ gate: 'G5', why: expect.stringContaining('leaking-cell') })
    const [, leak] = (await watchOf(ticket.watchId)).hazards
    const struck = { factId: leak.id, reason: 'it was only dirt' }
    const refused = await shop.bench.post(`/v1/watches/${ticket.watchId}/strikes`, struck)
    expect(refused.body, 'nor struck away by the bench').toMatchObject({ type: '/problems/role-refused' })
    await confirm()
    expect((await work()).status).toBe(201)
  })
})

test('hours of an observation that work came after do not count for the next one', async () => {
  const ticket = await shop.book()
  const { lines } = await shop.agreed(ticket.number, 'quartz')
  await shop.toBench(ticket.number)
  await shop.worked(ticket.number, lines)
  await shop.waterTest(ticket.number)
  const read = () =>
    shop.told(
      ticket.number,
      'quartz-readings',
      {
        rate: { value: 6, unit: 's/month' },
        measuringTime: { value: 60, unit: 's' },
        inhibitionPeriod: 60,
        consumption: { value: 1.2, unit: 'uA' },
        lowerWorkingVoltage: { value: 1.25, unit: 'V' },
        tool: shop.tools.quartz,
      },
      shop.bench,
    )
  await shop.moved(ticket.number, 'under-observation', {}, shop.bench)
  shop.house.setNow('2026-11-26T10:00:00Z')
  const reading = await read()
  expect((await shop.gates(ticket.number)).G12!.state).toBe('open')
  const operation = { what: 'rotor cleaned', state: 'done', to: '2026-11-25T09:00:00Z' }
  const worked = await shop.told(ticket.number, 'operations', operation, shop.bench)
  expect(worked.step).toBe('on-the-bench')
  const shut = await shop.move(ticket.number, 'final-check', {}, shop.bench)
  expect(shut.body, 'whatever hour the work is given').toMatchObject({
    gate: 'G12',
    why: expect.stringMatching(/readings are missing.*none have begun/),
  })
  await strike(ticket.number, reading.id, shop.bench)
  await shop.moved(ticket.number, 'under-observation', {}, shop.bench)
  await read()
  expect((await shop.gates(ticket.number)).G12!.why).toBe('24 hours of observation are asked and 0 are over')
  shop.house.setNow('2026-11-25T15:00:00Z')
})

test('a name that was taken off the list does not come back by striking the list', async () => {
  const ticket = await shop.book({ mayCollect: ['Max Vale'] })
  const without = await shop.told(ticket.number, 'people', { approve: [], collect: [] })
  const struck = await shop.say(ticket.number, 'strikes', { record: without.id, reason: 'he is here' })
  expect(struck.body).toMatchObject({ type: '/problems/role-refused', roles: ['manager'] })
})

test('a corrected day of an opening, or of one of two cells, leaves the case as it is', async () => {
  const ticket = await tested()
  expect((await shop.gates(ticket.number)).G11!.state).toBe('open')
  for (const event of ['case-opened', 'cell-fitted']) {
    const fact = (await standing(ticket.watchId, event)).at(-1)!
    const replacement = { event, on: '2026-11-24', source: 'own-record' }
    const body = { factId: fact.id, reason: 'it was the day before', replacement }
    await shop.manager.post(`/v1/watches/${ticket.watchId}/strikes`, body).expect(201)
    expect((await shop.gates(ticket.number)).G11, event).toMatchObject({ state: 'open' })
  }
})

test('a comparison made before the last work is none', async () => {
  const ticket = await tested()
  const release = {
    ...shop.release(ticket, ticket.estimate.ownerName, (await watchOf(ticket.watchId)).serial),
    twinAnswer: 'compared',
  }
  const compared = async () => (await partOf(ticket.number, 'G15', 'watch')).open
  await shop.told(ticket.number, 'releases', release)
  expect(await compared()).toBe(true)
  await shop.told(ticket.number, 'operations', { what: 'washed', state: 'done' }, shop.bench)
  expect(await compared(), 'tags are swapped at the washing').toBe(false)
})

test('a special order is placed after the yes, not before', async () => {
  const ticket = await shop.book()
  const crystal = { what: 'crystal', onHand: false, special: true }
  await shop.told(ticket.number, 'parts', { lines: [crystal] }, shop.bench)
  const ordered = { lines: [{ ...crystal, orderedOn: '2026-11-25' }] }
  expect((await shop.say(ticket.number, 'parts', ordered, shop.stock)).body).toMatchObject({ gate: 'G7' })
  await shop.agreed(ticket.number)
  await shop.told(ticket.number, 'parts', ordered, shop.stock)
})

describe('the class of the work', () => {
  test('that asks fewer readings is not named, once the work has begun, by whoever does it, nor reached by a strike', async () => {
    const ticket = await shop.book()
    const { lines } = await shop.agreed(ticket.number, 'quartz')
    await shop.toBench(ticket.number)
    await shop.told(ticket.number, 'openings', { reason: 'repair' }, shop.bench)
    const look = (workClass: string, caller = shop.bench) =>
      shop.say(ticket.number, 'looks', { findings: 'as above', workClass }, caller)
    expect((await look('cell')).status, 'nothing was done yet').toBe(201)
    const named = await look('quartz')
    await shop.told(ticket.number, 'closings', {}, shop.bench)
    await shop.worked(ticket.number, lines)
    const fewer = await look('strap')
    expect(fewer.body).toMatchObject({
      type: '/problems/override-refused',
      why: expect.stringContaining('asks fewer readings'),
    })
    const struck = await shop.say(ticket.number, 'strikes', { record: named.body.id, reason: 'not so' }, shop.bench)
    expect(struck.body, 'the class before it would count').toMatchObject({ type: '/problems/override-refused' })
    expect((await look('quartz-chronograph')).status, 'as many').toBe(201)
    const shut = async () => (await shop.gates(ticket.number)).G12!.state
    expect(await shut()).toBe('shut')
    expect((await look('cell', shop.manager)).status).toBe(201)
    expect(await shut()).toBe('not-asked')
  })
  test('that is named after an override of the readings ends it', async () => {
    const ticket = await shop.book()
    await shop.agreed(ticket.number, 'three-hand')
    await shop.toBench(ticket.number)
    await shop.told(ticket.number, 'operations', { what: 'regulated', state: 'done' }, shop.bench)
    expect((await override(ticket.number, 'G12', 'complete', shop.checker)).status).toBe(201)
    const complete = () => partOf(ticket.number, 'G12', 'complete')
    expect((await complete()).overriddenBy).toBe('Carla, checker')
    await shop.told(ticket.number, 'looks', { findings: 'it is one', workClass: 'chronograph' }, shop.bench)
    expect((await complete()).overriddenBy).toBeNull()
  })
})

test('a watch in the house is made harmless, or another watch, on paper by the manager alone', async () => {
  const ownerId = await shop.owner()
  const watchId = await shop.watch(ownerId, { luminous: 'radium' })
  await shop.book({ ownerId, watchId })
  const edit = async (caller: Shop['bench'], fields: object) => {
    const { headers } = await caller.get(`/v1/watches/${watchId}`).expect(200)
    return (await caller.patch(`/v1/watches/${watchId}`, fields, headers.etag!)).status
  }
  for (const fields of [{ luminous: 'none' }, { serial: 'ZZ 9' }, { serial: null }]) {
    expect(await edit(shop.bench, fields), JSON.stringify(fields)).toBe(403)
    expect(await edit(shop.counter, fields), JSON.stringify(fields)).toBe(403)
  }
  expect(await edit(shop.counter, { model: 'Harbour II', luminous: 'unknown-old' })).toBe(200)
  expect(await edit(shop.manager, { luminous: 'none', reason: 'measured' })).toBe(200)
})

test('a hazard that was over on an earlier visit stays so', async () => {
  const ticket = await shop.book({ hazards: [{ kind: 'leaking-cell' }] })
  const [leak] = (await watchOf(ticket.watchId)).hazards
  await shop.moved(ticket.number, 'awaiting-look')
  const over = await shop.told(ticket.number, 'hazard-ends', { hazard: leak.id, words: 'neutralised' }, shop.bench)
  await shop.moved(ticket.number, 'return-undone', { reason: 'the owner is in a hurry' })
  await shop.check(ticket.number)
  await shop.moved(ticket.number, 'ready')
  const { ownerName } = (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body
  const release = shop.release(ticket, ownerName, (await watchOf(ticket.watchId)).serial, { twinAnswer: 'compared' })
  await shop.moved(ticket.number, 'handed-over', { release })
  const again = await shop.book({ ownerId: ticket.ownerId, watchId: ticket.watchId })
  expect((await shop.gates(again.number)).G5!.state).toBe('not-asked')
  await strike(ticket.number, over.id)
  expect((await shop.gates(again.number)).G5!.state).toBe('shut')
})

test('what nobody fetches is unclaimed no longer when it goes back to the bench', async () => {
  const ready = await shop.readied({ dial: 'jade' })
  const aside = { state: 'unclaimed', until: '2027-06-01', reason: 'nobody comes' }
  expect((await shop.say(ready.number, 'side-states', aside)).status).toBe(200)
  const back = await shop.moved(ready.number, 'on-the-bench', { reason: 'it stopped in the drawer' })
  expect(back).toMatchObject({ side: null, nextActor: 'bench', nextBy: '2026-12-02' })
})
