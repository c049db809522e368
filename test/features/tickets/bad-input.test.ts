import { readdir } from 'node:fs/promises'
import path from 'node:path'
import sharp from 'sharp'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { ticketNumber } from '../../../src/domain/tickets/number.ts'
import { aPicture, eur, openShop, type Shop, upload } from './shop.ts'

let shop: Shop
let ticket: Awaited<ReturnType<Shop['book']>>
beforeAll(async () => {
  shop = await openShop()
  ticket = await shop.book()
})
afterAll(() => shop.close())

/** All that a ticket has on file; a refusal leaves it as it was. */
const onFile = async () => {
  const { rows } = await shop.house.database.pool.query(
    `select (select count(*)::int from ticket) as tickets, (select count(*)::int from ticket_record) as records, (select count(*)::int from custody_move) as moves,
      (select count(*)::int from watch_event) as events, (select count(*)::int from estimate_answer) as answers, (select count(*)::int from picture_file) as files`,
  )
  return rows[0]
}

const refused = async (
  call: () => PromiseLike<{ status: number; body: { type?: string; errors?: { pointer?: string }[] } }>,
  status: number,
  type: string,
  pointer?: string,
) => {
  const before = await onFile()
  const answer = await call()
  expect([answer.status, answer.body.type], JSON.stringify(answer.body)).toEqual([status, `/problems/${type}`])
  if (pointer !== undefined) expect(answer.body.errors?.map((fault) => fault.pointer)).toContain(pointer)
  expect(await onFile()).toEqual(before)
}

describe('a ticket number', () => {
  test('with one wrong or two swapped characters is refused wherever it is typed', async () => {
    const wrong = ticketNumber(12_345).replace('1', '2')
    for (const typed of [wrong, '12435', 'abc', '1234567890123', '%00']) {
      await refused(() => shop.counter.get(`/v1/tickets/${typed}`), 400, 'ticket-number-wrong')
      await refused(() => shop.counter.get(`/v1/tickets/${typed}/gates`), 400, 'ticket-number-wrong')
      await refused(() => shop.move(typed, 'awaiting-look'), 400, 'ticket-number-wrong')
    }
    await refused(() => shop.counter.get(`/v1/tickets?number=${wrong}`), 400, 'ticket-number-wrong')
    await refused(
      () => shop.say(ticket.number, 'custody-moves', { from: 'counter', to: 'safe', holder: 'B', tagNumber: wrong }),
      400,
      'ticket-number-wrong',
      '#/tagNumber',
    )
    await refused(
      () => shop.move(ticket.number, 'handed-over', { release: shop.release({ number: wrong }, 'x', null) }),
      400,
      'ticket-number-wrong',
      '#/tagNumber',
    )
    await refused(
      () => shop.manager.post('/v1/evening-counts', { places: [{ place: 'safe', numbers: [ticket.number, wrong] }] }),
      400,
      'faulty-input',
      '#/places/0/numbers/1',
    )
  })
  test('that belongs to no ticket is not found', async () => {
    await refused(() => shop.counter.get(`/v1/tickets/${ticketNumber(987_654_321)}`), 404, 'not-found')
    await refused(() => shop.counter.get('/v1/tickets/00000000-0000-7000-8000-000000000000'), 404, 'not-found')
  })
  test('may be typed with spaces, dashes and small letters', async () => {
    const spaced = [...ticket.number].join('-').toLowerCase()
    expect((await shop.counter.get(`/v1/tickets/${encodeURIComponent(` ${spaced} `)}`).expect(200)).body.id).toBe(
      ticket.id,
    )
  })
})

