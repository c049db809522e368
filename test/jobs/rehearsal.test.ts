import { execFile } from 'node:child_process'
import { promisify } from 'node:util'
import pg from 'pg'
import { afterEach, beforeEach, describe, expect, test } from 'vitest'
import { addDays, type Day } from '../../src/domain/day.ts'
import { defaultNoticeRules } from '../../src/domain/notices/notice-rules.ts'
import { rehearseNights } from '../../src/features/nightly-runs/nightly-runs.ts'
import { runNight } from '../../src/features/nightly-runs/run.ts'
import { stillAllowed } from '../../src/features/notices/decide-again.ts'
import { runReReckonings } from '../../src/features/re-reckonings/run.ts'
import { type House, openHouse } from '../support/house.ts'
import { addOwner, addWatch, all, happened, quartz, rows, serviced } from './book.ts'

let house: House
beforeEach(async () => {
  house = await openHouse({ now: '2026-11-25' })
})
afterEach(() => house.close())
const today = '2026-11-25' as Day

/** Everything in every table, so that any write shows. */
async function everything(): Promise<string> {
  const tables = await rows(
    house,
    `select relname as t from pg_stat_user_tables where relname <> 'idempotency_key' order by 1`,
  )
  const all = []
  for (const { t } of tables)
    all.push(
      await rows(
        house,
        `select '${t}' as t, count(*)::int as n, md5(coalesce(string_agg(x::text, '|' order by x::text), '')) as m from ${t} x`,
      ),
    )
  return JSON.stringify(all)
}

async function smallCentre(): Promise<string[]> {
  const owners: string[] = []
  for (const [i, cell, service] of [
    [0, '2024-12-10', '2022-01-27'],
    [1, '2024-12-13', '2021-06-01'],
    [2, '2025-01-11', '2022-01-24'],
  ] as const) {
    const owner = await addOwner(house, i === 2 ? { contacts: [] } : {})
    await quartz(house, owner, cell)
    await serviced(house, owner, service)
    owners.push(owner)
  }
  return owners
}

/** As a superuser past all triggers and keys: a guarantee without the visit it came from. */
async function plainly(statement: string): Promise<void> {
  const superuser = new pg.Client({ connectionString: house.databaseUrl })
  await superuser.connect()
  try {
    await superuser.query(`set session_replication_role = replica; ${statement}`)
  } finally {
    await superuser.end()
  }
}

const essence = (plan: { ownerId: string; runOn: string; comeBy: string; parts: readonly object[] }) => ({
  ownerId: plan.ownerId,
  runOn: plan.runOn,
  comeBy: plan.comeBy,
  parts: plan.parts,
})

