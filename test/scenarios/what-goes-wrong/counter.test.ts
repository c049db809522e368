import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { eur, openShop, type Shop } from '../../features/tickets/shop.ts'

/** What goes wrong at the counter, and what the service does then (common practice, no source). */
let shop: Shop
beforeAll(async () => {
  shop = await openShop()
})
afterAll(() => shop.close())

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
    expect((await shop.move(ticket.number, 'on-the-bench')).body, 'its kit was for the version before').toMatchObject({
      gate: 'G9',
    })
    await shop.toBench(ticket.number)
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
    await shop.toBench(ticket.number)
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

test('owner unreachable: the gate says so, a failed attempt is logged, and "will call in" opens it', async () => {
  const owner = (await shop.made(shop.counter, '/v1/owners', { name: 'Ivo Nowhere', contacts: [] })).id
  const ticket = await shop.book({ ownerId: owner })
  expect((await shop.move(ticket.number, 'awaiting-look')).body).toMatchObject({
    gate: 'G1',
    why: expect.stringContaining('reached'),
  })
  await shop.told(ticket.number, 'contacts', {
    about: 'question',
    means: 'phone',
    result: 'failed',
    words: 'no such number',
  })
  await shop.told(ticket.number, 'people', { approve: [], collect: [], willCallIn: true })
  await shop.moved(ticket.number, 'awaiting-look')
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
  const parcel = { marks: [], clasp: 'there', agreed: 'opened-before-witness', timeTrue: '10:15' }
  const nobody = await shop.say(cheap.number, 'conditions', parcel)
  expect(
    nobody.body.errors?.map((fault: { pointer: string }) => fault.pointer),
    'a witness has a name',
  ).toEqual(['#/openedBy', '#/openedBefore', '#/timeShown'])
  await shop.told(cheap.number, 'conditions', { ...parcel, openedBy: 'Ines', openedBefore: 'Bert', timeShown: '10:12' })
  const shown = (await shop.counter.get(`/v1/tickets/${cheap.number}`).expect(200)).body
  expect(shown.condition).toMatchObject({
    openedBefore: 'Bert',
    timeTrue: '10:15',
    on: '2026-11-25',
    by: 'counter of the test',
  })
  expect(shown.pictures[0], 'each picture with its time and taker').toMatchObject({
    view: 'dial',
    at: shown.createdAt,
    by: 'counter of the test',
  })
  await shop.told(cheap.number, 'conditions', { marks: [], clasp: 'there', agreed: null })
  expect((await shop.gates(cheap.number)).G2!.state, 'a later fact ends the override').toBe('shut')
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
  expect(offered.body.detail, 'by what it is told, where it is, and what to do').toMatch(
    new RegExp(`serial ${serial}, of Nora Vale .*in the house under ticket ${ticket.number}.*"knownDuplicate": true`),
  )
  // the maker written a little otherwise makes no second watch either
  const misspelt = { maker: 'Alder and Finch', serial, kind: 'quartz' }
  const nearly = await shop.counter.post('/v1/tickets', { ...base, watch: { new: misspelt } })
  expect(nearly.body).toMatchObject({ type: '/problems/likely-double', part: 'watch', candidates: [ticket.watchId] })
  await shop.made(shop.counter, '/v1/tickets', {
    ...base,
    pictures: [],
    watch: { new: misspelt, confirmedNew: true },
  })
  // one of the same model on file, whose serial nobody had read, may be the very watch that has one now
  const unread = { maker: 'Ollard', model: 'Tarn', kind: 'quartz' }
  const nameless = await shop.made(shop.counter, '/v1/watches', { ...unread, ownerId: ticket.ownerId })
  const read = await shop.counter.post('/v1/tickets', { ...base, watch: { new: { ...unread, serial: 'OT 55' } } })
  expect(read.body).toMatchObject({ type: '/problems/likely-double', part: 'watch', candidates: [nameless.id] })
  const owner = (await shop.counter.get(`/v1/owners/${ticket.ownerId}`)).body
  const person = { name: 'Somebody Else', contacts: [{ means: 'e-mail', value: owner.contacts[0].value }] }
  const who = await shop.counter.post('/v1/tickets', {
    ...base,
    owner: { new: person },
    watch: { new: { maker: 'Quill', kind: 'quartz' } },
  })
  expect(who.body).toMatchObject({ type: '/problems/likely-double', part: 'owner', candidates: [ticket.ownerId] })
  expect(who.body.detail).toContain(`${owner.name}, who has the same mail address`)
  const made = await shop.made(shop.counter, '/v1/tickets', {
    ...base,
    owner: { new: person, confirmedNew: true },
    watch: { new: { maker: 'Quill', kind: 'quartz' } },
  })
  expect(made.alsoDue).toContainEqual(
    expect.objectContaining({ kind: 'cell-change', rule: 'unknown-base', standing: 'to-be-assessed' }),
  )
})

test('a word of warning with the booking-in: the owner has died, or is in dispute with the house', async () => {
  const [gone, angry] = [await shop.owner('Hanno Quill'), await shop.owner('Petra Lorn')]
  await shop.manager.post(`/v1/owners/${gone}/deceased`, { toldBy: 'the son' }).expect(201)
  await shop.manager.patch(`/v1/owners/${angry}`, { standing: 'in-dispute' }, '"v1"').expect(200)
  expect((await shop.book({ ownerId: gone, dial: 'jade' })).warnings).toContain('owner-deceased')
  expect((await shop.book({ ownerId: angry, dial: 'jet' })).warnings).toContain('owner-in-dispute')
  expect((await shop.book({ dial: 'amber' })).warnings).toEqual([])
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
  const { ownerName: known } = (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body
  expect(refused.body.detail, 'and says whom to ask').toContain(`On it: ${known}.`)
  const { rows } = await shop.house.database.pool.query(
    'select count(*)::int as n from estimate_answer where ticket_id = $1',
    [ticket.id],
  )
  expect(rows[0].n).toBe(0)
  const sam = { approve: ['Sam Vale'], collect: [] }
  const bare = await shop.say(ticket.number, 'people', sam)
  expect(bare.body.errors).toMatchObject([{ pointer: '#/authorisedBy' }])
  const himself = await shop.say(ticket.number, 'people', { ...sam, authorisedBy: 'Sam Vale', how: 'phone' })
  expect(himself.body).toMatchObject({ type: '/problems/not-entitled', errors: [{ pointer: '#/authorisedBy' }] })
  const { ownerName } = (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body
  const mute = await shop.say(ticket.number, 'people', { ...sam, authorisedBy: ownerName })
  expect(mute.body.errors).toMatchObject([{ pointer: '#/how' }])
  await shop.told(ticket.number, 'people', { ...sam, authorisedBy: ownerName, how: 'phone' })
  // however the name is typed
  await shop.told(ticket.number, 'estimates/1/answers', { ...body, person: 'sám  VALE' })
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