describe('a picture', () => {
  const files = async () =>
    (await readdir(path.join(shop.house.service.config.dataFolder, 'pictures'), { recursive: true })).length

  test.each([
    ['text that calls itself a picture', Buffer.from('<html>not a picture</html>'), 'a.png', 'picture-refused', 422],
    [
      'an SVG, which may carry a script',
      Buffer.from('<svg xmlns="http://www.w3.org/2000/svg"><script>1</script></svg>'),
      'a.svg',
      'picture-refused',
      422,
    ],
    ['nothing', Buffer.alloc(0), 'a.png', 'picture-refused', 422],
    ['a PNG cut in half', null, 'a.png', 'picture-refused', 422],
    ['one of more than 12 MiB', Buffer.alloc(12 * 1024 * 1024 + 1, 1), 'a.png', 'body-too-large', 413],
  ])('%s is refused and nothing is stored', async (_, content, name, type, status) => {
    const before = await files()
    const whole = await sharp({
      create: {
        width: 400,
        height: 400,
        channels: 3,
        background: 'red',
        noise: { type: 'gaussian', mean: 100, sigma: 50 },
      },
    })
      .png()
      .toBuffer()
    await refused(
      () => upload(shop.house, shop.counter, content ?? whole.subarray(0, whole.length / 2), name),
      status,
      type,
    )
    expect(await files()).toBe(before)
  })
  test.each(['../../etc/passwd.png', '..\\..\\x.png', '/etc/x.png', 'a\u0007.png'])(
    'the name %j is refused',
    async (name) => {
      await refused(
        () => aPicture().then((content) => upload(shop.house, shop.counter, content, name)),
        422,
        'picture-refused',
      )
    },
  )
  test('is known by its content, whatever its type says, and stored under its own hash', async () => {
    const content = await sharp(await aPicture())
      .jpeg()
      .toBuffer()
    const first = await upload(shop.house, shop.counter, content, 'x.png', 'image/png')
    expect(first.body).toMatchObject({ mediaType: 'image/jpeg', width: 32, height: 24 })
    const again = await upload(shop.house, shop.bench, content, 'other.jpg', 'image/jpeg')
    expect(again.body.id).toBe(first.body.id)
  })
  test('sent as it is, without a form, or too large: the refusal says how it is taken', async () => {
    const bare = await shop.counter
      .post('/v1/pictures', undefined as never)
      .set('content-type', 'image/png')
      .send(Buffer.from('png'))
    expect([bare.status, bare.body.detail]).toEqual([415, 'Send the body as multipart/form-data.'])
    const large = await upload(shop.house, shop.counter, Buffer.alloc(12 * 1024 * 1024 + 1, 1), 'a.png')
    expect([large.status, large.body.detail]).toEqual([
      413,
      'This is too large: at most 12 MiB a picture. Send it smaller.',
    ])
  })

  test('named twice, or put to its own ticket once more, is told so', async () => {
    const ticket = await shop.book({ dial: 'ochre' })
    const id = await shop.picture()
    const put = (...views: string[]) =>
      shop.say(ticket.number, 'pictures', { pictures: views.map((view) => ({ id, view })) })
    expect((await put('dial', 'back')).body.errors).toEqual([
      { pointer: '#/pictures/1/id', detail: 'is named twice: a picture shows one view' },
    ])
    expect((await put('dial')).status).toBe(201)
    expect((await put('dial')).body.errors).toEqual([
      { pointer: '#/pictures/0/id', detail: 'is a picture of this ticket already' },
    ])
  })

  test('that was never uploaded, or is another ticket’s, is not taken and not shown', async () => {
    const stranger = '00000000-0000-7000-8000-000000000000'
    await refused(
      () => shop.say(ticket.number, 'pictures', { pictures: [{ id: stranger, view: 'dial' }] }),
      400,
      'faulty-input',
      '#/pictures/0/id',
    )
    const booking = await shop.booking()
    await refused(
      () => shop.counter.post('/v1/tickets', { ...booking, pictures: [{ id: stranger, view: 'dial' }] }),
      400,
      'faulty-input',
      '#/pictures',
    )
    const other = await shop.book()
    const { pictures } = (await shop.counter.get(`/v1/tickets/${other.number}`)).body
    await refused(() => shop.counter.get(`/v1/tickets/${ticket.number}/pictures/${pictures[0].id}`), 404, 'not-found')
    const { rows } = await shop.house.database.pool.query('select file_id from ticket_picture where id = $1', [
      pictures[0].id,
    ])
    await refused(
      () => shop.say(ticket.number, 'pictures', { pictures: [{ id: rows[0].file_id, view: 'dial' }] }),
      422,
      'picture-refused',
    )
    const shown = await shop.counter.get(`/v1/tickets/${other.number}/pictures/${pictures[0].id}`).expect(200)
    expect(shown.headers['content-type']).toBe('image/png')
    expect(shown.headers['x-content-type-options']).toBe('nosniff')
  })
})

