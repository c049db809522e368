import { createRequire } from 'node:module'
import pg from 'pg'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import type { Day } from '../../src/domain/day.ts'
import { defaultHouseRules, houseRuleTable } from '../../src/domain/house-rules.ts'
import { noticeRuleTable } from '../../src/domain/notices/notice-rules.ts'
import { runNight } from '../../src/features/nightly-runs/run.ts'
import { stillAllowed } from '../../src/features/notices/decide-again.ts'
import { openHandingOver } from '../../src/features/notices/handing-over.ts'
import { factsOf } from '../../src/features/obligations/facts.ts'
import { runReReckonings } from '../../src/features/re-reckonings/run.ts'
import { countWatches, nextWatches, type Scope, scopeOf } from '../../src/features/re-reckonings/scope.ts'
import { refreshForecasts } from '../../src/features/stock-summaries/flagging.ts'
import { type Relay, startRelay } from '../faults/delivery/relay.ts'
import { generateCentre } from '../support/generate-centre.ts'
import { type House, openHouse } from '../support/house.ts'

/**
 * The plans of the hot statements on a generated centre: the statements are taken from the service itself while it works,
 * and explained with the values they were sent with; those it names, as they are planned for any values, which is how they
 * run later. On a large table an index must serve wherever one is meant to.
 */
let house: House
let client: pg.Client
let relay: Relay
let picked: {
  open: { id: string; number: string; watchId: string; ownerId: string }
  free: { id: string; ownerId: string }
  noticed: { ownerId: string; watchId: string }
  lot: { id: string; name: string; number: string; supplier: string; place: string }
  bench: { id: string }
}
const TODAY = '2026-11-25' as Day
const [DAY_AFTER, WATCHES] = ['2026-11-26' as Day, 20_000]
const large = [
  'watch',
  'owner',
  'contact',
  'movement',
  'watch_event',
  'wear_statement',
  'ownership',
  'notice_choice',
  'obligation',
  'ticket',
  'ticket_record',
  'custody_move',
  'stock_lot',
  'stock_entry',
  'notice',
  'notice_item',
  'letter',
]

beforeAll(async () => {
  relay = await startRelay()
  house = await openHouse({
    now: TODAY,
    env: {
      SMTP_URL: relay.url,
      LETTERS_FROM: 'Lindholm Watch Service <letters@centre.example>',
      PUBLIC_URL: 'https://watches.centre.example',
    },
  })
  // planned as the service's own connections are
  client = new pg.Client({
    connectionString: house.databaseUrl,
    options: '-c TimeZone=UTC -c jit=off -c random_page_cost=1.1',
  })
  await client.connect()
  await generateCentre(client, { watches: WATCHES, due: 1_000, today: TODAY })
  // a thousand letters, so that theirs are large tables, too
  await runNight(house.service, TODAY)
  await client.query('vacuum analyze')
  picked = {
    open: await one(
      'select id, number, watch_id as "watchId", owner_id as "ownerId" from ticket where ended is null order by id limit 1',
    ),
    free: await one(
      `select w.id, w.owner_id as "ownerId" from watch w join obligation o on o.watch_id = w.id
       where w.kind = 'quartz' and o.kind = 'cell-change' and o.next_notice_on > '2027-06-01' and not w.in_house order by w.id limit 1`,
    ),
    noticed: await one('select owner_id as "ownerId", watch_id as "watchId" from notice_item order by id limit 1'),
    bench: (
      await house
        .as('manager')
        .post('/v1/benches', { name: 'Bench 1', skills: ['quartz', 'three-hand'] })
        .expect(201)
    ).body,
    lot: await one(
      `select l.id, i.name, l.lot_number as number, l.supplier, l.storage_place as place from stock_lot l join stock_item i on i.id = l.item_id
       where i.what = 'cell' and l.good_through > '2029-06-01' and l.shelf > 3 order by l.id limit 1`,
    ),
  }
}, 300_000)
afterAll(async () => {
  await client.end()
  await house.close()
  await relay.close()
})

