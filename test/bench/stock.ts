import { randomUUID } from 'node:crypto'
import { mkdtemp, readFile, rm } from 'node:fs/promises'
import os from 'node:os'
import path from 'node:path'
import { pathToFileURL } from 'node:url'
import pg from 'pg'
import { buildApp } from '../../src/app.ts'
import { readConfig } from '../../src/config.ts'
import { startEmbedded } from '../../src/db/embedded.ts'
import { migrate } from '../../src/db/migrate.ts'
import { type Database, openDatabase } from '../../src/db/open.ts'
import { addMonths, type Day } from '../../src/domain/day.ts'
import type { Ageing } from '../../src/features/reports/cell-ageing.ts'
import { addStaffKey } from '../../src/features/staff-keys/staff-keys.ts'
import { firstToExpire, type RunSql } from '../../src/features/stock-entries/issue.ts'
import { refreshForecasts } from '../../src/features/stock-summaries/flagging.ts'
import { act, type Service } from '../../src/http/service.ts'
import { makeLog } from '../../src/log.ts'

/**
 * The stock against bare SQL, in one run on one server with fsync on:
 * - cells issued first to expire first by 16 clients, against "lock the parent row, read the lots in order, update, insert";
 * - the ageing report over HTTP for 100,000 lots on the shelf and 5,000,000 entries, against one hand-written statement
 *   that gives the same figures.
 */
const TODAY = '2026-12-01' as Day
const CLIENTS = 16
const median = (values: number[]) => [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)] as number

async function inParallel(total: number, one: (client: number) => Promise<void>): Promise<number> {
  let left = total
  const start = performance.now()
  await Promise.all(
    Array.from({ length: CLIENTS }, async (_, client) => {
      while (left-- > 0) await one(client)
    }),
  )
  return (total / (performance.now() - start)) * 1000
}

// ------------------------------------------------------------------ issuing

const ITEMS = 4
const LOTS_EACH = 100

/** Four items with 100 lots each, pieces enough for everything that is measured here. */
async function fillForIssue(pool: pg.Pool, piecesEach: number): Promise<string[]> {
  const { rows } = await pool.query<{ id: string }>(
    `insert into stock_item (what, name, written, chemistry, drain, created_by)
     select 'cell', 'BENCH' || n, 'BENCH' || n, 'silver-oxide', 'low', 'bench' from generate_series(1, $1::int) n returning id`,
    [ITEMS],
  )
  const items = rows.map((row) => row.id)
  await pool.query(
    `insert into stock_lot (item_id, good_through, good_through_from, received_on, unit_cost, currency, supplier, storage_place, created_by)
     select i, date '2029-06-01' + n, 'day', date '2026-06-01', 92, 'EUR', 'bench', 'bench', 'bench'
     from unnest($1::uuid[]) i, generate_series(1, $2::int) n`,
    [items, LOTS_EACH],
  )
  await pool.query(
    `insert into stock_entry (lot_id, kind, pieces, happened_on, recorded_by) select id, 'received', $2, date '2026-06-01', 'bench' from stock_lot where item_id = any($1)`,
    [items, piecesEach],
  )
  await pool.query('create schema bare')
  await pool.query('create table bare.item (id int primary key)')
  await pool.query(
    'create table bare.lot (id int primary key, item_id int not null references bare.item, expires date not null, qty int not null check (qty >= 0))',
  )
  await pool.query('create index on bare.lot (item_id, expires, id) where qty > 0')
  await pool.query(
    'create table bare.issue (id bigserial primary key, lot_id int not null references bare.lot, qty int not null, at timestamptz not null default now())',
  )
  await pool.query('insert into bare.item select generate_series(1, $1::int)', [ITEMS])
  await pool.query(
    `insert into bare.lot select (i - 1) * $2::int + n, i, date '2029-06-01' + n, $3 from generate_series(1, $1::int) i, generate_series(1, $2::int) n`,
    [ITEMS, LOTS_EACH, piecesEach],
  )
  await pool.query('vacuum analyze')
  return items
}

const prepared = (client: pg.Client, name: string, text: string, values: unknown[] = []) =>
  client.query({ name, text, values })

async function bareIssue(client: pg.Client, item: number): Promise<void> {
  await prepared(client, 'begin', 'begin')
  await prepared(client, 'lock', 'select 1 from bare.item where id = $1 for no key update', [item])
  const { rows } = await prepared(
    client,
    'lots',
    `select id from bare.lot where item_id = $1 and qty >= 1 and expires >= $2 order by expires, id limit 1`,
    [item, TODAY],
  )
  await prepared(client, 'take', 'update bare.lot set qty = qty - 1 where id = $1', [rows[0].id])
  await prepared(client, 'write', 'insert into bare.issue (lot_id, qty) values ($1, 1)', [rows[0].id])
  await prepared(client, 'commit', 'commit')
}

