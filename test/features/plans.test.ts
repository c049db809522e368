import pg from 'pg'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import type { Day } from '../../src/domain/day.ts'
import { generateCentre } from '../support/generate-centre.ts'
import { type House, openHouse } from '../support/house.ts'

/**
 * The plans of the hot statements on a generated centre: the statements are taken from the service itself while it answers,
 * and explained with the values they were sent with. On a large table an index must serve wherever one is meant to.
 */
let house: House
let client: pg.Client
const TODAY = '2026-11-25' as Day
const large = [
  'watch',
  'owner',
  'contact',
  'watch_event',
  'wear_statement',
  'ownership',
  'notice_choice',
  'obligation',
  'ticket',
]

beforeAll(async () => {
  house = await openHouse({ now: TODAY })
  client = new pg.Client({ connectionString: house.databaseUrl, options: '-c TimeZone=UTC' })
  await client.connect()
  await generateCentre(client, { watches: 30_000, due: 100, today: TODAY })
  // not everything that is in the house lies in one place, with one person
  await client.query(
    `update ticket set place = 'shelf ' || number::bigint % 7, holder = 'watchmaker ' || number::bigint % 5 where ended is null and number !~ 'X'`,
  )
  await client.query('vacuum analyze')
})
afterAll(async () => {
  await client.end()
  await house.close()
})

type Sent = { text: string; values: unknown[] }

/** Every statement the service sends while it does something. */
async function sentBy(work: () => Promise<unknown>): Promise<Sent[]> {
  const sent: Sent[] = []
  const plain = pg.Client.prototype.query
  const spy = function (this: pg.Client, ...args: unknown[]) {
    const [first, second] = args
    const query = first as { text?: string; values?: unknown[] }
    const text = typeof first === 'string' ? first : query.text
    if (text && this !== client)
      sent.push({ text, values: (query.values ?? (Array.isArray(second) ? second : [])) as unknown[] })
    return (plain as (...given: unknown[]) => unknown).apply(this, args)
  }
  pg.Client.prototype.query = spy as typeof plain
  try {
    await work()
  } finally {
    pg.Client.prototype.query = plain
  }
  return sent
}

type Node = { 'Node Type': string; 'Relation Name'?: string; Plans?: Node[] }

/** The large tables that the plans of these statements read from end to end. */
async function readWhole(sent: readonly Sent[]): Promise<string[]> {
  const found = new Set<string>()
  const visit = (node: Node) => {
    if (node['Node Type'].includes('Seq Scan') && large.includes(node['Relation Name'] ?? ''))
      found.add(node['Relation Name'] as string)
    for (const child of node.Plans ?? []) visit(child)
  }
  for (const { text, values } of sent) {
    if (!/^\s*(select|with|update|insert|delete)/i.test(text)) continue
    await client.query('begin')
    const { rows } = await client.query(`explain (format json) ${text}`, values)
    await client.query('rollback')
    visit(rows[0]['QUERY PLAN'][0].Plan)
  }
  return [...found]
}

/** A watch and its owner put on file through the doors, among all the generated ones. */
async function oneMore(): Promise<{ id: string; owner: string }> {
  const owner = (await house.as('counter').post('/v1/owners', { name: 'Quillon Ferrabast', contacts: [] }).expect(201))
    .body
  const watch = (
    await house
      .as('counter')
      .post('/v1/watches', { maker: 'Halden', kind: 'quartz', firstSeen: '2020-01-01', ownerId: owner.id })
      .expect(201)
  ).body
  return { id: watch.id, owner: owner.id }
}

describe('an index serves', () => {
  test('the test itself: a statement that reads a whole table is told', async () => {
    expect(await readWhole([{ text: 'select count(*) from watch_event where note = $1', values: ['x'] }])).toEqual([
      'watch_event',
    ])
  })

  test.each([
    ['an owner by name', () => '/v1/owners?search=ferrabast'],
    ['an owner by mail address', () => '/v1/owners?search=owner77%40ex'],
    ['owners, page by page', () => '/v1/owners?limit=50'],
    ['watches of a maker', () => '/v1/watches?maker=Halden&limit=50'],
    ['watches by serial', () => '/v1/watches?serial=AB12'],
    ['the work of a bench today', () => '/v1/tickets?nextActor=bench&dueBefore=2026-11-26'],
    ['what somebody has on the bench', () => '/v1/tickets?holder=watchmaker%203'],
    ['what lies in a place', () => '/v1/tickets?place=shelf%203'],
    ['what is due, whoever must act', () => '/v1/tickets?dueBefore=2026-11-26'],
  ])('%s', async (_title, path) => {
    expect(await readWhole(await sentBy(() => house.as('counter').get(path()).expect(200)))).toEqual([])
  })

  test('one watch, what it is due for, its story, and its owner', async () => {
    const { id, owner } = await oneMore()
    const sent = await sentBy(async () => {
      await house.as('counter').get(`/v1/watches/${id}`).expect(200)
      await house.as('counter').get(`/v1/watches/${id}/obligations`).expect(200)
      await house.as('counter').get(`/v1/owners/${owner}`).expect(200)
      await house.as('counter').get(`/v1/watches?ownerId=${owner}`).expect(200)
    })
    expect(sent.length).toBeGreaterThan(4)
    expect(await readWhole(sent)).toEqual([])
  })

  test('a fact recorded and what follows from it', async () => {
    const { id } = await oneMore()
    const sent = await sentBy(() =>
      house
        .as('bench')
        .post(`/v1/watches/${id}/events`, { event: 'complete-service', on: '2026-11-20', source: 'own-record' })
        .expect(201),
    )
    expect(sent.some(({ text }) => text.includes('update obligation'))).toBe(true)
    expect(await readWhole(sent)).toEqual([])
  })
})
