import { randomUUID } from 'node:crypto'
import { buildApp } from '../../src/app.ts'
import { runNight } from '../../src/features/nightly-runs/run.ts'
import { addStaffKey } from '../../src/features/staff-keys/staff-keys.ts'
import { refreshForecasts } from '../../src/features/stock-summaries/flagging.ts'
import { act, type Service } from '../../src/http/service.ts'
import { eachSize, median, numberAsked, sizesAsked, tell } from '../support/bench.ts'
import { benchCentre, TODAY } from '../support/bench-centre.ts'

/**
 * Searches, booking-in, every list and every report of the API over HTTP, one after another, and what a watch takes on disk,
 * by the size of the centre. The baseline of each is an answer of the same service that asks the database nothing.
 */
const REACH = { atMost: 20 }
const ROUNDS = numberAsked('rounds', 5, 2)

/** The middle of so many questions. */
async function millis(work: () => Promise<unknown>, times: number): Promise<number> {
  const taken: number[] = []
  for (let n = 0; n < times; n++) {
    const start = performance.now()
    await work()
    taken.push(performance.now() - start)
  }
  return median(taken)
}

/** The service as it listens, asked by a manager's and a counter's key. */
async function listening(service: Service) {
  const app = await buildApp(service)
  const address = await app.listen({ host: '127.0.0.1', port: 0 })
  const keyOf = async (role: 'manager' | 'counter') => {
    const made = await act(service, { keyId: null, name: 'bench', role: 'service' }, (doing) =>
      addStaffKey(doing, { name: `bench ${role} ${randomUUID()}`, role }),
    )
    return `Bearer ${(made.body as { key: string }).key}`
  }
  const [manager, counter] = [await keyOf('manager'), await keyOf('counter')]
  let asked = 0
  // the limits of requests count by address; a house has many counters
  const from = () => `10.9.${Math.floor(asked / 200) % 200}.${asked++ % 200}`
  const get = async (path: string) => {
    const response = await fetch(`${address}${path}`, {
      headers: { authorization: manager, 'x-forwarded-for': from() },
    })
    if (!response.ok) throw new Error(`${path}: ${response.status} ${await response.text()}`)
    return response.text()
  }
  const post = async (path: string, body: unknown) => {
    const response = await fetch(`${address}${path}`, {
      method: 'POST',
      headers: {
        authorization: counter,
        'content-type': 'application/json',
        'idempotency-key': `"${randomUUID()}"`,
        'x-forwarded-for': from(),
      },
      body: JSON.stringify(body),
    })
    if (!response.ok) throw new Error(`${path}: ${response.status} ${await response.text()}`)
    return response.text()
  }
  return { get, post, app }
}

/** Every list of the API as its own description tells it, with nothing asked but the first page. */
function listsOf(app: Awaited<ReturnType<typeof buildApp>>): string[] {
  const paths = app.swagger().paths ?? {}
  return Object.entries(paths)
    .filter(([path, item]) => path.startsWith('/v1/') && !path.includes('{') && item && 'get' in item)
    .filter(([, item]) => {
      const parameters = (item as { get: { parameters?: { required?: boolean }[] } }).get.parameters ?? []
      return parameters.every((parameter) => !parameter.required)
    })
    .map(([path]) => path)
}

type Known = { id: string; serial: string; model: string; part: string; owner: string; mail: string }