async function issuing(url: string, database: Database): Promise<void> {
  const rounds = 5
  const each = Number(process.env.BENCH_ISSUES ?? 8_000)
  const checked = Number(process.env.BENCH_CHECKED ?? 100_000)
  const items = await fillForIssue(database.pool, Math.ceil((rounds * each * 2 + checked) / (ITEMS * LOTS_EACH)) * 2)
  const clients = await Promise.all(
    Array.from({ length: CLIENTS }, async () => {
      const client = new pg.Client({ connectionString: url })
      // a server that stops under an idle client is told by the next statement
      client.on('error', () => {})
      await client.connect()
      return client
    }),
  )
  const issue = async (client: pg.Client, itemId: string) => {
    const run: RunSql = async (text, values) => (await prepared(client, 'issue', text, [...values])).rows
    const rows = await firstToExpire(run, {
      kind: 'issued',
      what: 'cell',
      wants: [{ itemId, pieces: 1 }],
      on: TODAY,
      by: 'bench',
      intervalMonths: 24,
      rules: { guardMonths: 3, shortestMonths: 12 },
      shortLifeBy: null,
    })
    if (!rows[0]?.entry_id) throw new Error('nothing was issued')
  }
  let n = 0
  const ratios: number[] = []
  const [bares, ours]: [number[], number[]] = [[], []]
  for (let round = 0; round < rounds; round++) {
    const bare = await inParallel(each, (client) => bareIssue(clients[client] as pg.Client, (n++ % ITEMS) + 1))
    const own = await inParallel(each, (client) => issue(clients[client] as pg.Client, items[n++ % ITEMS] as string))
    bares.push(bare)
    ours.push(own)
    ratios.push(own / bare)
  }
  console.log(
    `issues, ${CLIENTS} clients: bare locked SQL ${median(bares).toFixed(0)}/s, first to expire first ${median(ours).toFixed(0)}/s, ratio ${median(ratios).toFixed(2)} (reach ≥ 0.7; rounds ${ratios.map((r) => r.toFixed(2)).join(' ')})`,
  )

  // The order is watched inside the lock: a sequence drawn by a trigger, so this run is not among those that are timed.
  await database.pool.query('create table bare.seen (n bigserial primary key, item_id uuid, lot_id uuid)')
  await database.pool.query(`create function bare.see() returns trigger language plpgsql as $$ begin
    insert into bare.seen (item_id, lot_id) select item_id, id from stock_lot where id = new.lot_id; return null; end $$`)
  await database.pool.query('create trigger seen after insert on stock_entry for each row execute function bare.see()')
  const speed = await inParallel(checked, (client) => issue(clients[client] as pg.Client, items[n++ % ITEMS] as string))
  const { rows } = await database.pool.query<{ issues: number; out_of_order: number }>(
    `select count(*)::int as issues, count(*) filter (where good_through < latest)::int as out_of_order from (
       select l.good_through, max(l.good_through) over (partition by s.item_id order by s.n) as latest from bare.seen s join stock_lot l on l.id = s.lot_id) t`,
  )
  const { rows: sums } = await database.pool.query(
    `select sum(shelf)::int + sum(bench)::int = (select sum(pieces) from stock_entry where kind = 'received') as kept, min(shelf) as least from stock_lot`,
  )
  console.log(
    `issues watched: ${rows[0]?.issues}, out of order ${rows[0]?.out_of_order}, sum kept ${sums[0].kept}, least on a shelf ${sums[0].least} (${speed.toFixed(0)}/s with the watching trigger)`,
  )
  await Promise.all(clients.map((client) => client.end()))
  await database.pool.query('drop trigger seen on stock_entry')
}

// ------------------------------------------------------------------ ageing

const DESIGNATIONS = 200
const LOTS = Number(process.env.BENCH_LOTS ?? 100_000)
const ENTRIES_EACH = Number(process.env.BENCH_ENTRIES_EACH ?? 50)

