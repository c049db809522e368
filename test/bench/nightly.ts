import { mkdtemp, rm } from 'node:fs/promises'
import os from 'node:os'
import path from 'node:path'
import { pathToFileURL } from 'node:url'
import pg from 'pg'
import { readConfig } from '../../src/config.ts'
import { startEmbedded } from '../../src/db/embedded.ts'
import { migrate } from '../../src/db/migrate.ts'
import { type Database, openDatabase } from '../../src/db/open.ts'
import type { Day } from '../../src/domain/day.ts'
import { runNight } from '../../src/features/nightly-runs/run.ts'
import { makeLog } from '../../src/log.ts'
import { exampleSize, generateCentre } from '../support/generate-centre.ts'

/**
 * The nightly run against one hand-written `insert … select` over the same rows, on one server with fsync on: about
 * 10,000 letters among 1,000,000 watches, and as many among 100,000. The statement writes the same letters, items and
 * next days; it knows these three kinds of watch and the first stage, and nothing of rhythm, folding, rounds or doubt.
 */
const TODAY = '2026-11-25' as Day
const DUE = 10_000

const byHand = `
  with chosen as (
    select o.*, w.owner_id, c.value as address, p.language, uuid_v7() as item_id,
      case o.kind when 'complete-service' then 30 when 'cell-change' then 14 else 7 end as second
    from obligation o
    join watch w on w.id = o.watch_id and not w.in_house and w.state not in ('lost', 'stolen', 'disposed', 'beyond-repair', 'displayed')
    join owner p on p.id = w.owner_id and p.deceased_on is null and p.erased_on is null and p.merged_into is null and p.standing not in ('in-dispute', 'do-not-serve')
    join lateral (select value from contact where owner_id = p.id and means = 'e-mail' and ended_on is null and failed_on is null limit 1) c on true
    where o.next_notice_on <= date '${TODAY}' and o.rule is not null and o.stop_on > date '${TODAY}'
      and coalesce((select choice from notice_choice n where n.owner_id = p.id and n.kind = o.kind order by id desc limit 1), 'no') = 'yes'
      and not exists (select from notice_item i where i.watch_id = o.watch_id and i.kind = o.kind and i.cycle = o.cycle and i.key_taken)
      and not exists (select from notice n where n.owner_id = p.id and n.run_on > date '${TODAY}' - 30)),
  letters as (
    select owner_id, language, uuid_v7() as id, greatest(min(notices_due_on), date '${TODAY}' + 7) as come_by,
      jsonb_agg(jsonb_build_object('part', 'due', 'watchId', watch_id, 'recordId', owner_id, 'kind', kind, 'rule', rule, 'standing', 'coming-up', 'cycle', cycle,
        'round', '${TODAY}', 'stage', '1', 'books', true, 'skips', '[]'::jsonb, 'dueOn', notices_due_on, 'reckonedDueOn', due_on, 'baseOn', base_on,
        'baseFrom', base_from, 'months', months, 'foldedUnder', null, 'bundled', false, 'wentOut', 'none', 'unsure', false) order by notices_due_on) as parts,
      jsonb_agg(jsonb_build_object('watchId', watch_id, 'kind', kind, 'rule', rule, 'baseOn', base_on, 'baseFrom', base_from, 'months', months,
        'reckonedDueOn', due_on, 'dueOn', notices_due_on)) as trace
    from chosen group by owner_id, language),
  written as (
    insert into notice (id, owner_id, run_on, language, text_version, come_by, reminder, plan, trace)
    select id, owner_id, '${TODAY}', language, '1', come_by, true,
      jsonb_build_object('ownerId', owner_id, 'language', language, 'runOn', '${TODAY}', 'comeBy', come_by, 'reminder', true, 'parts', parts),
      jsonb_build_object('rulesChangedOn', null, 'rulesFrom', '{}'::jsonb, 'items', trace)
    from letters),
  booked as (
    insert into notice_item (id, notice_id, owner_id, watch_id, kind, cycle, round, stage, rule, booked, bundled, run_on, due_on, standing)
    select item_id, letters.id, owner_id, watch_id, kind, cycle, '${TODAY}', '1', rule, 'letter', false, '${TODAY}', notices_due_on, 'coming-up'
    from chosen join letters using (owner_id))
  update obligation o set next_notice_on = chosen.notices_due_on + chosen.second, reconsider_on = chosen.notices_due_on
  from chosen where o.watch_id = chosen.watch_id and o.kind = chosen.kind`