describe('a reading', () => {
  const timing = (more: object) => ({
    position: 'CH',
    wind: 'full',
    hoursSinceWound: { value: 2, unit: 'h' },
    rate: { value: 3, unit: 's/d' },
    tool: shop.tools.timing,
    ...more,
  })
  const say = (more: object) => shop.say(ticket.number, 'timing-readings', timing(more), shop.bench)
  beforeAll(async () => {
    await shop.moved(ticket.number, 'looked-over')
  })
  test.each([
    ['without its unit', { rate: { value: 3 } }, '#/rate/unit'],
    ['with another unit', { rate: { value: 3, unit: 's/month' } }, '#/rate/unit'],
    ['out of range', { rate: { value: 1000, unit: 's/d' } }, '#/rate/value'],
    ['of amplitude above 360°', { amplitude: { value: 361, unit: '°' } }, '#/amplitude/value'],
    ['of amplitude without a lift angle', { amplitude: { value: 280, unit: '°' } }, '#/amplitude'],
    ['before the hour after winding', { hoursSinceWound: { value: 0.2, unit: 'h' } }, '#/hoursSinceWound/value'],
    ['in a position that is none', { position: '2H' }, '#/position'],
    ['as text', { rate: { value: '3', unit: 's/d' } }, '#/rate/value'],
    ['with an unknown key', { amplitud: 280 }, '#/amplitud'],
    ['with both a rate and a beat period', { beatPeriodSeconds: 0.125 }, '#/beatPeriodSeconds'],
    ['without its tool', { tool: undefined }, '#/tool'],
    ['on the wrong tool', { tool: 'pressure' }, '#/tool'],
    ['in the future', { at: '2099-01-01T00:00:00Z' }, '#/at'],
  ])('%s is refused', async (name, more, pointer) => {
    const body = 'tool' in more && more.tool === 'pressure' ? { ...more, tool: shop.tools.pressure } : more
    await refused(() => say(body), 400, name === 'in the future' ? 'fact-in-future' : 'faulty-input', pointer)
  })
})

describe('a move', () => {
  test('that does not exist is refused with those that do', async () => {
    const answer = await shop.move(ticket.number, 'booked-in')
    expect(answer.body).toMatchObject({ type: '/problems/no-such-move', possible: ['priced', 'return-undone'] })
    await refused(() => shop.move(ticket.number, 'moon'), 400, 'faulty-input', '#/to')
    await refused(() => shop.move(ticket.number, 'return-undone'), 400, 'move-needs-reason', '#/reason')
  })
  test('of a role that may not is refused', async () => {
    await refused(() => shop.stock.post('/v1/tickets', {}), 403, 'role-refused')
    await refused(
      () => shop.counter.post(`/v1/tickets/${ticket.number}/overrides`, { gate: 'G2', part: 'agreed', reason: 'x' }),
      403,
      'role-refused',
    )
    await refused(
      () => shop.counter.post(`/v1/tickets/${ticket.number}/endings`, { as: 'disposed-of', words: 'x' }),
      403,
      'role-refused',
    )
  })
})

