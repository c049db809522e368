import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { eur, openShop, type Shop } from '../../features/tickets/shop.ts'

/** What goes wrong after the hand-over: the watch comes back (common practice, no source). */
let shop: Shop
beforeAll(async () => {
  shop = await openShop()
})
afterAll(() => shop.close())

type Decided = { line: string; covered: boolean; voided?: string; because?: string; cause?: string }
const decide = (ref: string, lines: Decided[], more: { comebackOf?: string } = {}, caller = shop.bench) =>
  shop.say(
    ref,
    'comeback-decisions',
    {
      lines: lines.map((line) => ({ voided: 'no', because: 'runs until next November', cause: 'lot', ...line })),
      ...more,
    },
    caller,
  )

/** Handed over and paid: a stem and a crystal with a guarantee of twelve months each. */
async function handedOver() {
  const lines = [
    { what: 'new stem', unitPrice: 2000, taxClass: 'usual', choice: 'must', opensCase: true },
    { what: 'crystal', part: true, unitPrice: 4000, taxClass: 'usual', choice: 'must' },
    { what: 'pressure test', unitPrice: 1000, taxClass: 'usual', choice: 'must', requiredBy: 0, pressureTest: true },
  ]
  const ticket = await shop.book()
  const estimate = await shop.agreed(ticket.number, 'cell', lines)
  await finish(ticket.number, estimate.lines)
  await shop.pay(ticket.number, 8400)
  const { serial } = (await shop.counter.get(`/v1/watches/${ticket.watchId}`).expect(200)).body
  const release = shop.release(ticket, estimate.ownerName, serial, { twinAnswer: 'compared' })
  await shop.moved(ticket.number, 'handed-over', { release })
  return { ...ticket, serial: serial as string, estimate, ownerName: estimate.ownerName }
}

async function finish(ref: string, lines: readonly { id: string }[]) {
  await shop.toBench(ref)
  await shop.worked(ref, lines)
  await shop.waterTest(ref)
  await shop.moved(ref, 'final-check', {}, shop.bench)
  await shop.check(ref)
  await shop.moved(ref, 'ready')
}

const back = (first: { ownerId: string; watchId: string; number: string }) =>
  shop.book({
    ownerId: first.ownerId,
    watchId: first.watchId,
    comebackOf: first.number,
    complaint: 'the crown came off again',
  })

