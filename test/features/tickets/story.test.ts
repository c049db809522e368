import { afterAll, beforeAll, expect, test } from 'vitest'
import { fingerprintOf, storyOf } from '../../../src/features/tickets/story.ts'
import { printable, storyPdf } from '../../../src/features/tickets/story-pdf.ts'
import { openShop, type Shop } from './shop.ts'

let shop: Shop
beforeAll(async () => {
  shop = await openShop()
})
afterAll(() => shop.close())

type Entry = {
  at: string
  what: string
  words: string
  by: string
  ticket: string | null
  struck: string | null
  record: string
}

test('the story of a watch tells every ticket, gate, override and signer in order of time, as JSON and as a paper', async () => {
  const ticket = await shop.readied({
    condition: { marks: [], clasp: 'there', agreed: 'owner' },
    complaint: 'läuft nach; "stops" at night – 10 €',
    looseItems: [{ bag: 'A-1', words: 'brown strap' }],
    mayCollect: ['Otto Vale'],
  })
  const mistake = await shop.told(ticket.number, 'contacts', {
    about: 'ready',
    means: 'phone',
    result: 'delivered',
    words: 'wrong person',
  })
  await shop.made(shop.counter, `/v1/tickets/${ticket.number}/strikes`, {
    record: mistake.id,
    reason: 'that was another ticket',
  })
  await shop.told(ticket.number, 'contacts', { about: 'ready', means: 'e-mail', result: 'sent' })
  await shop.pay(ticket.number, 3600)
  const lost = shop.release(ticket, ticket.collector, ticket.serialOn, {
    slip: 'lost',
    identityProof: 'passport',
    looseReturned: ['A-1'],
  })
  await shop.told(ticket.number, 'releases', lost)
  await shop.made(shop.manager, `/v1/tickets/${ticket.number}/overrides`, {
    gate: 'G15',
    part: 'entitlement',
    reason: 'passport and picture fit',
  })
  await shop.moved(ticket.number, 'handed-over')

  const { body: story } = await shop.counter.get(`/v1/watches/${ticket.watchId}/story`).expect(200)
  const entries = story.entries as Entry[]
  expect(entries.map((entry) => entry.at)).toEqual(entries.map((entry) => entry.at).sort())
  const words = (what: string) => entries.filter((entry) => entry.what === what).map((entry) => entry.words)
  expect(words('booked')[0]).toContain('läuft nach')
  expect(words('override')).toEqual([
    'gate G15 hand-over overridden (entitlement) by a manager: passport and picture fit',
  ])
  expect(words('water-test')).toEqual(['dry pressure test: passed at 5 bar on this date, by pressure-tester P-1'])
  expect(words('move').at(-1)).toContain('G15 hand-over overridden (passport and picture fit)')
  expect(entries.find((entry) => entry.record === mistake.id)?.struck).toBe('that was another ticket')
  expect(words('fact')).toEqual(
    expect.arrayContaining([
      'in the book: case opened (own record)',
      'in the book: cell fitted, best before 2030-06 (own record)',
      'in the book: water test passed at 5 bar (own record)',
    ]),
  )
  for (const entry of entries) expect(entry.by, entry.words).not.toBe('')
  expect(JSON.stringify(story)).not.toMatch(/waterproof|undefined|\[object/)
  expect(words('contact')).toContain('ready by e-mail: sent')
  expect(words('people')).toEqual(['may approve: the owner; may collect: the owner, Otto Vale'])
  expect(words('release')[0]).toContain('slip lost, identity proved')
  expect(story.cautions).toEqual([expect.stringContaining('It is not permanent')])
  const again = await shop.book({
    ownerId: ticket.ownerId,
    watchId: ticket.watchId,
    comebackOf: ticket.number,
    dial: 'silver',
    condition: {
      marks: [],
      clasp: 'there',
      agreed: 'opened-before-witness',
      openedBy: 'Ines',
      openedBefore: 'Bert',
      timeShown: '10:12',
      timeTrue: '10:15',
    },
    doNot: ['no-polish'],
  })
  const back = (await shop.counter.get(`/v1/watches/${ticket.watchId}/story`).expect(200)).body.entries as Entry[]
  const now = back.filter((entry) => entry.ticket === again.number).map((entry) => entry.words)
  expect(now).toContain(`booked in, back after ticket ${ticket.number}: "it stopped last week"`)
  expect(now).toContain('condition: no marks, clasp there, showing 10:12 at 10:15; parcel opened by Ines before Bert')
  expect(now).toContain('what must not be done: no polish')
  const untested = await shop.book({ dial: 'lemon' })
  const plain = (await shop.counter.get(`/v1/watches/${untested.watchId}/story`).expect(200)).body
  expect(plain.cautions, 'no test is told of').toEqual([])

  expect(fingerprintOf(story.entries)).toBe(story.fingerprint)
  const changed = story.entries.map((entry: Entry, i: number) => (i === 3 ? { ...entry, by: 'somebody else' } : entry))
  expect(fingerprintOf(changed)).not.toBe(story.fingerprint)

  const paper = await shop.counter
    .get(`/v1/watches/${ticket.watchId}/story`)
    .set('accept', 'application/pdf')
    .buffer(true)
    .parse((res, done) => {
      const parts: Buffer[] = []
      res.on('data', (part: Buffer) => parts.push(part))
      res.on('end', () => done(null, Buffer.concat(parts)))
    })
  expect(paper.headers['content-type']).toBe('application/pdf')
  expect((paper.body as Buffer).subarray(0, 5).toString()).toBe('%PDF-')
  expect((paper.body as Buffer).subarray(-6).toString()).toContain('%%EOF')
  await shop.counter.get('/v1/watches/00000000-0000-7000-8000-000000000000/story').expect(404)
})

test('everything on file stands in the story where it happened: a paper of years ago first, with the day it was recorded', async () => {
  shop.house.setNow('2026-11-25T12:30:00Z')
  const ownerId = await shop.owner('Żaneta Ωλγα Фёдорова')
  const calibre = await shop.made(shop.manager, '/v1/calibres', { name: 'Ferren 12', energy: 'primary-cell' })
  const other = await shop.made(shop.manager, '/v1/calibres', { name: 'Ferren 14', energy: 'primary-cell' })
  const watchId = await shop.watch(ownerId, { calibreId: calibre.id, movementSerial: 'M 77' })
  const say = (path: string, body: object, caller = shop.counter) =>
    caller.post(`/v1/watches/${watchId}/${path}`, body).expect(201)
  await say('events', { event: 'complete-service', on: '2019-06', source: 'paper', note: 'stamp in the booklet' })
  await say('events', { event: 'case-opened', on: '2026-11-20', source: 'owner-word' })
  await say('wear', { daily: 'yes', water: 'often', salt: 'no', source: 'owner-word' })
  await say('notes', { obligation: 'seals', months: 12, on: '2026-11-24', reason: 'sea air' }, shop.bench)
  await say('hazards', { kind: 'brittle-seals', note: 'cracked at 6' })
  const before = await shop.counter.get(`/v1/watches/${watchId}`).expect(200)
  await shop.counter
    .patch(
      `/v1/watches/${watchId}`,
      { model: 'Harbour II', reason: 'read from the dial' },
      before.headers.etag as string,
    )
    .expect(200)
  await say(
    'movements',
    { calibreId: other.id, serial: 'M 78', on: '2026-11-22', condition: 'new', source: 'paper' },
    shop.bench,
  )

  const part = await shop.made(shop.stock, '/v1/parts', { name: 'crown steel 5.5', partKind: 'crown' })
  const lot = await shop.made(shop.stock, '/v1/part-lots', {
    partId: part.id,
    lotNumber: 'P-7',
    supplier: 'Quay Parts',
    receivedOn: '2026-06-01',
    pieces: 3,
    unitCost: { amount: 900, currency: 'EUR' },
    storagePlace: 'crowns',
  })
  const ticket = await shop.readied({ ownerId, watchId, looseItems: [{ bag: 'B-1', words: 'brown strap' }] })
  await shop.stock.post('/v1/part-issues', { partId: part.id, pieces: 1, watchId }).expect(201)
  await shop.bench.post('/v1/part-fittings', { lotId: lot.id, pieces: 1, watchId, ticketId: ticket.id }).expect(201)
  const early = await shop.made(shop.counter, `/v1/watches/${watchId}/events`, {
    event: 'sign',
    sign: 'stopped',
    on: '2026',
    source: 'owner-word',
  })
  await shop.counter
    .post(`/v1/watches/${watchId}/strikes`, { factId: early.id, reason: 'it was another watch' })
    .expect(201)
  await shop.pay(ticket.number, ticket.estimate.total)
  await shop.moved(ticket.number, 'handed-over', {
    release: shop.release(ticket, ticket.collector, ticket.serialOn, { looseReturned: ['B-1'] }),
  })

  const { body: story } = await shop.stock.get(`/v1/watches/${watchId}/story`).expect(200)
  type Told = Entry & { on: string; recordedOn: string; struckBy: string | null }
  const entries = story.entries as Told[]
  expect(entries.map((entry) => entry.at)).toEqual(entries.map((entry) => entry.at).sort())
  expect(entries[0]).toMatchObject({
    on: '2019-06',
    at: '2019-06-01T00:00:00.000Z',
    words: 'in the book: complete service, "stamp in the booklet" (paper)',
  })
  expect(entries[0]!.recordedOn > '2026-11').toBe(true)
  const at = (words: string) => {
    const found = entries.findIndex((entry) => entry.words === words)
    expect(found, `${words} among ${entries.map((entry) => entry.words).join('\n')}`).toBeGreaterThan(-1)
    return found
  }
  const order = [
    'in the book: complete service, "stamp in the booklet" (paper)',
    'in the book: sign stopped (owner word)',
    'in the book: case opened (owner word)',
    'movement: calibre Ferren 14, serial M 78',
    "watchmaker's note: seals after 12 months, sea air",
    'hazard on file: brittle seals, cracked at 6',
    'booked in: "it stopped last week"',
    'guarantee begins: "cell change", 12 months',
  ]
  expect(order.map(at)).toEqual(order.map(at).sort((a, b) => a - b))
  at('how it is worn: daily, no salt, water often (owner word)')
  at('watch on file changed: model from "Harbour" to "Harbour II" (read from the dial)')
  at('movement: calibre Ferren 12, serial M 77')
  at('loose item in bag B-1: brown strap')
  at('part fitted: crown steel 5.5, 1 piece, from lot crown steel 5.5 P-7')
  at('condition: 1 mark (scratch bezel at 4, 3 mm long), clasp there; agreed by owner')
  at('final check passed; functions tried, pictures compared, clean, old parts bagged')
  expect(entries[at('in the book: sign stopped (owner word)')]).toMatchObject({
    on: '2026',
    struck: 'it was another watch',
    struckBy: 'counter of the test',
  })
  // what the bench told the book stands beside what it recorded, not a day apart
  const fitted = entries.findIndex((entry) => entry.what === 'fitting' && entry.words.startsWith('fitted: cell'))
  const booked = at('in the book: cell fitted, best before 2030-06 (own record)')
  expect(booked - fitted).toBe(1)
  expect(JSON.stringify(story)).not.toMatch(/waterproof|undefined|\[object/)

  // days are those of the centre: at 12:30 UTC it is the next day at fourteen hours east of Greenwich
  const far = await storyOf(shop.house.database.prisma, watchId, 'Pacific/Kiritimati')
  const [here, there] = [entries, far.entries].map((list) =>
    list.filter((one) => one.what === 'custody').map((one) => one.on),
  )
  expect(new Set(here)).toEqual(new Set(['2026-11-25']))
  expect(new Set(there)).toEqual(new Set(['2026-11-26']))

  const paper = await storyPdf(far, 'Zegarmistrz Łódź · Ωρολόγια', '2026-11-25')
  // letters of other alphabets need a font of their own in the paper
  expect(paper.toString('latin1')).toMatch(/\/FontFile2/)
})

test('a letter that no font of the paper has is told by its number, never by a question mark', () => {
  const shows = (codePoint: number) => codePoint < 0x10000
  expect(printable('Łódź, Ωρα, Часы ⌚ 🙂?', shows)).toBe('Łódź, Ωρα, Часы ⌚ [U+1F642]?')
  expect(printable('A\u030a', shows)).toBe('\u00c5')
})

type Shown = {
  id: string
  kind: string
  words: string
  by: string
  content: Record<string, unknown>
  line: { what: string } | null
  tool: { serial: string } | null
  lot: { number: string | null } | null
  verdicts: { what: string; value: number; within: boolean }[] | null
  struck: { record: string; by: string; on: string; why: string } | null
  strikes: string | null
}

test('what was recorded on a ticket is read back whole, by kind, page by page, one by its Location, struck ones with who and why', async () => {
  const ownerId = await shop.owner()
  const watchId = await shop.watch(ownerId, { kind: 'electric' })
  const ticket = await shop.book({ ceiling: undefined, ownerId, watchId })
  const estimate = await shop.agreed(ticket.number, 'three-hand')
  const { ownerName } = (await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)).body
  await shop.told(ticket.number, 'ceilings', {
    amount: { amount: 900, currency: 'EUR' },
    person: ownerName,
    how: 'signed',
  })
  const parts = {
    lines: [
      {
        what: 'crown',
        onHand: false,
        special: true,
        deposit: 'awaited',
        orderedOn: '2026-11-20',
        expectedOn: '2026-12-02',
        chasedOn: '2026-11-24',
        supplierSays: 'on its way',
      },
    ],
  }
  const partsSaid = await shop.say(ticket.number, 'parts', parts, shop.stock)
  expect(partsSaid.headers.location).toBe(`/v1/tickets/${ticket.id}/records/${partsSaid.body.id}`)
  await shop.told(ticket.number, 'parts', { lines: [] }, shop.stock)
  await shop.toBench(ticket.number)
  await shop.worked(ticket.number, estimate.lines)
  const test_ = await shop.waterTest(ticket.number)
  const reading = await shop.say(
    ticket.number,
    'timing-readings',
    {
      position: '3H',
      wind: 'full',
      hoursSinceWound: { value: 2, unit: 'h' },
      rate: { value: 4, unit: 's/d' },
      amplitude: { value: 201, unit: '°' },
      liftAngle: 52,
      beatError: { value: 0.4, unit: 'ms', convention: 'half' },
      tool: shop.tools.timing,
    },
    shop.bench,
  )
  expect(reading.status, JSON.stringify(reading.body)).toBe(201)
  const payment = await shop.told(ticket.number, 'payments', {
    amount: { amount: 500, currency: 'EUR' },
    how: 'deposit',
  })
  await shop.told(ticket.number, 'strikes', { record: payment.id, reason: 'it was for another ticket' })
  await shop.told(ticket.number, 'releases', {
    ...shop.release(ticket, ownerName, null),
    identityProof: 'passport 1234',
  })

  const everything: Shown[] = []
  let next: string | undefined = `/v1/tickets/${ticket.number}/records?limit=7`
  while (next) {
    const { body, headers }: { body: { items: Shown[] }; headers: Record<string, string> } = await shop.stock
      .get(next)
      .expect(200)
    expect(body.items.length).toBeLessThanOrEqual(7)
    everything.push(...body.items)
    next = /<([^>]+)>; rel="next"/.exec(headers.link ?? '')?.[1]
  }
  const { rows } = await shop.house.database.pool.query(
    'select id, kind from ticket_record where ticket_id = $1 order by seq',
    [ticket.id],
  )
  expect(everything.map(({ id, kind }) => ({ id, kind }))).toEqual(rows)
  const of = (kind: string) => everything.filter((record) => record.kind === kind)

  expect(of('condition')[0]?.content).toMatchObject({
    marks: [{ place: 'bezel at 4', kind: 'scratch', lengthMm: 3 }],
    clasp: 'there',
    agreed: 'owner',
  })
  expect(of('ceiling')[0]).toMatchObject({ content: { person: ownerName, how: 'signed' }, by: 'counter of the test' })
  expect(of('parts')[0]?.content).toEqual(parts)
  expect(of('parts')[0]?.words).toBe(
    'parts: crown awaited, ordered 2026-11-20, expected 2026-12-02, chased 2026-11-24, the supplier says: on its way, deposit awaited',
  )
  expect(of('kit')[0]?.content).toMatchObject({ ...shop.kit, shortLifeNote: false })
  expect(of('look')[0]?.content).toMatchObject({ findings: 'cell spent', workClass: 'three-hand' })
  expect(of('operation').map((one) => one.line?.what)).toEqual(['cell change', 'pressure test'])
  expect(of('fitting').map((one) => one.content.lotUnknownBecause)).toContain('from the old drawer')
  expect(of('water-test')[0]).toMatchObject({
    id: test_.id,
    content: { test: 'overpressure-dry', bar: 5, passed: true, leakMicrogramsPerMinute: 9, settledMinutes: 30 },
    tool: { serial: 'P-1' },
    verdicts: null,
  })
  // upright at full wind not under 240 degrees, beat error to 1.0 ms: usual values of the trade, from memory
  expect(of('reading')[0]?.verdicts).toEqual([
    expect.objectContaining({ what: 'amplitude at full wind in 3H', value: 201, within: false }),
    expect.objectContaining({ what: 'beat error in 3H', value: 0.4, within: true }),
  ])
  expect(of('payment')[0]?.struck).toEqual({
    record: of('struck')[0]?.id,
    by: 'counter of the test',
    on: '2026-11-25',
    why: 'it was for another ticket',
  })
  expect(of('struck')[0]?.strikes).toBe(payment.id)
  expect(everything.filter((record) => record.struck !== null)).toHaveLength(1)

  // what proves who somebody is, is for counter and manager
  expect(JSON.stringify(of('release'))).not.toContain('passport 1234')
  const { body: releases } = await shop.counter.get(`/v1/tickets/${ticket.number}/records?kind=release`).expect(200)
  expect(releases.items).toHaveLength(1)
  expect(releases.items[0].content.identityProof).toBe('passport 1234')
  const one = await shop.bench.get(`/v1/tickets/${ticket.id}/records/${payment.id}`).expect(200)
  expect(one.body).toMatchObject({
    kind: 'payment',
    content: { how: 'deposit' },
    struck: { by: 'counter of the test' },
  })
  const other = await shop.book()
  await shop.bench.get(`/v1/tickets/${other.id}/records/${payment.id}`).expect(404)
  await shop.bench.get(`/v1/tickets/${ticket.id}/records?kind=nonsense`).expect(400)

  const readings = await shop.bench.get(reading.headers.location as string).expect(200)
  expect(readings.body).toMatchObject({
    tolerances: 'house-class',
    gate: { state: 'shut' },
    items: [{ kind: 'reading' }],
  })
  expect(readings.body.verdicts.map((verdict: { what: string }) => verdict.what)).toEqual([
    'mean rate at full wind',
    'amplitude at full wind in 3H',
    'beat error in 3H',
  ])
})

test('evening counts, skills, tolerances and the facts of a watch are read back as they were written', async () => {
  const here = await shop.book({ place: 'safe' })
  const gone = await shop.book({ place: 'safe' })
  const astray = await shop.book({ place: 'counter' })
  const made = await shop.counter.post('/v1/evening-counts', {
    places: [{ place: 'safe', numbers: [here.number, astray.number] }],
  })
  expect(made.status).toBe(201)
  const { body: count } = await shop.counter.get(made.headers.location as string).expect(200)
  expect(count).toMatchObject({
    id: made.body.id,
    on: '2026-11-25',
    by: 'counter of the test',
    counted: 2,
    places: [{ place: 'safe', numbers: [here.number, astray.number] }],
    missing: [{ number: gone.number, ticketId: gone.id, place: 'safe' }],
    elsewhere: [{ number: astray.number, ticketId: astray.id, place: 'counter', foundAt: 'safe' }],
    unknown: [],
  })
  const { body: counts } = await shop.counter.get('/v1/evening-counts?from=2026-11-25&to=2026-11-25').expect(200)
  expect(counts.items).toEqual([count])
  expect((await shop.counter.get('/v1/evening-counts?to=2026-11-24').expect(200)).body.items).toEqual([])
  await shop.bench.get('/v1/evening-counts').expect(403)

  const key = await shop.made(shop.manager, '/v1/staff-keys', { name: 'Pell', role: 'bench' })
  const skill = (level: string, fromDay: string) =>
    shop.made(shop.manager, '/v1/staff-skills', { staffKeyId: key.id, skill: 'quartz', level, fromDay })
  await skill('under-eye', '2026-01-01')
  await skill('may-do', '2026-06-01')
  await skill('may-check', '2027-01-01')
  const { body: skills } = await shop.stock.get(`/v1/staff-skills?staffKeyId=${key.id}`).expect(200)
  expect(
    skills.items.map(({ name, level, fromDay, counts: holds }: Record<string, unknown>) => [
      name,
      level,
      fromDay,
      holds,
    ]),
  ).toEqual([
    ['Pell', 'under-eye', '2026-01-01', false],
    ['Pell', 'may-do', '2026-06-01', true],
    ['Pell', 'may-check', '2027-01-01', false],
  ])
  expect(
    (await shop.stock.get(`/v1/staff-skills?staffKeyId=${key.id}&counts=true`).expect(200)).body.items,
  ).toHaveLength(1)
  await shop.manager.post(`/v1/staff-keys/${key.id}/revocation`).expect(200)
  expect((await shop.stock.get(`/v1/staff-skills?staffKeyId=${key.id}&counts=true`).expect(200)).body.items).toEqual([])

  const calibre = await shop.made(shop.manager, '/v1/calibres', { name: 'Ferren 20', energy: 'none' })
  const tolerance = (meanMax: number) =>
    shop.made(shop.manager, `/v1/calibres/${calibre.id}/tolerances`, {
      limits: { meanMax },
      sourcePaper: `sheet ${meanMax}`,
    })
  await tolerance(12)
  await tolerance(10)
  const { body: tolerances } = await shop.stock.get(`/v1/calibres/${calibre.id}/tolerances`).expect(200)
  expect(
    tolerances.items.map(({ limits, sourcePaper, counts: holds }: Record<string, unknown>) => [
      limits,
      sourcePaper,
      holds,
    ]),
  ).toEqual([
    [{ meanMax: 12 }, 'sheet 12', false],
    [{ meanMax: 10 }, 'sheet 10', true],
  ])

  const wear = await shop.counter.post(`/v1/watches/${here.watchId}/wear`, { daily: 'yes', source: 'owner-word' })
  const { body: worn } = await shop.stock.get(wear.headers.location as string).expect(200)
  expect(worn.items).toMatchObject([{ daily: 'yes', source: 'owner-word', struck: null }])
})

test('every Location this house was answered with can be followed', async () => {
  const { rows } = await shop.house.database.pool.query<{ location: string }>(
    `select distinct headers ->> 'location' as location from idempotency_key where headers ->> 'location' is not null order by 1`,
  )
  expect(rows.length).toBeGreaterThan(50)
  const astray: string[] = []
  for (const { location } of rows) {
    const { status } = await shop.manager.get(location)
    if (status !== 200) astray.push(`${status} ${location}`)
  }
  expect(astray).toEqual([])
})