test.each(['\ud800', 'worn\udc00', '\ud83d'])(
  'half of a surrogate pair (%j), which JSON can carry and no database stores, is refused',
  async (what) => {
    await refused(
      () => shop.say(ticket.number, 'parts', { lines: [{ what, onHand: true }] }, shop.manager),
      400,
      'faulty-input',
      '#/lines/0/what',
    )
    await shop.told(ticket.number, 'parts', { lines: [{ what: 'a whole one: \u{1f570}', onHand: true }] }, shop.manager)
  },
)

test('a booking with several faults names each, and nothing is written', async () => {
  const booking = await shop.booking()
  const call = () =>
    shop.counter.post('/v1/tickets', {
      ...booking,
      complaint: '',
      declaredValue: { amount: -1, currency: 'euro' },
      looseItems: [
        { bag: 'A', words: 'x' },
        { bag: 'A', words: 'y' },
      ],
      surprise: 1,
    })
  const before = await onFile()
  const answer = await call()
  expect(answer.status).toBe(400)
  expect(answer.body.errors.map((fault: { pointer: string }) => fault.pointer).sort()).toEqual(
    ['#/complaint', '#/declaredValue/amount', '#/declaredValue/currency', '#/looseItems', '#/surprise'].sort(),
  )
  expect(await onFile()).toEqual(before)
})

test('booking in is idempotent: the same key and body give the first answer, another body is refused, many at once make one ticket', async () => {
  const body = await shop.booking()
  const answers = await Promise.all(
    Array.from({ length: 6 }, () => shop.counter.post('/v1/tickets', body, '"one-and-the-same"')),
  )
  expect(new Set(answers.map((answer) => answer.body.number)).size).toBe(1)
  expect(answers.map((answer) => answer.status)).toEqual(Array.from({ length: 6 }, () => 201))
  expect(answers.filter((answer) => answer.headers['idempotent-replayed'] === 'true')).toHaveLength(5)
  const other = await shop.counter.post('/v1/tickets', { ...body, complaint: 'something else' }, '"one-and-the-same"')
  expect([other.status, other.body.type]).toEqual([422, '/problems/idempotency-key-reused'])
})

test('two counters that book the same watch in at once make one ticket', async () => {
  const ownerId = await shop.owner()
  const watchId = await shop.watch(ownerId)
  const bodies = await Promise.all([1, 2, 3, 4].map(() => shop.booking({ ownerId, watchId })))
  const answers = await Promise.all(bodies.map((body) => shop.counter.post('/v1/tickets', body)))
  expect(answers.map((answer) => answer.status).sort()).toEqual([201, 409, 409, 409])
  for (const answer of answers.filter((one) => one.status === 409))
    expect(answer.body.type).toBe('/problems/watch-in-house')
})

test('an answer for another total, a line of another ticket, or a refusal of what another line requires is refused', async () => {
  const fresh = await shop.book()
  await shop.moved(fresh.number, 'looked-over')
  await shop.told(fresh.number, 'looks', { findings: 'x', workClass: 'cell' }, shop.bench)
  // names that every object knows are no classes of tax
  for (const taxClass of ['unheard-of', 'constructor', 'toString', '__proto__']) {
    const lines = [{ ...shop.usualLines[0], taxClass }]
    await refused(
      () => shop.say(fresh.number, 'estimates', { lines }, shop.bench),
      400,
      'faulty-input',
      '#/lines/0/taxClass',
    )
  }
  const estimate = await shop.told(fresh.number, 'estimates', { lines: shop.usualLines }, shop.bench)
  await shop.moved(fresh.number, 'awaiting-yes')
  const { ownerName } = (await shop.counter.get(`/v1/tickets/${fresh.number}`)).body
  const [cell, pressure] = estimate.lines
  const answer = (lines: object[], total: number) => () =>
    shop.say(fresh.number, 'estimates/1/answers', { person: ownerName, how: 'in-person', total: eur(total), lines })
  const yes = (line: { id: string }) => ({ line: line.id, answer: 'yes' })
  await refused(answer([yes(cell), yes(pressure)], 3599), 400, 'faulty-input', '#/total')
  await refused(answer([yes(cell), { line: pressure.id, answer: 'no' }], 2400), 400, 'faulty-input', '#/lines/1/answer')
  await refused(answer([yes(cell), { line: ticket.id, answer: 'yes' }], 2400), 400, 'faulty-input', '#/lines/1/answer')
  await refused(
    () =>
      shop.say(fresh.number, 'estimates/2/answers', {
        person: ownerName,
        how: 'in-person',
        total: eur(3600),
        lines: [yes(cell)],
      }),
    404,
    'not-found',
  )
})

