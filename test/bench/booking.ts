import { randomUUID } from 'node:crypto'
import autocannon from 'autocannon'
import { numberAsked, say, tell } from '../support/bench.ts'
import { bookingOf, fillForTickets, type Server, serverOf } from '../support/bench-booking.ts'
import { type BenchServer, withServer } from '../support/bench-server.ts'

/**
 * Booking-in against bare fastify and pg that write the same rows (one named statement a table in one transaction, the key
 * row and the stored answer among them), each server in a process of its own, rounds of so many `--seconds` by turns, with
 * so many `--tickets` on file; then by 1, 2 and 4 replicas on one database server that waits for the disk.
 */
const CONNECTIONS = numberAsked('connections', 16, 16)
const TICKETS = numberAsked('tickets', 200_000, 2000)

type Stock = { watches: { id: string; owner_id: string }[]; files: string[]; taken: number }

async function shoot(server: Server, stock: Stock, seconds: number, connections = CONNECTIONS) {
  const result = await autocannon({
    url: `http://127.0.0.1:${server.port}`,
    connections,
    duration: seconds,
    requests: [
      {
        method: 'POST',
        path: '/v1/tickets',
        setupRequest: (request) => {
          const n = stock.taken++
          const watch = stock.watches[n]
          if (!watch) throw new Error('there are no more watches to book in: fill more')
          return {
            ...request,
            headers: {
              'content-type': 'application/json',
              authorization: `Bearer ${server.key}`,
              'idempotency-key': `"${randomUUID()}"`,
              // the limit is by address; a house has many counters
              'x-forwarded-for': `10.${n % 200}.${Math.floor(n / 200) % 200}.7`,
            },
            body: JSON.stringify(bookingOf(watch.id, watch.owner_id, stock.files.slice(n * 5, n * 5 + 5))),
          }
        },
      },
    ],
  })
  if (result.non2xx > 0 || result.errors > 0)
    throw new Error(`${result.non2xx} answers were no success, ${result.errors} errors`)
  return { perSecond: result.requests.average, p50: result.latency.p50, p99: result.latency.p99 }
}

type Shot = Awaited<ReturnType<typeof shoot>>

async function booking({ url, database: { pool } }: BenchServer): Promise<void> {
  const seconds = numberAsked('seconds', 8, 1)
  const rounds = numberAsked('rounds', 5, 2)
  const fresh = numberAsked('fresh', 80_000, 10_000)
  say(`filling ${TICKETS} tickets and ${fresh} watches`)
  await fillForTickets(url, fresh, TICKETS)
  // what the filling left to write would reach the disk in the middle of a round
  await pool.query('checkpoint')
  const stock: Stock = {
    watches: (
      await pool.query(
        'select id, owner_id from watch w where not exists (select from ticket t where t.watch_id = w.id) order by md5(id::text)',
      )
    ).rows,
    files: (await pool.query('select id from picture_file order by id')).rows.map((row) => row.id),
    taken: 0,
  }
  const servers: Server[] = []
  const started = async (kind: 'ours' | 'bare') => {
    const server = await serverOf(kind, url)
    servers.push(server)
    await shoot(server, stock, Math.min(seconds, 2))
    return server
  }
  try {
    const [bare, ours] = [await started('bare'), await started('ours')]
    const runs = { bare: [] as Shot[], ours: [] as Shot[] }
    for (let round = 0; round < rounds; round++)
      for (const kind of round % 2 === 0 ? (['bare', 'ours'] as const) : (['ours', 'bare'] as const)) {
        const shot = await shoot(kind === 'bare' ? bare : ours, stock, seconds)
        runs[kind].push(shot)
        say(`round ${round + 1}, ${kind}: ${Math.round(shot.perSecond)} a second, p99 ${shot.p99} ms`)
      }
    const at = { size: TICKETS, of: 'tickets on file', promisedAt: 200_000 }
    tell({
      work: `booking in, ${CONNECTIONS} connections`,
      unit: '/s',
      ...at,
      baseline: runs.bare.map((run) => run.perSecond),
      ours: runs.ours.map((run) => run.perSecond),
      reach: { ratioAtLeast: 0.6 },
    })
    tell({
      work: `booking in, ${CONNECTIONS} connections, p99`,
      unit: 'ms',
      ...at,
      baseline: runs.bare.map((run) => run.p99),
      ours: runs.ours.map((run) => run.p99),
      reach: { atMost: 50 },
      more: { p50: { ours: runs.ours.map((run) => run.p50), bare: runs.bare.map((run) => run.p50) } },
    })

    bare.stop()
    const replicas = [ours]
    for (let more = 1; more < 4; more++) replicas.push(await started('ours'))
    const counts = [1, 2, 4]
    const shots: { perSecond: number; p99: number }[][] = counts.map(() => [])
    for (let round = 0; round < Math.min(rounds, 3); round++)
      for (const [n, count] of counts.entries()) {
        const each = await Promise.all(
          replicas.slice(0, count).map((one) => shoot(one, stock, seconds, Math.ceil(CONNECTIONS / count))),
        )
        shots[n]?.push({
          perSecond: each.reduce((sum, one) => sum + one.perSecond, 0),
          p99: Math.max(...each.map((one) => one.p99)),
        })
      }
    for (const [n, count] of counts.entries())
      tell({
        work: `booking in by ${count} ${count === 1 ? 'replica' : 'replicas'}, against one`,
        unit: '/s',
        ...at,
        baseline: (shots[0] ?? []).map((shot) => shot.perSecond),
        ours: (shots[n] ?? []).map((shot) => shot.perSecond),
        more: { p99Ms: (shots[n] ?? []).map((shot) => shot.p99) },
      })
  } finally {
    for (const server of servers) server.stop()
  }
}

await withServer({ settings: { shared_buffers: '256MB', max_connections: '120' }, poolSize: 4 }, booking)