/** Every lot has pieces on the shelf; half have a best-before by month, half by day, over four years around today. */
async function fillForAgeing(url: string): Promise<void> {
  // a connection of its own: neither the time limit of the service nor its triggers, which move balances one entry at a time
  const pool = new pg.Client({ connectionString: url })
  await pool.connect()
  await pool.query(`set synchronous_commit = off`)
  await pool.query(`set session_replication_role = replica`)
  await pool.query(`insert into stock_item (what, name, written, chemistry, drain, waste_fee, created_by)
    select 'cell', 'AGE' || lpad(n::text, 3, '0'), 'x', 'silver-oxide', 'low', 2, 'bench' from generate_series(1, ${DESIGNATIONS}) n`)
  await pool.query(
    `insert into stock_lot (item_id, good_through, good_through_from, received_on, unit_cost, currency, supplier, storage_place, blocked, shelf, bench, created_by)
     select i.id, case when n % 2 = 0 then (date_trunc('month', d) + interval '1 month - 1 day')::date else d end, 'day', date '2025-01-01' + (n % 300)::int,
       50 + n % 90, 'EUR', 'bench', 'bench', case when n % 97 = 0 then 'other' end, 1 + n % 25, 0, 'bench'
     from generate_series(1, ${LOTS}) n
     cross join lateral (select date '2026-06-01' + ((n::bigint * 7919) % 1460)::int as d) day
     join (select id, row_number() over (order by name) - 1 as k from stock_item where name like 'AGE%') i on i.k = n % ${DESIGNATIONS}`,
  )
  await pool.query(
    `insert into stock_entry (lot_id, kind, pieces, happened_on, wanted_id, recorded_by)
     select l.id, case when k = 0 then 'received' when k % 3 = 0 then 'sold-loose' else 'issued' end, case when k = 0 then l.shelf + ${ENTRIES_EACH - 1} else 1 end,
       l.received_on + k * 7, l.item_id, 'bench'
     from stock_lot l join stock_item i on i.id = l.item_id and i.name like 'AGE%', generate_series(0, ${ENTRIES_EACH - 1}) k`,
  )
  await pool.query('vacuum analyze')
  await pool.end()
}

/** The same report by hand: last full-life days from a calendar, demand by month, the walk as a running minimum. */
const BY_HAND = `
  with cal as (select d::date as d, (d + interval '27 months')::date as e from generate_series(date '2022-01-01', date '2031-12-31', interval '1 day') d),
  last_day as (
    select b::date as b, max(c.l) over (order by b) as l
    from generate_series(date '2024-01-01', date '2031-12-31', interval '1 day') b
    left join (select e, max(d) as l from cal group by e) c on c.e = b::date),
  month as (
    select f.item_id, (f.first_month + make_interval(months => (t.n - 1)::int))::date as first,
      (t.m ->> 0)::numeric / (t.m ->> 1)::numeric as asked from demand_forecast f cross join lateral jsonb_array_elements(f.months) with ordinality t (m, n)),
  run as (
    select item_id, first, (first + interval '1 month')::date - first as days, asked,
      coalesce(sum(asked) over (partition by item_id order by first rows between unbounded preceding and 1 preceding), 0) as before from month),
  lot as (
    select l.item_id, l.id, l.good_through, l.received_on, l.shelf as q, l.unit_cost as c,
      case when l.blocked is not null then 1 when l.good_through < $1 then 2 when l.good_through < $2 then 3 when d.l < $1 then 4
        when d.l - $1 <= 30 then 5 when d.l - $1 <= 90 then 6 when d.l - $1 <= 180 then 7 else 8 end as bucket, d.l
    from stock_lot l join stock_item i on i.id = l.item_id and i.what = 'cell' join last_day d on d.b = l.good_through where l.shelf > 0),
  asked as (
    select lot.*, floor(run.before + run.asked * (lot.l - run.first + 1) / run.days) as demand
    from lot join run on run.item_id = lot.item_id and run.first = date_trunc('month', lot.l)::date where lot.bucket >= 5),
  walk as (
    select *, sum(q) over w as upto, min(demand - sum_q) over w as slack from (
      select *, sum(q) over (partition by item_id order by good_through, received_on, id) as sum_q from asked) a
    window w as (partition by item_id order by good_through, received_on, id)),
  used as (
    select *, upto + least(0, slack) as s, lag(upto + least(0, slack), 1, 0) over (partition by item_id order by good_through, received_on, id) as before from walk)
  select item_id, bucket, sum(q) as pieces, sum(q * c) as money, sum(unreached) as unreached, sum(unreached * c) as unreached_money from (
    select item_id, bucket, q, c, q - (s - before) as unreached from used
    union all select item_id, bucket, q, c, q from lot where bucket < 5) t
  group by item_id, bucket order by item_id, bucket`

/** Processor milliseconds used so far by the sessions of the service, and by them and this process; Linux only, else 0. */
async function cpuOf(pool: pg.Pool): Promise<{ database: number; all: number }> {
  const { rows } = await pool.query<{ pid: number }>(
    `select pid from pg_stat_activity where application_name = 'mainplate'`,
  )
  let database = 0
  for (const { pid } of rows) {
    const stat = await readFile(`/proc/${pid}/stat`, 'utf8').catch(() => '')
    const fields = stat.slice(stat.lastIndexOf(')') + 2).split(' ')
    // user and system time, in hundredths of a second
    database += (Number(fields[11] ?? 0) + Number(fields[12] ?? 0)) * 10
  }
  const { user, system } = process.cpuUsage()
  return { database, all: database + (user + system) / 1000 }
}

