import { fork } from 'node:child_process'
import { randomUUID } from 'node:crypto'
import { fileURLToPath } from 'node:url'
import Fastify from 'fastify'
import pg from 'pg'
import { v7 as uuidv7 } from 'uuid'
import { buildApp } from '../../src/app.ts'
import { readConfig } from '../../src/config.ts'
import { openDatabase } from '../../src/db/open.ts'
import { ticketNumber } from '../../src/domain/tickets/number.ts'
import { addStaffKey } from '../../src/features/staff-keys/staff-keys.ts'
import { act, type Service } from '../../src/http/service.ts'
import { makeLog } from '../../src/log.ts'

/** Two servers that book a watch in, each a process of its own: the service, and what somebody would write by hand. */
const here = fileURLToPath(import.meta.url)

type Ready = { port: number; key: string }
export type Server = Ready & { stop: () => void }

async function serveOurs(url: string): Promise<Ready> {
  const reading = readConfig({
    DATABASE_URL: url,
    LOG_LEVEL: 'silent',
    JOBS: 'off',
    TRUSTED_PROXIES: '127.0.0.1',
    DATABASE_POOL_SIZE: '16',
  })
  if (!reading.ok) throw new Error(reading.faults.join('\n'))
  const database = await openDatabase(url, { poolSize: 16 })
  const service: Service = {
    config: reading.config,
    database,
    clock: { now: () => new Date() },
    log: makeLog('silent'),
  }
  const app = await buildApp(service)
  await app.listen({ host: '127.0.0.1', port: 0 })
  const made = await act(service, { keyId: null, name: 'bench', role: 'service' }, (doing) =>
    addStaffKey(doing, { name: `counter ${randomUUID()}`, role: 'counter' }),
  )
  return { port: (app.server.address() as { port: number }).port, key: (made.body as { key: string }).key }
}

/** What somebody would write by hand for this one address: no schema, no key check, no gates, no twins. */
async function serveBare(url: string): Promise<Ready> {
  const pool = new pg.Pool({ connectionString: url, max: 16, options: '-c TimeZone=UTC' })
  const app = Fastify({ bodyLimit: 262_144 })
  const staffKey = '00000000-0000-7000-8000-000000000000'
  app.post('/v1/tickets', async (request, reply) => {
    const body = request.body as ReturnType<typeof bookingOf>
    const client = await pool.connect()
    const run = (name: string, text: string, values: unknown[]) => client.query({ name, text, values })
    try {
      await client.query('begin')
      await run('key', 'insert into idempotency_key (staff_key_id, route, key, fingerprint) values ($1, $2, $3, $4)', [
        staffKey,
        'POST /v1/tickets',
        request.headers['idempotency-key'],
        Buffer.from('0'),
      ])
      const id = uuidv7()
      const { rows } = await run('serial', "select nextval('ticket_serial')::int as serial", [])
      const number = ticketNumber(rows[0].serial)
      await run(
        'ticket',
        `insert into ticket (id, number, watch_id, owner_id, brought_by, complaint, booked_on, next_actor, next_by, place, holder, declared_value, declared_currency, look_model, look_dial, dial, created_by)
         values ($1, $2, $3, $4, 'x', $5, current_date, 'counter', current_date, 'counter', 'bench', $6, $7, $8, $9, $10, 'bench')`,
        [
          id,
          number,
          body.watch.id,
          body.owner.id,
          body.complaint,
          body.declaredValue.amount,
          body.declaredValue.currency,
          randomUUID(),
          randomUUID(),
          body.dial,
        ],
      )
      await run(
        'records',
        `insert into ticket_record (ticket_id, kind, at, on_day, data, recorded_by) select $1, kind, now(), current_date, data, 'bench' from jsonb_to_recordset($2::jsonb) as r (kind text, data jsonb)`,
        [
          id,
          JSON.stringify([
            { kind: 'booked', data: { complaint: body.complaint, hazards: [], comebackOf: null } },
            { kind: 'people', data: { approve: [], collect: [], willCallIn: false } },
            { kind: 'condition', data: body.condition },
            { kind: 'value', data: { value: body.declaredValue } },
          ]),
        ],
      )
      await run(
        'custody',
        `insert into custody_move (ticket_id, n, to_place, holder, at, recorded_by) values ($1, 1, 'counter', 'bench', now(), 'bench')`,
        [id],
      )
      await run(
        'pictures',
        `insert into ticket_picture (ticket_id, file_id, view, at, recorded_by) select $1, id, view, now(), 'bench' from jsonb_to_recordset($2::jsonb) as p (id uuid, view text)`,
        [id, JSON.stringify(body.pictures)],
      )
      await run(
        'loose',
        `insert into loose_item (ticket_id, bag, words, recorded_by) select $1, bag, words, 'bench' from jsonb_to_recordset($2::jsonb) as l (bag text, words text)`,
        [id, JSON.stringify(body.looseItems)],
      )
      await run(
        'watch',
        'update watch set in_house = true, declared_value = $2, declared_currency = $3, declared_on = current_date where id = $1',
        [body.watch.id, body.declaredValue.amount, body.declaredValue.currency],
      )
      const answer = { id, number, step: 'booked-in' }
      await run(
        'keep',
        'update idempotency_key set status = 201, body = $4 where staff_key_id = $1 and route = $2 and key = $3',
        [staffKey, 'POST /v1/tickets', request.headers['idempotency-key'], JSON.stringify(answer)],
      )
      await client.query('commit')
      return reply.code(201).send(answer)
    } catch (error) {
      await client.query('rollback')
      throw error
    } finally {
      client.release()
    }
  })
  await app.listen({ host: '127.0.0.1', port: 0 })
  return { port: (app.server.address() as { port: number }).port, key: 'none' }
}

