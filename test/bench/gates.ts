import autocannon from 'autocannon'
import { numberAsked, tell } from '../support/bench.ts'
import { fillForTickets, serverOf } from '../support/bench-booking.ts'
import { type BenchServer, withServer } from '../support/bench-server.ts'

/** The gates of a ticket, one after another, among so many `--tickets`; the baseline asks the same service for nothing. */
const TICKETS = numberAsked('tickets', 200_000, 2000)

async function gates({ url, database: { pool } }: BenchServer): Promise<void> {
  const seconds = numberAsked('seconds', 4, 1)
  const rounds = numberAsked('rounds', 5, 2)
  await fillForTickets(url, 1000, TICKETS)
  const { rows } = await pool.query<{ id: string }>('select id from ticket order by md5(id::text) limit 2000')
  const server = await serverOf('ours', url)
  let at = 0
  const asked = async (path: (id: string) => string) => {
    const result = await autocannon({
      url: `http://127.0.0.1:${server.port}`,
      connections: 1,
      duration: seconds,
      requests: [
        {
          method: 'GET',
          setupRequest: (request) => {
            at += 1
            return {
              ...request,
              path: path(rows[at % rows.length]?.id ?? ''),
              // the limit is by address; a house has many counters
              headers: { authorization: `Bearer ${server.key}`, 'x-forwarded-for': `10.3.${at % 200}.9` },
            }
          },
        },
      ],
    })
    if (result.non2xx > 0 || result.errors > 0) throw new Error(`${result.non2xx + result.errors} questions failed`)
    return result
  }
  try {
    const [nothing, ours]: [number[], number[]] = [[], []]
    const p99: number[] = []
    for (let round = 0; round < rounds; round++) {
      nothing.push(1000 / (await asked(() => '/livez')).requests.average)
      const told = await asked((id) => `/v1/tickets/${id}/gates`)
      ours.push(1000 / told.requests.average)
      p99.push(told.latency.p99)
    }
    tell({
      work: 'gates of a ticket, one after another',
      unit: 'ms',
      size: TICKETS,
      of: 'tickets on file',
      baseline: nothing,
      ours,
      reach: { atMost: 10 },
      promisedAt: 200_000,
      more: { p99 },
    })
  } finally {
    server.stop()
  }
}

await withServer({ settings: { shared_buffers: '256MB' }, poolSize: 4 }, gates)
