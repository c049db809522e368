import { randomUUID } from 'node:crypto'
import type pg from 'pg'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { type App, buildApp } from '../../src/app.ts'
import type { Database } from '../../src/db/open.ts'
import { runNight } from '../../src/features/nightly-runs/run.ts'
import type { Role, Service } from '../../src/http/service.ts'
import { hashOfToken, linkSecret, pathOf, tokenOf } from '../../src/letters/links.ts'
import { addCalibre, addWatch as addStockWatch, fillShelf } from '../features/stock/shelf.ts'
import { openShop, type Shop } from '../features/tickets/shop.ts'
import { addOwner, quartz, serviced } from '../jobs/book.ts'
import { queueLetter } from '../letters/book.ts'

/**
 * PostgreSQL notes at every row the transaction that wrote it (xmin). So "in the same transaction" can be read off the rows,
 * where "both are there" proves nothing: fact, obligation, letter and whatever else one act writes must carry one number.
 * The same acts are then done by a build that was broken on purpose, in which each statement is a transaction of its own,
 * and there the oracle must see red; else it would see nothing here either.
 */
let shop: Shop
let broken: App
let brokenService: Service
let calibre: string
beforeAll(async () => {
  shop = await openShop()
  await fillShelf(shop.house)
  calibre = await addCalibre(shop.house, 'Q 10', 'SR626SW')
  brokenService = { ...shop.house.service, database: split(shop.house.database) }
  broken = await buildApp(brokenService)
})
afterAll(async () => {
  await broken.close()
  await shop.close()
})

/** A database whose transactions are none: everything else is as it is. */
function split(database: Database): Database {
  const alone = (client: pg.PoolClient) =>
    new Proxy(client, {
      get: (target, name) => {
        const found = Reflect.get(target, name)
        if (name !== 'query') return typeof found === 'function' ? found.bind(target) : found
        return (first: unknown, ...rest: unknown[]) =>
          typeof first === 'string' && /^(begin|commit|rollback)\b/i.test(first)
            ? Promise.resolve({ rows: [], rowCount: 0 })
            : (target.query as (...all: unknown[]) => unknown)(first, ...rest)
      },
    })
  const pool = new Proxy(database.pool, {
    get: (target, name) => {
      if (name === 'connect') return async () => alone(await target.connect())
      const found = Reflect.get(target, name)
      return typeof found === 'function' ? found.bind(target) : found
    },
  })
  const prisma = new Proxy(database.prisma, {
    get: (target, name) =>
      name === '$transaction' ? (work: (tx: unknown) => unknown) => work(target) : Reflect.get(target, name),
  })
  return { ...database, pool, prisma }
}

const sql = async <T extends object>(text: string, values: unknown[] = []) =>
  (await shop.house.database.pool.query<T>(text, values)).rows

/** By transaction, the tables in which rows stand that were written since the mark. */
async function writtenSince(mark: string): Promise<Map<string, string[]>> {
  const tables = await sql<{ t: string }>(
    `select quote_ident(tablename) as t from pg_tables where schemaname = 'public'`,
  )
  const parts = tables.map(
    ({ t }) => `select distinct xmin::text as x, '${t}' as t from ${t} where xmin::text::bigint >= $1`,
  )
  const found = new Map<string, string[]>()
  for (const { x, t } of await sql<{ x: string; t: string }>(`${parts.join(' union all ')} order by t`, [mark]))
    found.set(x, [...(found.get(x) ?? []), t])
  return found
}
const mark = async () =>
  (await sql<{ x: string }>('select pg_snapshot_xmax(pg_current_snapshot())::text as x'))[0]?.x ?? ''

type Done = { status: number; body: string }
type Act = (on: { app: App; service: Service }) => Promise<Done>

async function send(app: App, role: Role, method: 'POST' | 'PATCH', url: string, body: object): Promise<Done> {
  const { house } = shop
  const answer = await app.inject({
    method,
    url,
    payload: body,
    headers: { authorization: `Bearer ${house.keys[role]}`, 'idempotency-key': `"${randomUUID()}"`, 'if-match': '*' },
  })
  return { status: answer.statusCode, body: answer.body }
}
const by =
  (role: Role, url: string, body: object, method: 'POST' | 'PATCH' = 'POST'): Act =>
  ({ app }) =>
    send(app, role, method, url, body)