describe('a rehearsal', () => {
  test('writes nothing and names the very letters the night then books', async () => {
    await smallCentre()
    const before = await everything()
    const [night] = await rehearseNights(house.database, today, 1)
    expect(await everything()).toBe(before)
    const counts = await runNight(house.service, today)
    const booked = await rows(house, 'select plan from notice order by owner_id')
    expect(booked.map((row) => essence(row.plan))).toEqual(
      [...(night?.letters ?? [])].sort((a, b) => (a.ownerId < b.ownerId ? -1 : 1)).map(essence),
    )
    expect(night?.counts).toEqual({
      letters: counts?.letters,
      items: counts?.items,
      skipped: counts?.skipped,
      withheld: counts?.withheld,
      reasons: counts?.reasons,
    })
    expect(counts).toMatchObject({ letters: 2, withheld: 1, reasons: { 'no-address': 1 } })
  })

  test('of fourteen nights gives the letters of fourteen nights run one by one', async () => {
    await smallCentre()
    const owner = await addOwner(house)
    const watch = await addWatch(house, owner, { kind: 'quartz' })
    await happened(house, watch, { event: 'complete-service', on: '2026-01-01', learned: '2026-01-01' })
    await happened(house, watch, { event: 'cell-fitted', on: '2026-01-05', learned: '2026-01-05' })
    await happened(house, watch, { event: 'sign', sign: 'cell-dead', on: '2026-11-25', source: 'owner-word' })
    const nights = await rehearseNights(house.database, today, 14)
    for (let n = 0; n < 14; n++) await runNight(house.service, addDays(today, n))
    const booked = await rows(house, 'select plan from notice order by run_on, owner_id')
    const rehearsed = nights.flatMap((night) => [...night.letters].sort((a, b) => (a.ownerId < b.ownerId ? -1 : 1)))
    expect(rehearsed.map(essence)).toEqual(booked.map((row) => essence(row.plan)))
    expect(booked.length).toBeGreaterThanOrEqual(4)
    const held = await rows(
      house,
      'select run_on::text as day, count(*)::int as n from withheld_item group by 1 order by 1',
    )
    expect(nights.filter((n) => n.withheld.length > 0).map((n) => ({ day: n.day, n: n.withheld.length }))).toEqual(held)
  })

  test('wakes for the end of a guarantee that has a letter of its own, as the nights do', async () => {
    const lead = defaultNoticeRules.guaranteeLeadDays
    await house
      .as('manager')
      .post('/v1/house-rules', { key: 'guaranteeOwnLetter', value: 1, fromDay: today, reason: 'asked for' })
      .expect(201)
    await runReReckonings(house.service)
    for (const begins of [2, 5]) {
      const watch = await serviced(house, await addOwner(house), '2024-06-01')
      const ends = addDays(today, lead + begins)
      await plainly(`insert into guarantee (ticket_id, watch_id, line_id, what, starts_on, months, recorded_by)
        values (uuid_v7(), '${watch}', uuid_v7(), 'movement', '${ends}'::date - interval '12 months', 12, 'test')`)
    }
    const nights = await rehearseNights(house.database, today, 8)
    for (let n = 0; n < 8; n++) await runNight(house.service, addDays(today, n))
    const booked = await rows(house, 'select plan from notice order by run_on, owner_id')
    expect(booked.map((row) => row.plan.parts[0].part)).toEqual(['guarantee', 'guarantee'])
    expect(nights.flatMap((night) => night.letters).map(essence)).toEqual(booked.map((row) => essence(row.plan)))
  })

  test('over HTTP and at the command line tells the same, and the doors keep who may ask', async () => {
    await smallCentre()
    const { body } = await house.as('counter').get('/v1/rehearsals?from=2026-11-25&nights=7').expect(200)
    expect(body.nights).toHaveLength(7)
    expect(body.nights[0].counts).toMatchObject({ letters: 2 })
    expect((await house.as('bench').get('/v1/rehearsals')).status).toBe(403)
    expect((await house.as('counter').get('/v1/rehearsals?nights=99')).status).toBe(400)
    const { stdout } = await promisify(execFile)(
      process.execPath,
      ['--import', 'tsx', 'src/jobs/nightly-cli.ts', '--for', '2026-11-25', '--rehearse'],
      { env: { ...process.env, DATABASE_URL: house.databaseUrl } },
    )
    expect(stdout).toContain('in all: 2 letters')
    for (const { ownerId } of body.nights[0].letters) expect(stdout).toContain(`letter to owner ${ownerId}`)
    expect(await rows(house, 'select count(*)::int as n from notice')).toEqual([{ n: 0 }])
  })
})

describe('a run that is killed', () => {
  test('after any batch is gone on with by another; no letter is lost or doubled, the counts are whole', async () => {
    for (let i = 0; i < 7; i++) await serviced(house, await addOwner(house), '2022-01-20')
    for (const batches of [3, 3]) {
      const child = promisify(execFile)(process.execPath, [
        '--import',
        'tsx',
        'test/jobs/nightly-child.ts',
        house.databaseUrl,
        today,
        String(batches),
      ])
      await expect(child).rejects.toMatchObject({ signal: 'SIGKILL' })
      // while the dead one's lease runs nobody else begins
      expect(await runNight(house.service, today)).toBeNull()
      await rows(house, `update nightly_run set lease_until = clock_timestamp() - interval '1 second'`)
    }
    const partly = (await rows(house, 'select count(*)::int as n from notice'))[0].n
    expect(partly).toBeGreaterThan(0)
    expect(partly).toBeLessThan(7)
    expect(await runNight(house.service, today, { batch: 2 })).toMatchObject({ letters: 7, looked: 7 })
    expect(await rows(house, 'select count(*)::int as n, count(distinct owner_id)::int as o from notice')).toEqual([
      { n: 7, o: 7 },
    ])
    expect(await rows(house, 'select state, attempt from nightly_run')).toEqual([{ state: 'finished', attempt: 3 }])
  })

  test('loses its lease to another and then books nothing more', async () => {
    for (let i = 0; i < 6; i++) await serviced(house, await addOwner(house), '2022-01-20')
    let stolen = false
    const first = await runNight(house.service, today, {
      batch: 2,
      afterBatch: async () => {
        if (stolen || (await rows(house, 'select 1 from notice')).length === 0) return
        stolen = true
        // the other lane may carry the lease on once more before it is taken
        let taken: Awaited<ReturnType<typeof runNight>> = null
        while (taken === null) {
          await rows(house, `update nightly_run set lease_until = clock_timestamp() - interval '1 second'`)
          taken = await runNight(house.service, today)
        }
        expect(taken).toMatchObject({ letters: 6 })
      },
    })
    expect(first).toBeNull()
    expect(await rows(house, 'select count(*)::int as n from notice')).toEqual([{ n: 6 }])
  })
})