type Sent = { name: string | undefined; text: string; values: unknown[] }

/** Every statement the service sends while it does something, each text once. */
async function sentBy(work: () => Promise<unknown>): Promise<Sent[]> {
  const sent = new Map<string, Sent>()
  const plain = pg.Client.prototype.query
  const spy = function (this: pg.Client, ...args: unknown[]) {
    const [first, second] = args
    const query = first as { name?: string; text?: string; values?: unknown[] }
    const text = typeof first === 'string' ? first : query.text
    if (text && this !== client && !sent.has(text))
      sent.set(text, {
        name: query.name,
        text,
        values: (query.values ?? (Array.isArray(second) ? second : [])) as unknown[],
      })
    return (plain as (...given: unknown[]) => unknown).apply(this, args)
  }
  pg.Client.prototype.query = spy as typeof plain
  try {
    await work()
  } finally {
    pg.Client.prototype.query = plain
  }
  return [...sent.values()].filter(({ text }) => /^\s*(select|with|update|insert|delete)/i.test(text))
}

type Node = { 'Node Type': string; 'Relation Name'?: string; Plans?: Node[] }

// how pg writes a value for the server
const { prepareValue } = createRequire(import.meta.url)('pg/lib/utils.js') as {
  prepareValue: (value: unknown) => unknown
}
const literal = (value: unknown): string => {
  const written = prepareValue(value)
  if (written === null) return 'null'
  return client.escapeLiteral(Buffer.isBuffer(written) ? `\\x${written.toString('hex')}` : String(written))
}

async function planOf({ name, text, values }: Sent): Promise<Node> {
  await client.query('begin')
  try {
    if (name === undefined) {
      const { rows } = await client.query(`explain (format json) ${text}`, values)
      return rows[0]['QUERY PLAN'][0].Plan
    }
    await client.query('set local plan_cache_mode = force_generic_plan')
    await client.query(`prepare planned as ${text}`)
    const given = values.length > 0 ? `(${values.map(literal).join(', ')})` : ''
    const { rows } = await client.query(`explain (format json) execute planned${given}`)
    return rows[0]['QUERY PLAN'][0].Plan
  } finally {
    await client.query('rollback')
    if (name !== undefined) await client.query('deallocate all')
  }
}

const one = async (text: string, values: unknown[] = []) => (await client.query(text, values)).rows[0]

/** The large tables that the plans of these statements read from end to end, each with the beginning of the statement. */
async function readWhole(sent: readonly Sent[]): Promise<string[]> {
  const found = new Set<string>()
  for (const one of sent) {
    const visit = (node: Node) => {
      if (node['Node Type'].includes('Seq Scan') && large.includes(node['Relation Name'] ?? ''))
        found.add(`${node['Relation Name']}: ${one.text.trim().replace(/\s+/g, ' ').slice(0, 100)}`)
      for (const child of node.Plans ?? []) visit(child)
    }
    visit(await planOf(one))
  }
  return [...found]
}

/** The large tables that are read from end to end while these statements run, inside functions and triggers, too. */
async function readWholeWithin(sent: readonly Sent[]): Promise<string[]> {
  await client.query('begin')
  try {
    for (const { text, values } of sent) await client.query(text, values)
    const { rows } = await client.query<{ name: string }>(
      'select relname as name from pg_stat_xact_user_tables where seq_scan > 0 and relname = any($1) order by 1',
      [large],
    )
    return rows.map((row) => row.name)
  } finally {
    await client.query('rollback')
  }
}