type Measured = { byHand: number; ours: number; letters: number; rows: number; again: number; memory: number }
const median = (values: readonly number[]) => [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)] as number

/** Alternating rounds on the same rows: after each, everything is as it was. */
async function measure(database: Database, rounds: number): Promise<Measured> {
  const reading = readConfig({ LOG_LEVEL: 'silent' })
  if (!reading.ok) throw new Error(reading.faults.join('\n'))
  const service = { config: reading.config, database, clock: { now: () => new Date() }, log: makeLog('silent') }
  const { pool } = database
  await pool.query(`create table kept as select watch_id, kind, next_notice_on, reconsider_on from obligation
    where next_notice_on <= '${TODAY}' or reconsider_on <= '${TODAY}'`)
  const restore = async () => {
    await pool.query('truncate notice_item, notice, nightly_run cascade')
    await pool.query(`update obligation o set next_notice_on = k.next_notice_on, reconsider_on = k.reconsider_on
      from kept k where k.watch_id = o.watch_id and k.kind = o.kind`)
    await pool.query('vacuum analyze obligation, notice, notice_item')
    await pool.query('checkpoint')
  }
  const hand: number[] = []
  const own: number[] = []
  let letters = 0
  let rows = 0
  let again = 0
  let memory = 0
  for (let round = 0; round < rounds; round++) {
    let start = performance.now()
    const { rowCount } = await pool.query(byHand)
    hand.push(performance.now() - start)
    rows = rowCount ?? 0
    await restore()
    const watching = setInterval(() => {
      memory = Math.max(memory, process.memoryUsage.rss())
    }, 20)
    start = performance.now()
    const counts = await runNight(service, TODAY)
    own.push(performance.now() - start)
    clearInterval(watching)
    letters = counts?.letters ?? 0
    await pool.query('delete from nightly_run')
    start = performance.now()
    await runNight(service, TODAY)
    again = performance.now() - start
    await restore()
  }
  await pool.query('drop table kept')
  return { byHand: median(hand), ours: median(own), letters, rows, again, memory: memory / 1_048_576 }
}

async function atSize(watches: number): Promise<Measured> {
  const folder = await mkdtemp(path.join(os.tmpdir(), 'mainplate-bench-nightly-'))
  const server = await startEmbedded({
    dataFolder: path.join(folder, 'data'),
    settings: { shared_buffers: '1GB', max_wal_size: '8GB' },
  })
  try {
    await migrate(server.url)
    const database = await openDatabase(server.url, { poolSize: 5 })
    const client = new pg.Client({ connectionString: server.url })
    await client.connect()
    const start = performance.now()
    await generateCentre(client, { ...exampleSize(watches, DUE), today: TODAY })
    await client.end()
    console.log(`  ${watches} watches put on file in ${((performance.now() - start) / 1000).toFixed(0)} s`)
    const measured = await measure(database, Number(process.env.BENCH_ROUNDS ?? 5))
    await database.close()
    console.log(
      `  by hand ${measured.byHand.toFixed(0)} ms for ${measured.rows} items, ours ${measured.ours.toFixed(0)} ms for ${measured.letters} letters, ratio ${(measured.ours / measured.byHand).toFixed(2)}; the same date once more ${measured.again.toFixed(0)} ms; memory at most ${measured.memory.toFixed(0)} MB`,
    )
    return measured
  } catch (error) {
    console.error(error)
    throw error
  } finally {
    await server.stop()
    await rm(folder, { recursive: true, force: true })
  }
}

export async function benchNightly(): Promise<void> {
  console.log('nightly run')
  const small = await atSize(100_000)
  if (process.env.BENCH_SIZE === 'small') return
  const large = await atSize(1_000_000)
  console.log(
    `nightly run, 1,000,000 watches: ${(large.ours / large.byHand).toFixed(2)} × the bare SQL (reach ≤ 2), ${(large.ours / small.ours).toFixed(2)} × its own time at 100,000 (reach ≤ 1.3), memory ${large.memory.toFixed(0)} MB (reach < 300)`,
  )
}

if (import.meta.url === pathToFileURL(process.argv[1] ?? '').href) await benchNightly()