test('what only the centre can say stops the work where it is missing, and takes only its own shape', async () => {
  for (const [key, value] of [
    ['coverPerItem', 5],
    ['coverPerItem', { amount: 1.5, currency: 'EUR' }],
    ['taxRates', { usual: 20_001 }],
    ['holidays', ['2026-02-30']],
    ['rounding', 'up'],
    ['unclaimedLaw', {}],
  ]) {
    await refused(
      () => shop.manager.post('/v1/local-settings', { key, value, fromDay: '2026-11-25', reason: 'x' }),
      400,
      'faulty-input',
      '#/value',
    )
  }
  await refused(
    () => shop.manager.post('/v1/local-settings', { key: 'nothing', value: 1, fromDay: '2026-11-25', reason: 'x' }),
    400,
    'faulty-input',
    '#/key',
  )
  await refused(
    () =>
      shop.manager.post('/v1/local-settings', {
        key: 'rounding',
        value: 'per-line',
        fromDay: '2026-11-24',
        reason: 'x',
      }),
    400,
    'rule-in-past',
  )
  const { body } = await shop.manager.get('/v1/local-settings').expect(200)
  expect(
    body.items.filter((item: { stopsHere: boolean }) => item.stopsHere).map((item: { key: string }) => item.key),
  ).toEqual([
    'notAsked',
    'completeServiceMinutes',
    'waterCheckMinutes',
    'cellChangeMinutes',
    'sealsMinutes',
    'insurerNoticeDays',
    'contactAttempts',
    'radiationRules',
    'unclaimedLaw',
  ])
})

test('a fault in a new owner at booking in is pointed to where it was written', async () => {
  const { owner: _, ...booking } = await shop.booking()
  const contacts = [
    { means: 'post', value: 'Quay 4, Marrenhaven' },
    { means: 'phone', value: 'no number' },
  ]
  const at = '#/owner/new/contacts/1/value'
  const body = { ...booking, owner: { new: { name: 'Nora Vale', contacts } } }
  await refused(() => shop.counter.post('/v1/tickets', body), 400, 'faulty-input', at)
})

test('a test that did not reach the owner shuts the gate of the person; one that did opens it', async () => {
  const own = await shop.book()
  const gate = async () => (await shop.gates(own.number)).G1!.state
  const tried = (body: object) => shop.say(own.number, 'contacts', { about: 'test', means: 'e-mail', ...body })
  expect(await gate()).toBe('open')
  await refused(() => tried({ means: 'phone', result: 'failed' }), 400, 'faulty-input', '#/means')
  await refused(() => tried({ result: 'failed', contact: own.id }), 400, 'faulty-input', '#/contact')
  expect((await tried({ result: 'failed', words: 'came back' })).status).toBe(201)
  expect(await gate()).toBe('shut')
  expect((await tried({ result: 'delivered' })).status).toBe(201)
  expect(await gate()).toBe('open')
  const second = await shop.counter
    .post(`/v1/owners/${own.ownerId}/contacts`, { means: 'e-mail', value: 'second@owner.example' })
    .expect(201)
  await refused(() => tried({ result: 'failed' }), 400, 'faulty-input', '#/contact')
  expect((await tried({ result: 'failed', contact: second.body.id })).status).toBe(201)
  expect(await gate()).toBe('open')
})