/** A watch and its owner put on file through the doors, among all the generated ones. */
async function oneMore(name: string): Promise<{ id: string; owner: string }> {
  const owner = (await house.as('counter').post('/v1/owners', { name, contacts: [] }).expect(201)).body
  const watch = (
    await house
      .as('counter')
      .post('/v1/watches', { maker: 'Halden', kind: 'quartz', firstSeen: '2020-01-01', ownerId: owner.id })
      .expect(201)
  ).body
  return { id: watch.id, owner: owner.id }
}

const says = (sent: readonly Sent[], words: string) => sent.some(({ text }) => text.includes(words))

describe('an index serves', () => {
  test('the test itself: a statement that reads a whole table is told, named or not, or where a function hides it', async () => {
    const text = 'select count(*) from watch_event where note = $1'
    for (const name of [undefined, 'x'])
      expect(await readWhole([{ name, text, values: ['x'] }])).toEqual([`watch_event: ${text}`])
    expect(await readWholeWithin([{ name: undefined, text, values: ['x'] }])).toEqual(['watch_event'])
  })

  test.each([
    ['an owner by name', () => '/v1/owners?search=ferrabast'],
    ['an owner by mail address', () => '/v1/owners?search=owner77%40ex'],
    ['owners, page by page', () => '/v1/owners?limit=50'],
    ['watches of a maker', () => '/v1/watches?maker=Halden&limit=50'],
    ['watches of a model', () => '/v1/watches?maker=Halden&model=Model%203'],
    ['watches by serial', () => '/v1/watches?serial=G0000123'],
    ['facts of a watch', () => `/v1/watches/${picked.open.watchId}/history`],
    ['story of a watch', () => `/v1/watches/${picked.open.watchId}/story`],
    ['gates of a ticket', () => `/v1/tickets/${picked.open.id}/gates`],
    ['one ticket', () => `/v1/tickets/${picked.open.id}`],
    ['custody of a ticket', () => `/v1/tickets/${picked.open.id}/custody-moves`],
    ['tickets, page by page', () => '/v1/tickets'],
    ['tickets by number', () => `/v1/tickets?number=${picked.open.number}`],
    ['tickets at a step', () => '/v1/tickets?step=on-the-bench'],
    ['tickets on hold', () => '/v1/tickets?side=on-hold'],
    ['tickets of a bag', () => '/v1/tickets?handingIn=01a20000-0000-7000-8000-000000000000'],
    ['tickets of a watch', () => `/v1/tickets?watchId=${picked.open.watchId}`],
    ['tickets of an owner', () => `/v1/tickets?ownerId=${picked.open.ownerId}`],
    ['the work of a bench today', () => '/v1/tickets?nextActor=bench&dueBefore=2026-11-26'],
    ['what somebody has on the bench', () => '/v1/tickets?holder=watchmaker%203'],
    ['what lies in a place', () => '/v1/tickets?place=shelf%203'],
    ['what is due, whoever must act', () => '/v1/tickets?dueBefore=2026-11-26'],
    ['tickets that stand still', () => '/v1/reports/stuck-tickets'],
    ['watches that nobody fetches', () => '/v1/reports/unclaimed-watches'],
    ['when a watch is ready', () => `/v1/tickets/${picked.open.id}/promise`],
    ['promises that break', () => '/v1/reports/promises'],
    ['the next watch of a bench', () => `/v1/benches/${picked.bench.id}/next`],
    ['letters, page by page', () => '/v1/notices'],
    ['letters that failed', () => '/v1/notices?state=failed'],
    ['letters of an owner', () => `/v1/notices?ownerId=${picked.noticed.ownerId}`],
    ['letters about a watch', () => `/v1/notices?watchId=${picked.noticed.watchId}`],
    ['cell lots of a drawer', () => `/v1/cell-lots?place=${encodeURIComponent(picked.lot.place)}`],
    ['cell lots that are blocked', () => '/v1/cell-lots?blocked=true'],
    ['cell lots to be written off', () => '/v1/cell-lots?listed=true'],
    ['entries of a lot', () => `/v1/cell-lots/${picked.lot.id}/entries`],
    ['the sheet of a count', () => '/v1/stock-counts/sheet'],
  ])('%s', async (_title, path) => {
    const sent = await sentBy(() => house.as('manager').get(path()).expect(200))
    expect(sent.length).toBeGreaterThan(0)
    expect(await readWhole(sent)).toEqual([])
  })

  test('an owner put on file, and likely doubles looked for', async () => {
    const contacts = [
      { means: 'e-mail', value: 'philippa@example.org' },
      { means: 'phone', value: '+44 20 7946 0018' },
    ]
    const sent = await sentBy(() =>
      house.as('counter').post('/v1/owners', { name: 'Philippa Wrenfield', contacts }).expect(201),
    )
    expect(says(sent, 'search_value')).toBe(true)
    expect(await readWhole(sent)).toEqual([])
  })

  test('one watch, what it is due for, its story, and its owner', async () => {
    const { id, owner } = await oneMore('Quillon Ferrabast')
    const sent = await sentBy(async () => {
      await house.as('counter').get(`/v1/watches/${id}`).expect(200)
      await house.as('counter').get(`/v1/watches/${id}/obligations`).expect(200)
      await house.as('counter').get(`/v1/watches/${id}/story`).expect(200)
      await house.as('counter').get(`/v1/owners/${owner}`).expect(200)
      await house.as('counter').get(`/v1/watches?ownerId=${owner}`).expect(200)
    })
    expect(sent.length).toBeGreaterThan(4)
    expect(await readWhole(sent)).toEqual([])
  })

  test('a fact recorded and what follows from it', async () => {
    const { id } = await oneMore('Ottoline Marchbanks')
    const sent = await sentBy(() =>
      house
        .as('bench')
        .post(`/v1/watches/${id}/events`, { event: 'complete-service', on: '2026-11-20', source: 'own-record' })
        .expect(201),
    )
    expect(says(sent, 'update obligation')).toBe(true)
    expect(await readWhole(sent)).toEqual([])
  })

  test('a watch and an owner on file booked in, and twins looked for', async () => {
    const { id, ownerId } = picked.free
    const sent = await sentBy(() =>
      house
        .as('counter')
        .post('/v1/tickets', { owner: { id: ownerId }, watch: { id }, complaint: 'it stopped', dial: 'blue' })
        .expect(201),
    )
    expect(says(sent, 'insert into ticket')).toBe(true)
    expect(sent.filter(({ name }) => name !== undefined).length).toBeGreaterThan(1)
    expect(await readWhole(sent)).toEqual([])
  })
})