describe('a past night', () => {
  test('replayed from what was known then gives the same letters, whatever was told since', async () => {
    const [first, second] = await smallCentre()
    await runNight(house.service, today)
    house.setNow('2026-11-26')
    await house.as('counter').post(`/v1/owners/${first}/deceased`, { toldBy: 'a daughter' }).expect(201)
    for (const choice of all('no'))
      await house.as('counter').post(`/v1/owners/${second}/notice-choices`, choice).expect(201)
    const [watch] = await rows(house, 'select id from watch where owner_id = $1 order by id limit 1', [second])
    await happened(house, watch.id, { event: 'cell-fitted', on: '2026-11-26' })
    await house
      .as('manager')
      .post('/v1/house-rules', { key: 'cellMonths', value: 36, fromDay: '2026-11-26', reason: 'new cells' })
      .expect(201)
    await runNight(house.service, '2026-11-26' as Day)
    const { body } = await house.as('manager').get('/v1/nightly-runs/2026-11-25/replay').expect(200)
    expect(body).toEqual({ date: today, same: true, letters: 2, differences: [] })
    const runs = await house.as('counter').get('/v1/nightly-runs').expect(200)
    expect(runs.body.items.map((run: { date: string }) => run.date)).toEqual(['2026-11-26', today])
    expect(runs.body.items[1].counts).toMatchObject({ letters: 2, withheld: 1, reasons: { 'no-address': 1 } })
    const held = await house.as('counter').get(`/v1/nightly-runs/${today}/withheld`).expect(200)
    expect(held.body.items).toMatchObject([{ kind: 'complete-service', stage: '1', reasons: ['no-address'] }])
  })

  test('shows a letter that somebody put into the database by hand as different', async () => {
    await smallCentre()
    await runNight(house.service, today)
    await rows(
      house,
      `update notice set plan = jsonb_set(plan, '{comeBy}', '"2027-01-01"') where id = (select min(id::text)::uuid from notice)`,
    )
    const { body } = await house.as('manager').get('/v1/nightly-runs/2026-11-25/replay').expect(200)
    expect(body.same).toBe(false)
    expect(body.differences[0].booked[0]).toContain('2027-01-01')
  })
})

describe('the last look before a letter is handed over', () => {
  test('names every reason for which it may not go after all, and the watches are looked at again', async () => {
    const [first, second] = await smallCentre()
    await runNight(house.service, today)
    const notices = await rows(house, 'select id, owner_id from notice')
    const ids = notices.map((row) => row.id)
    expect(await house.database.prisma.$transaction((tx) => stillAllowed(tx, ids, today))).toEqual(new Map())
    await house.as('counter').patch(`/v1/owners/${first}`, { standing: 'in-dispute' }, '"v1"').expect(200)
    await rows(house, 'update watch set in_house = true where owner_id = $1', [second])
    const fallen = await house.database.prisma.$transaction((tx) => stillAllowed(tx, ids, today))
    const reasons = Object.fromEntries(notices.map((row) => [row.owner_id, fallen.get(row.id)]))
    expect(reasons).toEqual({ [first as string]: ['owner-in-dispute'], [second as string]: ['watch-in-house'] })
    expect((await rows(house, `select 1 from obligation where next_notice_on = '2026-11-25'`)).length).toBeGreaterThan(
      0,
    )
  })
})

describe('the counter', () => {
  test('is told to call, closes the task once, and an offer refused keeps quiet', async () => {
    const owner = await addOwner(house)
    const watch = await quartz(house, owner, '2024-12-10')
    await happened(house, watch, { event: 'sign', sign: 'cell-end-of-life', on: '2026-11-25', source: 'owner-word' })
    const { body } = await house.as('counter').get('/v1/tasks?role=counter').expect(200)
    expect(body.items).toMatchObject([{ kind: 'call-about-cell', watchId: watch, dueOn: today }])
    const path = `/v1/tasks/${body.items[0].id}/closing`
    await house.as('counter').post(path, { how: 'comes in on Friday' }).expect(200)
    expect((await house.as('counter').post(path, { how: 'again' })).body.type).toBe('/problems/task-done')
    await house
      .as('counter')
      .post(`/v1/watches/${watch}/refused-offers`, { kind: 'cell-change', source: 'owner-word' })
      .expect(201)
    // reached by telephone, so no first letter; the second, a week on, is what the refusal holds back
    await runNight(house.service, today)
    expect(await rows(house, 'select 1 from withheld_item')).toEqual([])
    await runNight(house.service, addDays(today, 7))
    expect(await rows(house, 'select stage, reasons from withheld_item')).toEqual([
      { stage: '2', reasons: ['declined'] },
    ])
  })
})