async function measure(service: Service, watches: number): Promise<void> {
  const { pool } = service.database
  // as the jobs keep them: forecasts of demand, and the letters of last night
  await refreshForecasts(service.database, TODAY)
  await runNight(service, TODAY)
  await pool.query('analyze')
  const { get, post, app } = await listening(service)
  const { rows } = await pool.query<Known>(
    `select w.id, w.serial, w.model, right(o.search_name, 9) as part, o.id as owner, c.value as mail
     from watch w join owner o on o.id = w.owner_id join contact c on c.owner_id = o.id
     where not w.in_house and w.serial is not null order by w.id limit 400`,
  )
  const tickets = (
    await pool.query<{ id: string; number: string; watch_id: string; owner_id: string }>(
      'select id, number, watch_id, owner_id from ticket order by id limit 400',
    )
  ).rows
  const letters = (
    await pool.query<{ owner_id: string; watch_id: string }>(
      'select owner_id, watch_id from notice_item order by id limit 400',
    )
  ).rows
  const lots = (
    await pool.query<{ id: string; name: string; place: string }>(
      `select l.id, i.name, l.storage_place as place from stock_lot l join stock_item i on i.id = l.item_id where i.what = 'cell' order by l.id limit 400`,
    )
  ).rows
  let n = 0
  const of = <T>(list: readonly T[]): T => list[n++ % list.length] as T
  const asking = (path: () => string) => () => get(path())

  const figure = async (group: string, work: string, ask: () => Promise<unknown>, times: number, judged = true) => {
    const [nothing, ours]: [number[], number[]] = [[], []]
    await ask()
    for (let round = 0; round < ROUNDS; round++) {
      nothing.push(await millis(() => get('/livez'), times))
      ours.push(await millis(ask, times))
    }
    const reach = judged ? { reach: REACH, promisedAt: 1_000_000 } : {}
    tell({ group, work, unit: 'ms', size: watches, baseline: nothing, ours, ...reach })
  }

  const searches: Record<string, () => string> = {
    'owners by part of a name': () => `/v1/owners?search=${encodeURIComponent(of(rows).part)}`,
    'owners by mail address': () => `/v1/owners?search=${encodeURIComponent(of(rows).mail)}`,
    'watches of an owner': () => `/v1/watches?ownerId=${of(rows).owner}`,
    'watches of a maker': () => '/v1/watches?maker=Halden',
    'watches of a model': () => `/v1/watches?maker=Halden&model=${encodeURIComponent(of(rows).model)}`,
    'watches by serial': () => `/v1/watches?serial=${encodeURIComponent(of(rows).serial)}`,
    'one watch': () => `/v1/watches/${of(rows).id}`,
    'what a watch is due for': () => `/v1/watches/${of(rows).id}/obligations`,
    'facts of a watch': () => `/v1/watches/${of(rows).id}/history`,
    'story of a watch': () => `/v1/watches/${of(tickets).watch_id}/story`,
    'one ticket': () => `/v1/tickets/${of(tickets).id}`,
    'gates of a ticket': () => `/v1/tickets/${of(tickets).id}/gates`,
    'custody of a ticket': () => `/v1/tickets/${of(tickets).id}/custody-moves`,
    'tickets by number': () => `/v1/tickets?number=${of(tickets).number}`,
    'tickets of a watch': () => `/v1/tickets?watchId=${of(tickets).watch_id}`,
    'tickets of an owner': () => `/v1/tickets?ownerId=${of(tickets).owner_id}`,
    'tickets at a step': () => '/v1/tickets?step=on-the-bench',
    'tickets that ended': () => '/v1/tickets?open=false',
    'tickets on hold': () => '/v1/tickets?side=on-hold',
    'tickets at a place': () => '/v1/tickets?place=shelf%203',
    'the work of a bench today': () => `/v1/tickets?nextActor=bench&dueBefore=${TODAY}`,
    'what somebody has on the bench': () => '/v1/tickets?holder=watchmaker%203',
    'letters that are queued': () => '/v1/notices?state=queued',
    'letters that failed': () => '/v1/notices?state=failed',
    'letters of a night': () => `/v1/notices?from=${TODAY}&to=${TODAY}`,
    'letters of an owner': () => `/v1/notices?ownerId=${of(letters).owner_id}`,
    'letters about a watch': () => `/v1/notices?watchId=${of(letters).watch_id}`,
    'tasks of a watch': () => `/v1/tasks?watchId=${of(rows).id}`,
    'cell lots of a designation': () => `/v1/cell-lots?designation=${of(lots).name}`,
    'cell lots on the shelf': () => '/v1/cell-lots?onShelf=true',
    'cell lots at a place': () => `/v1/cell-lots?place=${encodeURIComponent(of(lots).place)}`,
    'one cell lot': () => `/v1/cell-lots/${of(lots).id}`,
    'stock entries of a lot': () => `/v1/cell-lots/${of(lots).id}/entries`,
  }
  for (const [work, path] of Object.entries(searches)) await figure('searches', work, asking(path), 8)
  await figure(
    'searches',
    'booking in, one after another',
    () => {
      const { id, owner } = of(rows)
      return post('/v1/tickets', { owner: { id: owner }, watch: { id }, complaint: 'it stopped last week' })
    },
    20,
    false,
  )
  const isReport = (path: string) => path.startsWith('/v1/reports/') || path === '/v1/rehearsals'
  for (const path of listsOf(app).filter((one) => !isReport(one)))
    await figure(
      'lists, the first page',
      path,
      asking(() => path),
      4,
    )
  const reports = [
    ...listsOf(app).filter(isReport),
    `/v1/reports/cell-outlook?designation=${lots[0]?.name}`,
    `/v1/reports/comebacks?from=2026-01-01&to=${TODAY}`,
    `/v1/notices/outcomes?from=2026-01-01&to=${TODAY}`,
  ]
  for (const path of reports)
    await figure(
      'reports',
      path,
      asking(() => path),
      1,
      false,
    )
  await app.close()
}

/** Bytes a watch, of the tables with their indexes and apart. */
async function sizes({ database: { pool } }: Service, watches: number) {
  const { rows } = await pool.query<{ table: string; bytes: number; indexes: number }>(
    `select relname as table, pg_table_size(oid) as bytes, pg_indexes_size(oid) as indexes from pg_class
     where relkind = 'r' and relnamespace = 'public'::regnamespace and pg_total_relation_size(oid) > 200000 order by pg_total_relation_size(oid) desc`,
  )
  return Object.fromEntries(
    rows.map((row) => [
      row.table,
      { table: Math.round(row.bytes / watches), indexes: Math.round(row.indexes / watches) },
    ]),
  )
}

await eachSize(import.meta.url, sizesAsked([10_000, 100_000, 1_000_000], [2000]), async (watches) => {
  const centre = await benchCentre(watches)
  try {
    // before anything is written
    const tables = await sizes(centre.service, watches)
    const bytes = Object.values(tables).reduce((sum, one) => sum + one.table + one.indexes, 0)
    tell({
      group: 'disk',
      work: 'a watch with all that belongs to it',
      unit: 'bytes',
      size: watches,
      ours: [bytes],
      more: tables,
    })
    await measure(centre.service, watches)
  } finally {
    await centre.close()
  }
})
