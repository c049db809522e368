import { randomUUID } from 'node:crypto'
import sharp from 'sharp'
import supertest from 'supertest'
import { expect } from 'vitest'
import { type Caller, type House, openHouse } from '../../support/house.ts'

/** A house with its settings, tools, a bench, a checker of its own, and a few short ways to do the usual. */
export type Shop = Awaited<ReturnType<typeof openShop>>

export const eur = (amount: number) => ({ amount, currency: 'EUR' })

type Body = Record<string, unknown>

export async function openShop(options: { now?: string; env?: Record<string, string> } = {}) {
  const opened = options.now ?? '2026-11-25T09:00:00Z'
  const house = await openHouse({ now: opened, env: { CENTRE_CURRENCY: 'EUR', ...options.env } })
  const [counter, bench, manager, stock] = (['counter', 'bench', 'manager', 'stock'] as const).map((role) =>
    house.as(role),
  ) as [Caller, Caller, Caller, Caller]
  const made = async (caller: Caller, url: string, body: Body) => {
    const answer = await caller.post(url, body)
    expect(answer.body, `${url} ${JSON.stringify(answer.body)}`).toHaveProperty('id')
    expect(answer.status).toBe(201)
    return answer.body as Body & { id: string }
  }
  const checkerKey = (await made(manager, '/v1/staff-keys', { name: 'Carla, checker', role: 'bench' })) as {
    id: string
    key: string
  }
  const checker = callerOf(house, checkerKey.key)
  await made(manager, '/v1/staff-skills', { staffKeyId: checkerKey.id, skill: 'final-check', level: 'may-check' })
  const set = (key: string, value: unknown) =>
    made(manager, '/v1/local-settings', { key, value, fromDay: opened.slice(0, 10), reason: 'for the test' })
  await set('coverPerItem', eur(1_000_000))
  await set('coverTotal', eur(10_000_000))
  await set('phoneYesUpTo', eur(20_000))
  await set('taxRates', { usual: 2000 })
  await set('rounding', 'per-line')
  await set('observationHours', { quartz: 24, 'three-hand': 24, vintage: 48 })
  const tool = async (kind: string, serial: string) => {
    const { id } = await made(manager, '/v1/tools', { kind, serial, name: kind })
    await made(manager, `/v1/tools/${id}/certificates`, {
      on: '2026-06-01',
      asFound: 'in-tolerance',
      asLeft: 'in-tolerance',
      byWhom: 'the laboratory',
    })
    return id
  }
  const tools = {
    pressure: await tool('pressure-tester', 'P-1'),
    timing: await tool('timing-machine', 'T-1'),
    quartz: await tool('quartz-tester', 'Q-1'),
  }
  const benchId = (
    await made(manager, '/v1/benches', {
      name: 'Bench 2',
      skills: ['high-hazard', 'cells-and-seals', 'quartz', 'three-hand', 'vintage', 'case'],
    })
  ).id

  let serial = 0
  const owner = async (name = 'Nora Vale') =>
    (
      await made(counter, '/v1/owners', {
        name: `${name} ${randomUUID().slice(0, 6)}`,
        contacts: [{ means: 'e-mail', value: `${randomUUID()}@example.org` }],
      })
    ).id
  const watch = async (ownerId: string, more: Body = {}) => {
    serial += 1
    const { id } = await made(counter, '/v1/watches', {
      maker: 'Alder & Finch',
      model: 'Harbour',
      serial: `AF ${1000 + serial}`,
      kind: 'quartz',
      crystal: 'sapphire',
      caseMaterial: 'steel',
      diameterMm: 38,
      waterClaim: { marked: 'rated', bar: 5 },
      ownerId,
      ...more,
    })
    return id
  }
  const picture = async (caller = counter): Promise<string> => {
    const answer = await upload(house, caller, await aPicture(), 'watch.png')
    expect(answer.status, JSON.stringify(answer.body)).toBe(201)
    return answer.body.id
  }
  const views = ['dial', 'back', 'crown-side', 'opposite-side', 'clasp'] as const
  const booking = async (more: Body = {}): Promise<Body> => {
    const ownerId = (more.ownerId as string | undefined) ?? (await owner())
    const watchId = (more.watchId as string | undefined) ?? (await watch(ownerId))
    const { ownerId: _, watchId: __, ...rest } = more
    return {
      owner: { id: ownerId },
      watch: { id: watchId },
      complaint: 'it stopped last week',
      pictures: await Promise.all(views.map(async (view) => ({ id: await picture(), view }))),
      condition: { marks: [{ place: 'bezel at 4', kind: 'scratch', lengthMm: 3 }], clasp: 'there', agreed: 'owner' },
      declaredValue: eur(50_000),
      dial: 'blue',
      ...rest,
    }
  }
  type Ticket = Body & { id: string; number: string; watchId: string; ownerId: string; alsoDue: Body[]; twins: Body[] }
  const book = async (more: Body = {}): Promise<Ticket> =>
    (await made(counter, '/v1/tickets', await booking(more))) as Ticket
  const move = (ref: string, to: string, more: Body = {}, caller = counter) =>
    caller.post(`/v1/tickets/${ref}/moves`, { to, ...more })
  const moved = async (ref: string, to: string, more: Body = {}, caller = counter) => {
    const answer = await move(ref, to, more, caller)
    expect(answer.status, JSON.stringify(answer.body)).toBe(200)
    return answer.body
  }
  const say = (ref: string, path: string, body: Body, caller = counter) =>
    caller.post(`/v1/tickets/${ref}/${path}`, body)
  const told = async (ref: string, path: string, body: Body, caller = counter) => {
    const answer = await say(ref, path, body, caller)
    expect(answer.status, `${path}: ${JSON.stringify(answer.body)}`).toBe(201)
    return answer.body
  }
  const gates = async (ref: string) => {
    const { body } = await counter.get(`/v1/tickets/${ref}/gates`).expect(200)
    return Object.fromEntries(body.gates.map((gate: { gate: string }) => [gate.gate, gate])) as Record<
      string,
      { state: string; why: string; opens: string[]; parts: Body[] }
    >
  }

  const usualLines = [
    { what: 'cell change', unitPrice: 2000, taxClass: 'usual', choice: 'must', opensCase: true, guaranteeMonths: 12 },
    { what: 'pressure test', unitPrice: 1000, taxClass: 'usual', choice: 'must', requiredBy: 0, pressureTest: true },
  ]
  /** Looked over and priced, and the owner has said yes to every line. */
  const agreed = async (ref: string, workClass = 'cell', lines: Body[] = usualLines) => {
    await moved(ref, 'looked-over')
    await told(ref, 'looks', { findings: 'cell spent', workClass }, bench)
    const estimate = await told(ref, 'estimates', { lines }, bench)
    await moved(ref, 'awaiting-yes')
    const { ownerName } = (await counter.get(`/v1/tickets/${ref}`).expect(200)).body
    await told(ref, `estimates/${estimate.version}/answers`, {
      person: ownerName,
      how: 'in-person',
      total: eur(estimate.total),
      lines: estimate.lines.map((line: Body) => ({ line: line.id, answer: 'yes' })),
    })
    return { ...estimate, ownerName } as Body & {
      version: number
      total: number
      lines: (Body & { id: string; what: string })[]
      ownerName: string
    }
  }
  const kit = {
    designationRight: true,
    cell: 'full',
    gasketsInLife: true,
    toolsInDate: true,
    benchHasSkill: true,
    bench: benchId,
    tools: [tools.pressure],
    parts: [{ what: 'cell', lotUnknownBecause: 'from the old drawer' }],
  }
  /** Every part of the newest version. */
  const partsOf = async (ref: string) => {
    const { body } = await counter.get(`/v1/tickets/${ref}/estimates`).expect(200)
    const lines = (body.items.at(-1)?.lines ?? []) as { id: string; part: boolean }[]
    return lines.filter((line) => line.part).map(({ id }) => ({ line: id, lotUnknownBecause: 'from the old drawer' }))
  }
  const toBench = async (ref: string) => {
    await told(ref, 'kits', { ...kit, parts: [...kit.parts, ...(await partsOf(ref))] }, bench)
    return moved(ref, 'on-the-bench', {}, bench)
  }
  const aTest = {
    test: 'overpressure-dry',
    bar: 5,
    seconds: 60,
    settledMinutes: 30,
    leakMicrogramsPerMinute: 9,
    seen: 'passed',
    tool: tools.pressure,
  }
  const waterTest = (ref: string, more: Body = {}) => told(ref, 'water-tests', { ...aTest, ...more }, bench)
  /** Opened, cell and seal fitted, closed, every agreed line done. */
  const worked = async (ref: string, lines: readonly { id: string }[]) => {
    await told(ref, 'openings', { reason: 'cell change' }, bench)
    await told(ref, 'cell-removals', {}, bench)
    await told(
      ref,
      'cell-fittings',
      { designation: 'SR626SW', bestBefore: '2030-06', lotUnknownBecause: 'from the old drawer' },
      bench,
    )
    await told(
      ref,
      'seal-replacements',
      { seals: [{ position: 'case back', material: 'NBR', lotUnknownBecause: 'from the old drawer' }] },
      bench,
    )
    await told(ref, 'closings', {}, bench)
    for (const line of lines) await told(ref, 'operations', { line: line.id, state: 'done' }, bench)
  }
  /** The views of the booking-in, taken again. */
  const viewsAgain = async (ref: string) =>
    told(
      ref,
      'pictures',
      {
        pictures: await Promise.all(views.map(async (view) => ({ id: await picture(checker), view }))),
        stage: 'final-check',
      },
      checker,
    )
  const check = async (ref: string, more: Body = {}) => {
    await viewsAgain(ref)
    return told(
      ref,
      'final-checks',
      { passed: true, functions: true, picturesCompared: true, clean: true, oldPartsBagged: true, ...more },
      checker,
    )
  }
  const release = (ticket: { number: string }, collector: string, serialRead: string | null, more: Body = {}) => ({
    tagNumber: ticket.number,
    serialRead,
    picturesMatch: true,
    collector,
    slip: 'shown',
    ...more,
  })
  /** From the counter to ready: a simple cell change with its test. */
  const readied = async (more: Body = {}) => {
    const ticket = await book(more)
    const estimate = await agreed(ticket.number)
    await toBench(ticket.number)
    await worked(ticket.number, estimate.lines)
    await waterTest(ticket.number)
    await moved(ticket.number, 'final-check', {}, bench)
    await check(ticket.number)
    await moved(ticket.number, 'ready', {}, checker)
    const { serial: serialOn } = (await counter.get(`/v1/watches/${ticket.watchId}`).expect(200)).body
    return { ...ticket, estimate, collector: estimate.ownerName, serialOn: serialOn as string | null }
  }
  const pay = (ref: string, amount: number) => told(ref, 'payments', { amount: eur(amount), how: 'paid' })

  return {
    house,
    counter,
    bench,
    manager,
    stock,
    checker,
    tools,
    benchId,
    set,
    made,
    owner,
    watch,
    picture,
    booking,
    book,
    move,
    moved,
    say,
    told,
    gates,
    usualLines,
    agreed,
    kit,
    toBench,
    aTest,
    waterTest,
    worked,
    check,
    viewsAgain,
    release,
    readied,
    pay,
    close: () => house.close(),
  }
}

