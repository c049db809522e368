import { readFile } from 'node:fs/promises'
import pg from 'pg'
import { buildApp } from '../../src/app.ts'
import { readConfig } from '../../src/config.ts'
import type { Database } from '../../src/db/open.ts'
import { addMonths, type Day } from '../../src/domain/day.ts'
import type { Ageing } from '../../src/features/reports/cell-ageing.ts'
import { addStaffKey } from '../../src/features/staff-keys/staff-keys.ts'
import { refreshForecasts } from '../../src/features/stock-summaries/flagging.ts'
import { act, type Service } from '../../src/http/service.ts'
import { makeLog } from '../../src/log.ts'
import { numberAsked, quick, say, tell } from '../support/bench.ts'
import { withServer } from '../support/bench-server.ts'

/**
 * The ageing report over HTTP for 100,000 lots on the shelf and 5,000,000 entries (`--lots`, `--entries` a lot), against one
 * hand-written statement that gives the same figures, in one run on one server.
 */
const TODAY = '2026-12-01' as Day

const DESIGNATIONS = quick ? 20 : 200
const LOTS = numberAsked('lots', 100_000, 2000)
const ENTRIES_EACH = numberAsked('entries', 50, 10)

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

async function ageing({ url, database, folder }: { url: string; database: Database; folder: string }): Promise<void> {
  await fillForAgeing(url)
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
  say(`forecasts of ${forecasts} designations in ${(performance.now() - refreshed).toFixed(0)} ms`)

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
  const rounds = numberAsked('rounds', 15, 3)
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
  if (!same) throw new Error('the report and the statement by hand do not tell the same figures')
  tell({
    work: 'cell ageing over HTTP',
    unit: 'ms',
    size: counts[0].lots,
    of: 'lots',
    baseline: bare,
    ours: own,
    reach: { ratioAtMost: 1.5, atMost: 100 },
    promisedAt: 100_000,
    more: {
      entries: counts[0].entries,
      // tells more than the clock on a busy machine; ours with the service and the client that asks
      processorMs: { byHand: Math.round(busy.bare / rounds), overHttp: Math.round(busy.own / rounds) },
    },
  })
  await app.close()
}

await withServer({ settings: { shared_buffers: '1GB', max_connections: '60', max_wal_size: '8GB' } }, ageing)
