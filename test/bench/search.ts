import { randomUUID } from 'node:crypto'
import { pathToFileURL } from 'node:url'
import { buildApp } from '../../src/app.ts'
import { addStaffKey } from '../../src/features/staff-keys/staff-keys.ts'
import { refreshForecasts } from '../../src/features/stock-summaries/flagging.ts'
import { act, type Service } from '../../src/http/service.ts'
import { benchCentre, median, round, sizesToMeasure, TODAY } from '../support/bench-centre.ts'

/**
 * Searches, booking-in and every list of the API over HTTP, and what a watch takes on disk, by the size of the centre. The
 * reach of lists and searches is 20 ms at a million watches; the baseline of each is an answer that asks the database nothing.
 */
export const name = 'search'
const REACH = 20

async function millis(work: () => Promise<unknown>, times = 40): Promise<{ median: number; worst: number }> {
  const taken: number[] = []
  for (let n = 0; n < times; n++) {
    const start = performance.now()
    await work()
    taken.push(performance.now() - start)
  }
  return { median: round(median(taken)), worst: round(Math.max(...taken)) }
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

async function measure(service: Service) {
  const { pool } = service.database
  // as the job keeps them
  await refreshForecasts(service.database, TODAY)
  const { get, post, app } = await listening(service)
  const { rows } = await pool.query<{ id: string; part: string; owner: string; mail: string; ticket: string | null }>(
    `select w.id, right(o.search_name, 9) as part, o.id as owner, c.value as mail, (select id from ticket t where t.watch_id = w.id limit 1) as ticket
     from watch w join owner o on o.id = w.owner_id join contact c on c.owner_id = o.id where not w.in_house order by w.id limit 400`,
  )
  let n = 0
  const next = () => rows[n++ % rows.length] as (typeof rows)[number]
  const asked: Record<string, { median: number; worst: number }> = {
    nothing: await millis(() => get('/livez')),
    'owners by part of a name': await millis(() => get(`/v1/owners?search=${encodeURIComponent(next().part)}`)),
    'owners by mail address': await millis(() => get(`/v1/owners?search=${encodeURIComponent(next().mail)}`)),
    'watches of an owner': await millis(() => get(`/v1/watches?ownerId=${next().owner}`)),
    'watches of a maker': await millis(() => get('/v1/watches?maker=Halden')),
    'one watch with what is due': await millis(() => get(`/v1/watches/${next().id}/obligations`)),
    'gates of a ticket': await millis(() =>
      get(`/v1/tickets/${rows.filter((row) => row.ticket)[n++ % 80]?.ticket}/gates`),
    ),
    'booking in': await millis(() => {
      const { id, owner } = next()
      return post('/v1/tickets', { owner: { id: owner }, watch: { id }, complaint: 'it stopped last week' })
    }, 100),
  }
  const lists: typeof asked = {}
  for (const path of listsOf(app)) lists[path] = await millis(() => get(path), 8)
  await app.close()
  const isReport = (path: string) => path.startsWith('/v1/reports/') || path === '/v1/rehearsals'
  const reports = Object.fromEntries(Object.entries(lists).filter(([path]) => isReport(path)))
  for (const path of Object.keys(reports)) delete lists[path]
  const slow = Object.fromEntries(Object.entries(lists).filter(([, took]) => took.median > REACH))
  return {
    asked,
    reports,
    lists: {
      number: Object.keys(lists).length,
      median: round(median(Object.values(lists).map((took) => took.median))),
      slow,
    },
  }
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

export async function run() {
  for (const watches of sizesToMeasure([10_000, 100_000, 1_000_000])) {
    const centre = await benchCentre(watches)
    try {
      console.log(
        JSON.stringify({
          name,
          watches,
          milliseconds: await measure(centre.service),
          reach: REACH,
          bytesAWatch: await sizes(centre.service, watches),
        }),
      )
    } finally {
      await centre.close()
    }
  }
}

if (import.meta.url === pathToFileURL(process.argv[1] ?? '').href) await run()