export function callerOf(house: House, key: string): Caller {
  const signed = (test: supertest.Test) => test.set('authorization', `Bearer ${key}`)
  return {
    get: (url) => signed(supertest(house.app.server).get(url)),
    post: (url, body, idempotencyKey = `"${randomUUID()}"`) =>
      signed(supertest(house.app.server).post(url)).set('idempotency-key', idempotencyKey).send(body),
    patch: (url, body, etag) => signed(supertest(house.app.server).patch(url)).set('if-match', etag).send(body),
  }
}

let shade = 0
/** A picture that is no other picture: each has its own colour. */
export async function aPicture(): Promise<Buffer> {
  shade += 1
  return sharp({
    create: {
      width: 32,
      height: 24,
      channels: 3,
      background: { r: shade % 256, g: Math.floor(shade / 256) % 256, b: Math.floor(Math.random() * 256) },
    },
  })
    .png()
    .withMetadata({ density: 72 + (shade % 500) })
    .toBuffer()
}

export function upload(
  house: House,
  caller: Caller,
  content: Buffer,
  filename: string,
  contentType = 'image/png',
): supertest.Test {
  const boundary = `----${randomUUID()}`
  const head = Buffer.from(
    `--${boundary}\r\ncontent-disposition: form-data; name="file"; filename="${filename}"\r\ncontent-type: ${contentType}\r\n\r\n`,
  )
  const body = Buffer.concat([head, content, Buffer.from(`\r\n--${boundary}--\r\n`)])
  const key =
    (caller.get('/livez') as unknown as { header: Record<string, string> }).header.authorization ??
    (caller.get('/livez') as unknown as { get: (h: string) => string }).get('authorization')
  return supertest(house.app.server)
    .post('/v1/pictures')
    .set('authorization', key)
    .set('idempotency-key', `"${randomUUID()}"`)
    .set('content-type', `multipart/form-data; boundary=${boundary}`)
    .send(body)
}