async function ageing(database: Database, folder: string): Promise<void> {
  const reading = readConfig({
    DATA_FOLDER: folder,
    CENTRE_TIME_ZONE: 'UTC',
    LOG_LEVEL: 'silent',
    JOBS: 'off',
    DATABASE_POOL_SIZE: '10',
  })
  if (!reading.ok) throw new Error(reading.faults.join('\n'))
  const service: Service = {
    config: reading.config,
    database,
    clock: { now: () => new Date(`${TODAY}T12:00:00Z`) },
    log: makeLog('silent'),
  }
  const app = await buildApp(service)
  const address = await app.listen({ host: '127.0.0.1', port: 0 })
  const made = await act(service, { keyId: null, name: 'bench', role: 'service' }, (doing) =>
    addStaffKey(doing, { name: 'bench', role: 'manager' }),
  )
  const headers = { authorization: `Bearer ${(made.body as { key: string }).key}` }

  const refreshed = performance.now()
  const forecasts = await refreshForecasts(database, TODAY)
  console.log(`forecasts of ${forecasts} designations in ${(performance.now() - refreshed).toFixed(0)} ms`)

  const report = async () => {
    const response = await fetch(`${address}/v1/reports/cell-ageing`, { headers })
    if (!response.ok) throw new Error(await response.text())
    return (await response.json()) as Ageing
  }
  const byHand = () => database.pool.query({ name: 'by-hand', text: BY_HAND, values: [TODAY, addMonths(TODAY, 12)] })
  const timed = async (work: () => Promise<unknown>) => {
    const start = performance.now()
    await work()
    return performance.now() - start
  }
  const told = await report()
  const { rows } = await byHand()
  const flat = (pairs: (string | number)[][]) => JSON.stringify(pairs.sort())
  const ours = told.rows
    .filter((row) => row.designation.startsWith('AGE'))
    .flatMap((row) =>
      Object.values(row.buckets).map((b, i) => [
        row.designationId,
        i + 1,
        b.pieces,
        b.money,
        b.unreached,
        b.unreachedMoney,
      ]),
    )
    .filter((pair) => pair[2] !== 0)
  const names = new Set(told.rows.filter((row) => row.designation.startsWith('AGE')).map((row) => row.designationId))
  const hand = rows
    .filter((row) => names.has(row.item_id))
    .map((r) => [
      r.item_id,
      r.bucket,
      Number(r.pieces),
      Number(r.money),
      Number(r.unreached),
      Number(r.unreached_money),
    ])
  const same = flat(ours) === flat(hand)
  for (let i = 0; i < 3; i++) await timed(report).then(() => timed(byHand))
  const [own, bare]: [number[], number[]] = [[], []]
  const busy = { own: 0, bare: 0 }
  const rounds = 15
  for (let i = 0; i < rounds; i++) {
    const before = await cpuOf(database.pool)
    bare.push(await timed(byHand))
    const between = await cpuOf(database.pool)
    own.push(await timed(report))
    busy.bare += between.database - before.database
    busy.own += (await cpuOf(database.pool)).all - between.all
  }
  const { rows: counts } = await database.pool.query(
    `select (select count(*) from stock_lot where shelf > 0)::int as lots, (select count(*) from stock_entry)::int as entries`,
  )
  console.log(
    `ageing of ${counts[0].lots} lots on the shelf, ${counts[0].entries} entries: by hand ${median(bare).toFixed(0)} ms, over HTTP ${median(own).toFixed(0)} ms, ratio ${(median(own) / median(bare)).toFixed(2)} (reach ≤ 1.5 and ≤ 100 ms); same figures: ${same}`,
  )
  console.log(
    `processor time a report: by hand ${(busy.bare / rounds).toFixed(0)} ms in the database, over HTTP ${(busy.own / rounds).toFixed(0)} ms in database, service and the client that asks (tells more than the clock on a busy machine)`,
  )
  await app.close()
}

export async function benchStock(): Promise<void> {
  const folder = await mkdtemp(path.join(os.tmpdir(), `mainplate-bench-${randomUUID().slice(0, 8)}-`))
  const server = await startEmbedded({
    dataFolder: path.join(folder, 'data'),
    settings: { shared_buffers: '1GB', max_connections: '60', max_wal_size: '8GB' },
  })
  await migrate(server.url)
  const database = await openDatabase(server.url, { poolSize: 10 })
  try {
    if (process.env.BENCH_ONLY !== 'ageing') await issuing(server.url, database)
    if (process.env.BENCH_ONLY !== 'issuing') {
      await fillForAgeing(server.url)
      await ageing(database, folder)
    }
  } finally {
    await database.close()
    await server.stop()
    await rm(folder, { recursive: true, force: true })
  }
}

if (import.meta.url === pathToFileURL(process.argv[1] ?? '').href) await benchStock()