describe('comeback within the guarantee', () => {
  test('linked, decided and caused by line; its cost is booked to the first job and not billed; the days in the house are added', async () => {
    const first = await handedOver()
    const stem = first.estimate.lines[0]!
    const crystal = first.estimate.lines[1]!
    const strange = await shop.say(first.number, 'conditions', { marks: [], clasp: 'there' })
    expect(strange.body).toMatchObject({ type: '/problems/ticket-ended' })
    const whole = (await shop.counter.get(`/v1/tickets/${first.number}/guarantees`).expect(200)).body.items
    expect(whole.map((row: { what: string; lastDay: string }) => [row.what, row.lastDay])).toEqual([
      ['new stem', '2027-11-25'],
      ['crystal', '2027-11-25'],
    ])

    shop.house.setNow('2026-11-26T09:00:00Z')
    const again = await back(first)
    expect(again.guarantees, 'the counter sees at once what the house still answers for').toEqual([
      { ticket: first.number, what: 'new stem', lastDay: '2027-11-25' },
      { ticket: first.number, what: 'crystal', lastDay: '2027-11-25' },
    ])
    await shop.moved(again.number, 'looked-over')
    expect((await shop.move(again.number, 'priced')).body).toMatchObject({ gate: 'G16' })
    const unknown = await decide(again.number, [{ line: first.id, covered: true }])
    expect(unknown.body.errors[0].pointer).toBe('#/lines/0/line')
    const blow = await decide(again.number, [{ line: stem.id, covered: true, voided: 'blow' }])
    expect(blow.body.errors[0]).toMatchObject({ pointer: '#/lines/0/covered' })
    await decide(again.number, [{ line: stem.id, covered: true }]).then((reply) => expect(reply.status).toBe(201))
    expect((await shop.move(again.number, 'priced')).body, 'one line is not decided').toMatchObject({ gate: 'G16' })
    // a decision that is made anew below: the newest counts
    await decide(
      again.number,
      [stem, crystal].map(({ id }) => ({ line: id, covered: true })),
    )
    await decide(again.number, [
      { line: stem.id, covered: true, cause: 'part' },
      { line: crystal.id, covered: false, voided: 'blow', because: 'chipped at the edge', cause: 'not-ours' },
    ]).then((reply) => expect(reply.status).toBe(201))

    await shop.told(again.number, 'looks', { findings: 'stem thread stripped', workClass: 'cell' }, shop.bench)
    const work = { taxClass: 'usual', choice: 'must' }
    const price = (under: string) => [
      { ...work, what: 'stem fitted anew', unitPrice: 2500, opensCase: true, underGuaranteeOf: under },
      { ...work, what: 'stem', part: true, unitPrice: 900, quantity: 2, underGuaranteeOf: under },
      { ...work, what: 'pressure test', unitPrice: 1000, requiredBy: 0, pressureTest: true, underGuaranteeOf: stem.id },
      { ...work, what: 'crystal', part: true, unitPrice: 4000 },
    ]
    const notCovered = await shop.say(again.number, 'estimates', { lines: price(crystal.id) }, shop.bench)
    expect(notCovered.body.errors[0].pointer).toBe('#/lines/0/underGuaranteeOf')
    const estimate = await shop.told(again.number, 'estimates', { lines: price(stem.id) }, shop.bench)
    expect(estimate, 'the owner is asked for the crystal alone').toMatchObject({ net: 4000, total: 4800 })
    expect(estimate.lines[1]).toMatchObject({ unitPrice: 0, houseCost: 900, underGuaranteeOf: stem.id })
    await shop.moved(again.number, 'awaiting-yes')
    await shop.told(again.number, 'estimates/1/answers', {
      person: first.ownerName,
      how: 'in-person',
      total: eur(4800),
      lines: estimate.lines.map((one: { id: string }) => ({ line: one.id, answer: 'yes' })),
    })
    const cost = async () => (await shop.counter.get(`/v1/tickets/${first.number}`).expect(200)).body.comebackCost
    expect(await cost(), 'nothing is done yet').toEqual([])
    await finish(again.number, estimate.lines)
    expect((await shop.counter.get(`/v1/tickets/${again.number}`)).body.bill).toEqual(eur(4800))
    // 25.00 + 2 × 9.00 + 10.00
    expect(await cost()).toEqual([eur(5300)])

    await shop.pay(again.number, 4800)
    shop.house.setNow('2026-12-16T09:00:00Z')
    await shop.moved(again.number, 'handed-over', {
      release: shop.release(again, first.ownerName, first.serial, { twinAnswer: 'compared' }),
    })
    const after = (await shop.counter.get(`/v1/tickets/${first.number}/guarantees`).expect(200)).body.items
    expect(after.map((row: object) => row)).toMatchObject([
      { what: 'new stem', daysAdded: 20, lastDay: '2027-12-15' },
      { what: 'crystal', daysAdded: 0, lastDay: '2027-11-25' },
    ])
    expect(after).toMatchObject([
      { running: true, endedEarly: null, covers: 'the work done and the parts fitted' },
      {
        running: false,
        because: 'voided: blow',
        endedEarly: { on: '2026-11-26', voided: 'blow', because: 'chipped at the edge', ticket: again.number },
        excludes: expect.arrayContaining(['a blow', 'the case opened elsewhere']),
      },
    ])
    const third = await back(first)
    const ofFirst = (third.guarantees as { ticket: string }[]).filter((one) => one.ticket === first.number)
    expect(ofFirst, 'the voided one is no longer named').toEqual([
      { ticket: first.number, what: 'new stem', lastDay: '2027-12-15' },
    ])
    const covered = await decide(third.number, [{ line: crystal.id, covered: true }])
    expect(covered.body.errors[0].detail, 'it has ended').toContain('voided: blow')

    const url = '/v1/reports/comebacks?from=2026-11-01&to=2026-12-31'
    const { items } = (await shop.manager.get(url).expect(200)).body
    expect(items).toContainEqual({
      cause: 'part',
      tickets: 1,
      covered: 1,
      notCovered: 0,
      costs: [{ currency: 'EUR', work: 3500, parts: 1800, total: 5300 }],
    })
    expect(items).toContainEqual({ cause: 'not-ours', tickets: 1, covered: 0, notCovered: 1, costs: [] })
    const csv = await shop.manager.get(url).set('accept', 'text/csv').expect(200)
    expect(csv.text).toContain('part,1,1,0,EUR,3500,1800,5300')

    const { entries } = (await shop.manager.get(`/v1/watches/${first.watchId}/story`).expect(200)).body
    const booked = entries.filter((entry: { what: string }) => entry.what === 'comeback-cost')
    expect(booked.every((entry: { ticket: string }) => entry.ticket === first.number)).toBe(true)
    expect(booked.map((entry: { words: string }) => entry.words)).toContain(
      `under its guarantee, on ticket ${again.number}: stem cost the house 18.00 EUR for the part, not billed`,
    )
    expect(booked).toHaveLength(3)
  })

  test('what nobody saw at the booking-in is linked with the decision, and the guarantee asked then', async () => {
    const first = await handedOver()
    const [stem, crystal] = [first.estimate.lines[0]!, first.estimate.lines[1]!]
    const again = await shop.book({ ownerId: first.ownerId, watchId: first.watchId, complaint: 'stopped' })
    expect(again.guarantees).toHaveLength(2)
    await shop.moved(again.number, 'looked-over')
    const bare = await decide(again.number, [{ line: stem.id, covered: true }])
    expect(bare.body.detail, 'says what to do').toContain('name it in "comebackOf"')
    const strange = await shop.book({ dial: 'mint' })
    const link = (comebackOf: string) =>
      decide(
        again.number,
        [stem, crystal].map(({ id }) => ({ line: id, covered: true })),
        { comebackOf },
      )
    const wrong = first.number.slice(0, -1) + (first.number.endsWith('0') ? '1' : '0')
    for (const [named, status, type] of [
      [strange.number, 400, '/problems/faulty-input'],
      [again.number, 400, '/problems/faulty-input'],
      [wrong, 400, '/problems/ticket-number-wrong'],
    ] as const)
      expect([(await link(named)).status, (await link(named)).body.type]).toEqual([status, type])
    expect((await link(first.number)).status).toBe(201)
    expect((await shop.counter.get(`/v1/tickets/${again.number}`).expect(200)).body.comebackOf).toBe(first.id)
    expect((await shop.gates(again.number)).G16!.state).toBe('open')
    expect((await link(strange.number)).body.errors).toMatchObject([{ pointer: '#/comebackOf' }])
  })

  test('what is struck is not booked', async () => {
    const first = await handedOver()
    const stem = first.estimate.lines[0]!.id
    const crystal = first.estimate.lines[1]!.id
    const again = await back(first)
    await shop.moved(again.number, 'looked-over')
    await decide(again.number, [
      { line: stem, covered: true, cause: 'work' },
      { line: crystal, covered: true, cause: 'work' },
    ])
    await shop.told(again.number, 'looks', { findings: 'stem', workClass: 'strap' }, shop.bench)
    const line = { what: 'stem', unitPrice: 700, taxClass: 'usual', choice: 'must', underGuaranteeOf: stem }
    const estimate = await shop.told(again.number, 'estimates', { lines: [line] }, shop.bench)
    await shop.moved(again.number, 'awaiting-yes')
    await shop.told(again.number, 'estimates/1/answers', {
      person: first.ownerName,
      how: 'in-person',
      total: eur(0),
      lines: [{ line: estimate.lines[0].id, answer: 'yes' }],
    })
    await shop.toBench(again.number)
    const done = await shop.told(again.number, 'operations', { line: estimate.lines[0].id, state: 'done' }, shop.bench)
    const cost = async () => (await shop.counter.get(`/v1/tickets/${first.number}`).expect(200)).body.comebackCost
    expect(await cost()).toEqual([eur(700)])
    await shop.told(again.number, 'strikes', { record: done.id, reason: 'another watch' }, shop.bench)
    expect(await cost()).toEqual([])
  })

  test('past its last day only the manager covers it, as goodwill', async () => {
    shop.house.setNow('2026-12-16T11:00:00Z')
    const first = await handedOver()
    const lines = first.estimate.lines.slice(0, 2).map((line) => ({ line: line.id, covered: true }))
    // a year later to the day the guarantee still runs; a day later no more
    shop.house.setNow('2027-12-17T09:00:00Z')
    const again = await back(first)
    await shop.moved(again.number, 'looked-over')
    const late = await decide(again.number, lines)
    expect(late.body.errors[0]).toMatchObject({
      pointer: '#/lines/0/covered',
      detail: expect.stringContaining('ended on 2027-12-16'),
    })
    expect((await decide(again.number, lines, {}, shop.manager)).status).toBe(201)
    await shop.moved(again.number, 'priced')
  })
})