describe('an index serves what runs by night', () => {
  test('a night with letters behind it and letters to write', async () => {
    let written = 0
    house.setNow(DAY_AFTER)
    const sent = await sentBy(async () => {
      written = (await runNight(house.service, DAY_AFTER))?.letters ?? 0
    })
    house.setNow(TODAY)
    expect(written).toBeGreaterThan(0)
    for (const words of ['insert into notice', 'next_notice_on <=', 'notice_choice'])
      expect(says(sent, words)).toBe(true)
    expect(await readWhole(sent)).toEqual([])
  })

  test('letters claimed, looked at again, marked and done', async () => {
    const letters = openHandingOver(house.service, stillAllowed)
    let told = { sent: 0 }
    const sent = await sentBy(async () => {
      told = await letters.round()
    })
    await letters.close()
    expect(told.sent).toBeGreaterThanOrEqual(1_000)
    // what was just written counts as on file
    await client.query('analyze notice; analyze notice_item; analyze letter')
    expect(sent.map(({ name }) => name)).toEqual(expect.arrayContaining(['letters-claim', 'letters-steps']))
    expect(await readWhole(sent)).toEqual([])
  })

  test('watches that a changed rule touches; where hardly any does, they are looked for once, among all', async () => {
    const ruleKeys = [...Object.keys(houseRuleTable), ...Object.keys(noticeRuleTable)]
    const scopes: Scope[] = [
      ...ruleKeys.map((ruleKey) =>
        scopeOf({ ruleKey, calibreId: null, maker: null, model: null }, TODAY, defaultHouseRules),
      ),
      { of: 'calibre', calibreId: (await one('select calibre_id as id from movement order by id limit 1')).id },
      { of: 'model', maker: 'Halden', model: 'Model 3' },
    ]
    let many = 0
    for (const scope of scopes) {
      const touched = await countWatches(house.database.prisma, scope)
      if (scope.of !== 'calibre' && scope.of !== 'model' && touched < 2_000) continue
      many++
      const sent = await sentBy(() => nextWatches(house.database.prisma, scope, null, 250))
      expect([scope, await readWhole(sent)]).toEqual([scope, []])
    }
    expect(many).toBeGreaterThan(15)
  })

  test('the facts of a page of watches, and a whole re-reckoning after a maker spoke', async () => {
    const { rows } = await client.query<{ id: string }>('select id from watch order by id limit 50')
    const read = await sentBy(() =>
      factsOf(
        house.database.prisma,
        rows.map((row) => row.id),
        TODAY,
      ),
    )
    expect(read).toHaveLength(1)
    expect(await readWhole(read)).toEqual([])
    const calibre = await one(`select id from calibre where energy = 'none' order by id limit 1`)
    await house
      .as('manager')
      .post('/v1/guidance', {
        calibreId: calibre.id,
        obligation: 'complete-service',
        months: 50,
        inForceFrom: TODAY,
        sourcePaper: 'an invented paper',
      })
      .expect(201)
    const sent = await sentBy(() => runReReckonings(house.service, {}))
    expect(says(sent, 'update obligation')).toBe(true)
    // of so few watches a batch is a good part: PostgreSQL 15 then reads the short table of wear whole, others do not
    const whole = await readWhole(sent)
    expect(whole.filter((table) => !table.startsWith('wear_statement:'))).toEqual([])
  })
})