/** An owner's watch, a letter that waits, and the token of the link in it. */
async function written() {
  const ownerId = await addOwner(shop.house)
  const watchId = await quartz(shop.house, ownerId, '2024-12-10')
  const noticeId = await queueLetter(shop.house, ownerId, watchId)
  const { config } = shop.house.service
  const token = tokenOf(linkSecret(config.linkSecret, config.dataFolder), 'answer', noticeId)
  await sql(`insert into owner_link (token_hash, purpose, owner_id, notice_id) values ($1, 'answer', $2, $3)`, [
    hashOfToken(token),
    ownerId,
    noticeId,
  ])
  return { ownerId, watchId, noticeId, token }
}
const onPage =
  (token: string, fields: Record<string, string>): Act =>
  async ({ app }) => {
    const answer = await app.inject({
      method: 'POST',
      url: `${pathOf.answer}/${token}`,
      payload: new URLSearchParams(fields).toString(),
      headers: { 'content-type': 'application/x-www-form-urlencoded' },
    })
    return { status: answer.statusCode, body: answer.body }
  }
const atTheBench = async () => {
  const ticket = await shop.book()
  await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  return ticket
}
const issuedCell = async () => {
  const watchId = await addStockWatch(shop.house, randomUUID(), calibre)
  const made = await shop.bench.post('/v1/cell-issues', { watchId })
  expect(made.status, JSON.stringify(made.body)).toBe(201)
  return { watchId, lotId: made.body.cells[0].lotId as string }
}