export const bookingOf = (watch: string, owner: string, files: readonly string[]) => ({
  owner: { id: owner },
  watch: { id: watch },
  complaint: 'it stopped last week and smells of nothing',
  dial: 'blue',
  pictures: (['dial', 'back', 'crown-side', 'opposite-side', 'clasp'] as const).map((view, i) => ({
    id: files[i]!,
    view,
  })),
  condition: { marks: [{ place: 'bezel at 4', kind: 'scratch', lengthMm: 3 }], clasp: 'there', agreed: 'owner' },
  looseItems: [{ bag: 'A', words: 'brown strap' }],
  declaredValue: { amount: 50_000, currency: 'EUR' },
})

/** A centre by plain SQL: owners, watches of many makers, pictures; and tickets that have run their course. */
export async function fillForTickets(url: string, fresh: number, tickets: number): Promise<void> {
  // a connection of its own, without the time limits of the service
  const pool = new pg.Client({ connectionString: url })
  await pool.connect()
  await pool.query(
    `insert into owner (name, search_name, created_by) select 'Owner ' || n, 'owner ' || n, 'bench' from generate_series(1, 20000) n`,
  )
  await pool.query(
    `insert into contact (owner_id, means, value, search_value, created_by) select id, 'e-mail', id || '@example.org', id || '@example.org', 'bench' from owner`,
  )
  await pool.query(
    `with o as materialized (select id, row_number() over () - 1 as at from owner)
     insert into watch (maker, model, serial, search_serial, kind, claim_marked, claim_bar, case_material, diameter_mm, crystal, first_seen, owner_known_on, owner_id, created_by)
     select 'Maker ' || n % 50, 'Model ' || n % 977, 'S' || n, 'S' || n, 'quartz', 'rated', 5, (array['steel', 'gold', 'titanium'])[1 + n % 3], 30 + n % 15, 'sapphire', '2020-01-01', '2020-01-01',
       o.id, 'bench' from generate_series(1, $1::int) n join o on o.at = n % 20000`,
    [fresh + tickets],
  )
  await pool.query(
    `insert into picture_file (sha256, media_type, bytes, width, height, recorded_by) select md5(n::text) || md5((-n)::text), 'image/png', 100, 10, 10, 'bench' from generate_series(1, $1::int) n`,
    [fresh * 5],
  )
  await pool.query(
    `insert into ticket (number, watch_id, owner_id, brought_by, complaint, step, ended, ended_on, booked_on, next_actor, next_by, created_by, look_model)
     select 'B' || row_number() over (), id, owner_id, 'x', 'y', case when k < 0.98 then 'handed-over' else 'on-the-bench' end, case when k < 0.98 then 'handed-over' end,
       case when k < 0.98 then date '2026-01-31' end, date '2026-01-01', case when k >= 0.98 then 'bench' end, case when k >= 0.98 then date '2026-02-01' end, 'bench', md5(id::text)
     from (select id, owner_id, (row_number() over (order by id) % 50)::numeric / 50 as k from watch order by id limit $1::int) w`,
    [tickets],
  )
  await pool.query(
    `insert into ticket_record (ticket_id, kind, at, on_day, data, recorded_by)
     select t.id, k, now(), '2026-01-01', case when k = 'move' then '{"from": "booked-in", "to": "awaiting-look", "gates": []}'::jsonb when k = 'condition'
       then '{"marks": [], "clasp": "there", "agreed": "owner"}'::jsonb else '{}'::jsonb end, 'bench'
     from ticket t, unnest(array['booked', 'people', 'condition', 'move', 'move', 'opening', 'closing']) k`,
  )
  await pool.query(
    `insert into custody_move (ticket_id, n, to_place, holder, at, recorded_by) select id, 1, 'counter', 'x', now(), 'bench' from ticket`,
  )
  await pool.query('vacuum analyze')
  await pool.end()
}

/** One of the two, listening; it ends by `stop`. */
export function serverOf(kind: 'ours' | 'bare', url: string): Promise<Server> {
  return new Promise((resolve, reject) => {
    const worker = fork(here, ['--serve', kind, url], { execArgv: process.execArgv })
    worker.once('message', (ready) => resolve({ ...(ready as Ready), stop: () => worker.kill() }))
    worker.once('exit', (code) => reject(new Error(`the ${kind} server ended with ${code}`)))
  })
}

const serving = process.argv.indexOf('--serve')
if (process.argv[1] === here && serving >= 0) {
  const [kind, url] = [process.argv[serving + 1], process.argv[serving + 2]]
  process.send?.(await (kind === 'bare' ? serveBare(url ?? '') : serveOurs(url ?? '')))
}