describe('an index serves the stock', () => {
  test('cells issued and fitted', async () => {
    const { name } = picked.lot
    const watchId = picked.free.id
    const bench = house.as('bench')
    let lotId = ''
    const issue = await sentBy(async () => {
      const taken = await bench
        .post('/v1/cell-issues', { watchId, wants: [{ designation: name, pieces: 1 }] })
        .expect(201)
      lotId = taken.body.cells[0].lotId
    })
    expect(await readWhole(issue)).toEqual([])
    const taking = issue.filter(({ text }) => text.includes('issue_stock('))
    expect(taking).toHaveLength(1)
    expect(await readWholeWithin(taking)).toEqual([])
    const fit = await sentBy(() =>
      bench.post('/v1/cell-fittings', { watchId, cells: [{ lotId, pieces: 1 }] }).expect(201),
    )
    expect(says(fit, 'update obligation')).toBe(true)
    expect(await readWhole(fit)).toEqual([])
  })

  test('the ageing of what is on the shelf', async () => {
    await refreshForecasts(house.database, TODAY)
    const sent = await sentBy(() => house.as('manager').get('/v1/reports/cell-ageing').expect(200))
    expect(sent.length).toBeGreaterThan(1)
    expect(await readWhole(sent)).toEqual([])
  })

  test('a recall; only pieces that no record names are looked for among all fittings of their time', async () => {
    const { name, supplier, number } = picked.lot
    const sent = await sentBy(() =>
      house
        .as('manager')
        .post('/v1/recalls', { designation: name, supplier, lotNumber: number, reason: 'leaks' })
        .expect(201),
    )
    const unnamed = sent.filter(({ text }) => text.includes('with span as ('))
    expect(unnamed).toHaveLength(1)
    expect(await readWhole(sent.filter((statement) => !unnamed.includes(statement)))).toEqual([])
  })
})