/** Every way in which something is written: what comes before, the act itself, and what it must write in one transaction. */
const paths: { title: string; prepare: () => Promise<Act>; writes: string[]; among?: string[] }[] = [
  {
    title: 'a sign told at the counter: fact, dates, the task to call',
    prepare: async () => {
      const { watchId } = await written()
      const sign = { event: 'sign', sign: 'cell-leaking', on: '2026-11-25', source: 'owner-word' }
      return by('counter', `/v1/watches/${watchId}/events`, sign)
    },
    writes: ['watch_event', 'obligation', 'task', 'idempotency_key'],
  },
  {
    title: 'a cell fitted elsewhere',
    prepare: async () => {
      const { watchId } = await written()
      const fitted = { event: 'cell-fitted', on: '2026-11-20', source: 'paper' }
      return by('bench', `/v1/watches/${watchId}/events`, fitted)
    },
    writes: ['watch_event', 'obligation', 'idempotency_key'],
  },
  {
    title: 'a fact struck',
    prepare: async () => {
      const { watchId } = await written()
      const [fact] = await sql<{ id: string }>(
        `select id from watch_event where watch_id = $1 and event = 'cell-fitted'`,
        [watchId],
      )
      return by('manager', `/v1/watches/${watchId}/strikes`, { factId: fact?.id, reason: 'another watch' })
    },
    writes: ['strike', 'obligation'],
  },
  {
    title: 'a book brought in',
    prepare: async () => {
      const owners = [
        { ref: 'a', name: 'Brought In', contacts: [{ means: 'e-mail', value: `${randomUUID()}@example.org` }] },
      ]
      const events = [{ event: 'complete-service', on: '2022-01-20', source: 'paper', learned: '2022-01-20' }]
      const watches = [{ ref: 'w', owner: 'a', maker: 'Halden', kind: 'hand-wound', firstSeen: '2019-01-01', events }]
      return by('manager', '/v1/imports', { owners, watches })
    },
    writes: ['owner', 'contact', 'watch', 'ownership', 'watch_event', 'obligation'],
  },
  {
    title: 'a watch booked in, everything new',
    prepare: async () => {
      const owner = { new: { name: `New ${randomUUID()}` } }
      const watch = { new: { maker: 'Halden', kind: 'quartz', serial: randomUUID() } }
      return by('counter', '/v1/tickets', { owner, watch, complaint: 'stopped', place: 'counter' })
    },
    writes: ['owner', 'watch', 'obligation', 'ticket', 'ticket_record', 'custody_move'],
  },
  {
    title: 'a watch on file booked in, over the plain connection',
    prepare: async () => {
      const { ownerId, watchId } = await written()
      const body = { owner: { id: ownerId }, watch: { id: watchId }, complaint: 'stopped', place: 'counter' }
      return by('counter', '/v1/tickets', body)
    },
    writes: ['watch', 'ticket', 'ticket_record', 'custody_move', 'idempotency_key'],
  },
  {
    title: 'work at the bench: the case opened',
    prepare: async () => {
      const ticket = await atTheBench()
      return by('bench', `/v1/tickets/${ticket.number}/openings`, { reason: 'cell change' })
    },
    writes: ['ticket_record', 'watch_event', 'obligation'],
  },
  {
    title: 'a watch handed over: move, guarantee, custody, dates',
    prepare: async () => {
      const ticket = await shop.readied({ dial: randomUUID() })
      await shop.pay(ticket.number, ticket.estimate.total)
      const release = shop.release(ticket, ticket.collector, ticket.serialOn, { twinAnswer: 'compared with its twin' })
      return by('counter', `/v1/tickets/${ticket.number}/moves`, { to: 'handed-over', release })
    },
    writes: ['ticket', 'ticket_record', 'guarantee', 'custody_move', 'watch'],
  },
  {
    title: 'a cell issued',
    prepare: async () =>
      by('bench', '/v1/cell-issues', { watchId: await addStockWatch(shop.house, randomUUID(), calibre) }),
    writes: ['stock_entry', 'stock_lot'],
  },
  {
    title: 'a cell fitted: entry, lot, fact, dates',
    prepare: async () => {
      const { watchId, lotId } = await issuedCell()
      return by('bench', '/v1/cell-fittings', { watchId, cells: [{ lotId, pieces: 1 }] })
    },
    writes: ['stock_entry', 'stock_lot', 'watch_event', 'obligation'],
  },
  {
    title: 'an owner’s page: sold; the watch changes hands, and the letter that waits does not go',
    prepare: async () => {
      const { watchId, token } = await written()
      return onPage(token, { do: 'sold', watch: watchId })
    },
    writes: ['owner_answer', 'ownership', 'watch', 'notice', 'notice_item'],
  },
  {
    title: 'an owner’s page: done elsewhere; fact, dates, and the letter that waits',
    prepare: async () => {
      const { watchId, token } = await written()
      return onPage(token, { do: 'done-elsewhere', watch: watchId, kind: 'cell-change', day: '2026-11-01' })
    },
    writes: ['owner_answer', 'watch_event', 'obligation', 'notice', 'notice_item'],
  },
  {
    title: 'an owner died: letters stop',
    prepare: async () => by('counter', `/v1/owners/${(await written()).ownerId}/deceased`, { toldBy: 'the heirs' }),
    writes: ['owner', 'edit', 'notice', 'notice_item'],
  },
  {
    title: 'two records merged',
    prepare: async () => {
      const { ownerId } = await written()
      return by('manager', `/v1/owners/${ownerId}/merge`, { into: await addOwner(shop.house) })
    },
    writes: ['owner', 'edit', 'notice', 'notice_item'],
  },
  {
    title: 'a person erased: name, ways to reach them, letters, history',
    prepare: async () => by('manager', `/v1/owners/${(await written()).ownerId}/erasures`, { how: 'by letter' }),
    writes: ['erasure', 'owner', 'contact', 'notice', 'notice_item', 'notice_choice', 'suppressed_address', 'task'],
  },
  {
    title: 'a night: letter, its keys, and the next look',
    prepare: async () => {
      const owner = await addOwner(shop.house)
      await serviced(shop.house, owner, '2022-01-20')
      // each time another night, so that it is to be run
      const [last] = await sql<{ on: string }>(
        `select (coalesce(max(local_date), '2026-11-25') + 1)::text as on from nightly_run`,
      )
      return async ({ service }) => {
        const counts = await runNight(service, last?.on as never)
        return { status: (counts?.letters ?? 0) > 0 ? 200 : 500, body: JSON.stringify(counts) }
      }
    },
    writes: ['notice', 'notice_item', 'obligation'],
    // its own row is claimed before and finished after
    among: ['notice', 'notice_item', 'obligation'],
  },
]

async function actsOf({ prepare, among }: (typeof paths)[number], on: { app: App; service: Service }) {
  const act = await prepare()
  const before = await mark()
  const done = await act(on)
  const all = await writtenSince(before)
  const found = [...all.values()]
    .map((tables) => (among ? tables.filter((table) => among.includes(table)) : tables))
    .filter((tables) => tables.length > 0)
  return { done, found }
}

describe('all that an act writes is written by one transaction', () => {
  test.each(paths)('$title', async (path) => {
    const { done, found } = await actsOf(path, { app: shop.house.app, service: shop.house.service })
    expect([200, 201], done.body).toContain(done.status)
    expect(found).toHaveLength(1)
    expect(found[0]).toEqual(expect.arrayContaining(path.writes))
  })
})

describe('and the oracle sees red where it is not', () => {
  test.each(paths)('$title', async (path) => {
    const { found } = await actsOf(path, { app: broken, service: brokenService })
    expect(found.length, JSON.stringify(found)).toBeGreaterThan(1)
  })
})
