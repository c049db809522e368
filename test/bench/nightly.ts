import { runNight } from '../../src/features/nightly-runs/run.ts'
import type { Service } from '../../src/http/service.ts'
import { eachSize, numberAsked, say, sizesAsked, tell } from '../support/bench.ts'
import { benchCentre, TODAY } from '../support/bench-centre.ts'

/**
 * The nightly run against one hand-written `insert … select` over the same rows, on one server with fsync on: about
 * 10,000 letters among 1,000,000 watches, and as many among 100,000. The statement writes the same letters, items and
 * next days; it knows these three kinds of watch and the first stage, and nothing of rhythm, folding, rounds or doubt.
 */
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

/** milliseconds, one a round */
type Measured = {
  byHand: number[]
  ours: number[]
  letters: number
  items: number
  /** the night asked for once more, when there is nothing left to do */
  again: number[]
  memoryMb: number
}

/** Alternating rounds on the same rows: after each, everything is as it was. */
async function measure(service: Service, rounds: number): Promise<Measured> {
  const { pool } = service.database
  await pool.query(`create table kept as select watch_id, kind, next_notice_on, reconsider_on from obligation
    where next_notice_on <= '${TODAY}' or reconsider_on <= '${TODAY}'`)
  const restore = async () => {
    // the service itself could not: a letter's items are never changed or deleted
    await pool.query(
      `begin; set local session_replication_role = replica; truncate notice_item, notice, nightly_run cascade; commit`,
    )
    await pool.query(`update obligation o set next_notice_on = k.next_notice_on, reconsider_on = k.reconsider_on
      from kept k where k.watch_id = o.watch_id and k.kind = o.kind`)
    await pool.query('vacuum analyze obligation, notice, notice_item')
    await pool.query('checkpoint')
  }
  const hand: number[] = []
  const own: number[] = []
  let letters = 0
  let items = 0
  const again: number[] = []
  let memory = 0
  for (let round = 0; round < rounds; round++) {
    let start = performance.now()
    const { rowCount } = await pool.query(byHand)
    hand.push(performance.now() - start)
    items = rowCount ?? 0
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
    again.push(performance.now() - start)
    await restore()
  }
  await pool.query('drop table kept')
  return { byHand: hand, ours: own, letters, items, again, memoryMb: memory / 2 ** 20 }
}

const told = await eachSize(import.meta.url, sizesAsked([10_000, 100_000, 1_000_000], [2000]), async (watches) => {
  const centre = await benchCentre(watches, Math.min(DUE, watches / 10))
  try {
    say(`${watches} watches on file after ${centre.seconds.toFixed(0)} s`)
    const { byHand, ours, letters, items, again, memoryMb } = await measure(centre.service, numberAsked('rounds', 5, 2))
    tell({
      work: 'nightly run',
      unit: 'ms',
      size: watches,
      baseline: byHand,
      ours,
      reach: { ratioAtMost: 2 },
      promisedAt: 1_000_000,
      more: { letters, items },
    })
    tell({ work: 'nightly run, done once more', unit: 'ms', size: watches, ours: again })
    tell({
      work: 'nightly run, peak memory',
      unit: 'MB',
      size: watches,
      ours: [memoryMb],
      reach: { atMost: 300 },
      promisedAt: 1_000_000,
    })
  } finally {
    await centre.close()
  }
})

const nights = told?.filter((one) => one.work === 'nightly run') ?? []
const [small, large] = [100_000, 1_000_000].map((size) => nights.find((one) => one.size === size))
if (small && large)
  tell({
    work: 'nightly run against its own time at 100,000',
    unit: 'ms',
    size: 1_000_000,
    baseline: [small.ours],
    ours: [large.ours],
    reach: { ratioAtMost: 1.3 },
  })
