import { execFile } from 'node:child_process'
import { promisify } from 'node:util'
import { afterEach, beforeEach, describe, expect, test } from 'vitest'
import { openDatabase } from '../../src/db/open.ts'
import { runNight, tickNightly } from '../../src/features/nightly-runs/run.ts'
import { type Job, jobs } from '../../src/jobs/index.ts'
import { TEXT_VERSION } from '../../src/letters/texts/sentences.ts'
import { type House, openHouse } from '../support/house.ts'
import { addOwner, all, happened, quartz, rows, serviced } from './book.ts'

let house: House
beforeEach(async () => {
  house = await openHouse({ now: '2026-11-25' })
})
afterEach(() => house.close())

const day = (text: string) => text as never
const letters = () =>
  rows(
    house,
    `select n.run_on::text as run, n.owner_id as owner, n.state, n.come_by::text as "comeBy",
       array_agg(i.kind || ' ' || i.stage order by i.id) as items
     from notice n join notice_item i on i.notice_id = n.id group by n.id order by n.id`,
  )
const rule = (key: string, value: number, fromDay: string) =>
  house.as('manager').post('/v1/house-rules', { key, value, fromDay, reason: 'experience' }).expect(201)
const state = async () =>
  JSON.stringify(
    await rows(
      house,
      `select (select count(*) from notice) n, (select count(*) from notice_item) i, (select count(*) from withheld_item) w,
         (select count(*) from task) t, (select array_agg((watch_id, kind, next_notice_on, reconsider_on)::text order by watch_id, kind) from obligation) o,
         (select jsonb_agg(r) from nightly_run r) r`,
    ),
  )

describe('a night', () => {
  test('queues one letter for all an owner has coming, books its keys, and says when to look again', async () => {
    const owner = await addOwner(house)
    const cell = await quartz(house, owner, '2024-12-10')
    const service = await serviced(house, owner, '2022-01-20')
    const counts = await runNight(house.service, day('2026-11-25'))
    expect(counts).toMatchObject({ letters: 1, items: 2, withheld: 0, reasons: {} })
    expect(await letters()).toEqual([
      {
        run: '2026-11-25',
        owner,
        state: 'queued',
        comeBy: '2026-12-10',
        items: ['cell-change 1', 'complete-service 1'],
      },
    ])
    // the cell's second letter fourteen days after 2026-12-10, the service's thirty after 2027-01-20
    const next = await rows(
      house,
      `select watch_id as w, next_notice_on::text as next from obligation where next_notice_on is not null and watch_id = any($1) order by 2`,
      [[cell, service]],
    )
    expect(next.slice(0, 2)).toEqual([
      { w: cell, next: '2026-12-24' },
      { w: service, next: '2027-02-19' },
    ])
    const [notice] = await rows(house, 'select plan, trace, text_version from notice')
    expect(notice.text_version).toBe(TEXT_VERSION)
    expect(notice.plan.parts[0]).toMatchObject({ kind: 'cell-change', dueOn: '2026-12-10', wentOut: 'none' })
    expect(notice.trace.items[1]).toMatchObject({ rule: 'usual', baseOn: '2022-01-20', months: 60 })
  })

  test('decides once about an owner whose watches stand on two pages that are worked on at the same time', async () => {
    const owner = await addOwner(house)
    const watch = await serviced(house, owner, '2022-01-20')
    await serviced(house, owner, '2022-01-21')
    const other = await house.database.pool.connect()
    await other.query('begin')
    await other.query('select from watch where id = $1 for update', [watch])
    const night = runNight(house.service, day('2026-11-25'), { batch: 1 })
    const waiting = `select count(*)::int as n from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock'`
    for (let n = 0; n < 2; ) n = (await rows(house, waiting))[0].n
    await other.query('rollback')
    other.release()
    expect(await night).toMatchObject({ looked: 1, letters: 1, items: 2 })
    expect(await letters()).toHaveLength(1)
  })

  test('is run once for a date, however often it is asked for, and a second look decides nothing more', async () => {
    await serviced(house, await addOwner(house), '2022-01-20')
    expect(await runNight(house.service, day('2026-11-25'))).toMatchObject({ letters: 1 })
    const after = await state()
    expect(await runNight(house.service, day('2026-11-25'))).toBeNull()
    expect(await tickNightly(house.service)).toBeNull()
    expect(await state()).toBe(after)
    // even with the row gone and everything marked to be looked at, the keys hold
    await rows(house, `delete from nightly_run`)
    await rows(house, `update obligation set next_notice_on = '2026-11-25' where rule is not null`)
    expect(await runNight(house.service, day('2026-11-25'))).toMatchObject({ letters: 0 })
    expect(await letters()).toHaveLength(1)
  })

  test('five replicas ticking at once run it once between them', async () => {
    for (let i = 0; i < 12; i++) await serviced(house, await addOwner(house), '2022-01-20')
    const databases = await Promise.all(
      Array.from({ length: 5 }, () => openDatabase(house.databaseUrl, { poolSize: 3 })),
    )
    const ran = await Promise.all(
      databases.map((database) => tickNightly({ ...house.service, database }, { batch: 3 })),
    )
    await Promise.all(databases.map((database) => database.close()))
    expect(ran.filter((date) => date !== null)).toEqual(['2026-11-25'])
    expect(await letters()).toHaveLength(12)
    expect(await rows(house, 'select state, attempt, counts from nightly_run')).toMatchObject([
      { state: 'finished', attempt: 1, counts: { letters: 12, looked: 12 } },
    ])
  })

  test('missed dates are booked in order, and letters are decided once, on the newest', async () => {
    const owner = await addOwner(house)
    await serviced(house, owner, '2022-02-15')
    await tickNightly(house.service)
    house.setNow('2026-12-20')
    expect(await tickNightly(house.service)).toBe('2026-12-20')
    const runs = await rows(
      house,
      'select local_date::text as d, state from nightly_run order by finished_at, local_date',
    )
    expect(runs).toHaveLength(26)
    expect(runs.map((r) => r.d)).toEqual([...runs.map((r) => r.d)].sort())
    expect(runs.slice(1, -1).every((r) => r.state === 'missed')).toBe(true)
    expect((await letters()).map((l) => [l.run, l.comeBy])).toEqual([['2026-12-20', '2027-02-15']])
  })

  test('what is held back is booked with every reason; a choice, once told, lets it go the next night', async () => {
    const owner = await addOwner(house, { noticeChoices: all('no'), contacts: [] })
    await serviced(house, owner, '2022-01-20')
    expect(await runNight(house.service, day('2026-11-25'))).toMatchObject({
      letters: 0,
      withheld: 1,
      reasons: { 'letters-refused': 1, 'no-address': 1 },
    })
    house.setNow('2026-11-26')
    for (const choice of all('yes'))
      await house.as('counter').post(`/v1/owners/${owner}/notice-choices`, choice).expect(201)
    await house
      .as('counter')
      .post(`/v1/owners/${owner}/contacts`, { means: 'e-mail', value: 'now@example.org' })
      .expect(201)
    await runNight(house.service, day('2026-11-26'))
    expect((await letters()).map((l) => l.run)).toEqual(['2026-11-26'])
  })

  test('owners who were never asked wait for the local setting; the manager is told once', async () => {
    const owner = await addOwner(house, { noticeChoices: [] })
    await serviced(house, owner, '2022-01-20')
    await serviced(house, await addOwner(house, { noticeChoices: [] }), '2022-01-20')
    await runNight(house.service, day('2026-11-25'))
    expect(await rows(house, `select role, kind from task where done_at is null`)).toEqual([
      { role: 'manager', kind: 'local-setting-missing' },
    ])
    const setting = { key: 'notAsked', value: 'maybe', fromDay: '2026-11-26', reason: 'our lawyer' }
    const refused = await house.as('manager').post('/v1/local-settings', setting)
    expect([refused.status, refused.body.errors[0].pointer]).toEqual([400, '#/value'])
    await house
      .as('manager')
      .post('/v1/local-settings', { ...setting, value: 'write' })
      .expect(201)
    expect(await rows(house, `select 1 from task where done_at is null`)).toEqual([])
    await runNight(house.service, day('2026-11-26'))
    expect(await letters()).toHaveLength(2)
  })

  test('a weekday declared quiet decides nothing; the next night makes it good', async () => {
    await serviced(house, await addOwner(house), '2022-01-25')
    await house
      .as('manager')
      .post('/v1/house-rules', { key: 'quietWeekdays', value: 4, fromDay: '2026-11-25', reason: 'Wednesdays' })
      .expect(201)
    expect(await runNight(house.service, day('2026-11-25'))).toMatchObject({ quiet: true, letters: 0, looked: 0 })
    expect(await runNight(house.service, day('2026-11-26'))).toMatchObject({ quiet: false, letters: 1 })
  })

  test('a letter taken back for one of its watches is written again for the others in the next night', async () => {
    const owner = await addOwner(house)
    const gone = await quartz(house, owner, '2024-12-10')
    const kept = await serviced(house, owner, '2022-01-20')
    await runNight(house.service, day('2026-11-25'))
    expect((await letters())[0].items).toEqual(['cell-change 1', 'complete-service 1'])
    await house
      .as('counter')
      .post(`/v1/watches/${gone}/ownerships`, { ownerId: null, from: '2026-11-25', how: 'sold, as the owner told' })
      .expect(201)
    house.setNow('2026-11-26')
    await runNight(house.service, day('2026-11-26'))
    expect((await letters()).map(({ run, state, items }) => [run, state, items])).toEqual([
      ['2026-11-25', 'withdrawn', ['cell-change 1', 'complete-service 1']],
      ['2026-11-26', 'queued', ['complete-service 1']],
    ])
    expect(await rows(house, `select watch_id from notice_item where run_on = '2026-11-26'`)).toEqual([
      { watch_id: kept },
    ])
  })

  test('waits, at every door, for the dates that a changed rule touches; then writes by the new ones', async () => {
    await quartz(house, await addOwner(house), '2024-12-10')
    await house
      .as('manager')
      .post('/v1/house-rules', { key: 'cellMonths', value: 36, fromDay: '2026-11-26', reason: 'better cells' })
      .expect(201)
    house.setNow('2026-11-26')
    // another replica holds the re-reckoning; the command line reads the true clock, so its day lies far back
    await rows(
      house,
      `update re_reckoning set from_day = '2020-01-01', state = 'running', owner = gen_random_uuid(),
         lease_until = clock_timestamp() + interval '1 hour'`,
    )
    const refused = await house.as('manager').post('/v1/nightly-runs', {})
    expect([refused.status, refused.body.type]).toEqual([409, expect.stringContaining('night-waits')])
    expect(refused.body.detail).toContain('GET /v1/re-reckonings')
    await expect(runNight(house.service, day('2026-11-25'))).rejects.toMatchObject({ code: 'night-waits' })
    for (const more of [[], ['--for', '2020-02-01']])
      await expect(
        promisify(execFile)(process.execPath, ['--import', 'tsx', 'src/jobs/nightly-cli.ts', ...more], {
          env: { ...process.env, DATABASE_URL: house.databaseUrl, NIGHTLY_AT: '00:00' },
        }),
      ).rejects.toMatchObject({ code: 1, stderr: expect.stringContaining('reckoned anew') })
    const nightly = jobs.find((job) => job.name === 'nightly') as Job
    await nightly.run(house.service, new AbortController().signal)
    expect(await rows(house, 'select 1 from nightly_run')).toEqual([])
    await rows(house, `update re_reckoning set lease_until = clock_timestamp() - interval '1 second'`)
    await house.as('manager').post('/v1/nightly-runs', {}).expect(200)
    // 2024-12-10 and 36 months: nothing to write about for a year
    expect(await rows(house, `select due_on::text as due from obligation where kind = 'cell-change'`)).toEqual([
      { due: '2027-12-10' },
    ])
    expect(await letters()).toEqual([])
  })

  test('merged records get one letter to the kept one; each key stays with the record of the watch', async () => {
    const kept = await addOwner(house)
    const double = await addOwner(house)
    await serviced(house, kept, '2022-01-20')
    await serviced(house, double, '2022-01-22')
    await house.as('counter').post(`/v1/owners/${double}/merge`, { into: kept })
    await runNight(house.service, day('2026-11-25'))
    expect(await letters()).toMatchObject([{ owner: kept, items: ['complete-service 1', 'complete-service 1'] }])
    expect(await rows(house, 'select owner_id from notice_item order by id')).toEqual([
      { owner_id: kept },
      { owner_id: double },
    ])
  })

  test('two records that look like one person: the later one waits fourteen days', async () => {
    const contacts = [
      { means: 'phone', value: '+41446681800' },
      { means: 'e-mail', value: 'a.haldenau@example.org' },
    ]
    const first = await addOwner(house, { name: 'Anna Haldenau', contacts })
    const second = await addOwner(house, { name: 'Ana Haldenau', contacts, confirmedNew: true })
    await serviced(house, first, '2022-01-20')
    await serviced(house, second, '2022-01-20')
    await runNight(house.service, day('2026-11-25'))
    expect((await letters()).map((l) => l.owner)).toEqual([first])
    expect(await rows(house, 'select owner_id, reasons from withheld_item')).toEqual([
      { owner_id: second, reasons: ['doubtful-pair'] },
    ])
    await runNight(house.service, day('2026-12-08'))
    expect(await letters()).toHaveLength(1)
    await runNight(house.service, day('2026-12-09'))
    expect((await letters()).map((l) => [l.run, l.owner])).toEqual([
      ['2026-11-25', first],
      ['2026-12-09', second],
    ])
  })
})

describe('a visit', () => {
  /** An ended ticket of this watch, with one line of its estimate declined where `declined` says which. */
  async function visit(watch: string, owner: string, ended: string, declined?: 'complete_service' | 'pressure_test') {
    const [ticket] = await rows(
      house,
      `insert into ticket (number, watch_id, owner_id, brought_by, complaint, booked_on, ended, ended_on, step, created_by)
       values ('T' || gen_random_uuid(), $1, $2, 'the owner', 'runs slow', $3, 'handed-over', $3, 'handed-over', 'test') returning id`,
      [watch, owner, ended],
    )
    if (!declined) return
    await rows(
      house,
      `with e as (insert into estimate (ticket_id, n, kind, currency, rounding, made_on, net, tax, total, recorded_by)
         values ($1, 1, 'fixed', 'EUR', 'per-total', $2, 0, 0, 0, 'test') returning id),
       l as (insert into estimate_line (estimate_id, place, what, quantity, choice, ${declined}) select id, 1, 'what was offered', 1, 'should', true from e returning id)
       select id from l`,
      [ticket.id, ended],
    ).then(([line]) =>
      rows(
        house,
        `insert into estimate_answer (ticket_id, version, line_id, answer, person, how, on_day, at, total, recorded_by)
         values ($1, 1, $2, 'no', 'the owner', 'in-person', $3, now(), 0, 'test')`,
        [ticket.id, line.id, ended],
      ),
    )
  }

  test('that ended keeps reminders away for thirty days, whatever is due', async () => {
    const owner = await addOwner(house)
    const watch = await serviced(house, owner, '2022-01-20')
    await visit(watch, owner, '2026-11-20')
    expect(await runNight(house.service, day('2026-11-25'))).toMatchObject({
      letters: 0,
      reasons: { 'thirty-days': 1 },
    })
    expect(await runNight(house.service, day('2026-12-19'))).toMatchObject({ letters: 0, looked: 0 })
    expect(await runNight(house.service, day('2026-12-20'))).toMatchObject({ letters: 1 })
  })

  test('at which the service was declined is quiet for a year, then writes once', async () => {
    const owner = await addOwner(house)
    const watch = await serviced(house, owner, '2021-11-30')
    await visit(watch, owner, '2026-10-10', 'complete_service')
    expect(await runNight(house.service, day('2026-11-25'))).toMatchObject({ letters: 0, reasons: { declined: 1 } })
    expect(await runNight(house.service, day('2027-10-10'))).toMatchObject({ letters: 1 })
    expect((await letters())[0].items).toEqual(['complete-service after-refusal'])
  })

  test('and was declined, long after its last letter day: a shorter quiet brings its one letter forward, a longer one no second', async () => {
    const owner = await addOwner(house)
    const watch = await serviced(house, owner, '2020-12-20')
    await visit(watch, owner, '2026-10-10', 'complete_service')
    await runNight(house.service, day('2026-11-25'))
    await rule('refusalQuietMonths', 2, '2026-12-25')
    house.setNow('2026-12-25')
    expect(await runNight(house.service, day('2026-12-25'))).toMatchObject({ letters: 1 })
    expect((await letters())[0].items).toEqual(['complete-service after-refusal'])
    await rule('refusalQuietMonths', 4, '2026-12-26')
    for (const date of ['2026-12-26', '2027-02-10']) {
      house.setNow(date)
      expect(await runNight(house.service, day(date))).toMatchObject({ letters: 0 })
    }
  })

  test('waits no longer than a shortened rhythm, even where its first letter day lies before its lead', async () => {
    const owner = await addOwner(house)
    await rule('completeServiceLetter1Days', -120, '2026-11-25')
    const watch = await serviced(house, owner, '2022-03-01')
    await visit(watch, owner, '2026-11-20')
    expect(await runNight(house.service, day('2026-11-25'))).toMatchObject({ reasons: { 'thirty-days': 1 } })
    await rule('letterRhythmDays', 5, '2026-11-26')
    house.setNow('2026-11-26')
    expect(await runNight(house.service, day('2026-11-26'))).toMatchObject({ letters: 1 })
  })
})

describe('a cell that gave a sign', () => {
  test('the fact, the obligation and the task to call are one transaction (equal xmin)', async () => {
    const owner = await addOwner(house)
    const watch = await quartz(house, owner, '2026-01-05')
    await happened(house, watch, { event: 'sign', sign: 'cell-leaking', on: '2026-11-25', source: 'owner-word' })
    const [row] = await rows(
      house,
      `select (select xmin::text from watch_event where watch_id = $1 and event = 'sign') as fact,
         (select xmin::text from obligation where watch_id = $1 and kind = 'cell-change') as obligation,
         (select xmin::text from task where watch_id = $1) as task, (select words from task where watch_id = $1) as words`,
      [watch],
    )
    expect(row.fact).toMatch(/^\d+$/)
    expect([row.obligation, row.task]).toEqual([row.fact, row.fact])
    expect(row.words).toContain('leaks')
  })

  test('is called about in the words of the house’s own numbers', async () => {
    await rule('spentOverdueDays', 4, '2026-11-25')
    await rule('endOfLifeOverdueDays', 2, '2026-11-25')
    for (const sign of ['cell-leaking', 'cell-dead', 'cell-end-of-life']) {
      const watch = await quartz(house, await addOwner(house), '2026-01-05')
      await happened(house, watch, { event: 'sign', sign, on: '2026-11-25', source: 'owner-word' })
    }
    // overdue from the day after these
    expect(
      (await rows(house, 'select words from task order by id')).map(({ words }) => words.split('it should ')[1]),
    ).toEqual(['come out at once.', 'come out within 3 days.', 'be changed within a day.'])
  })

  test('with a telephone the letter waits for the call; the cell changed, the call closes by itself', async () => {
    const contacts = [
      { means: 'e-mail', value: 'call@example.org' },
      { means: 'phone', value: '+41446681801' },
    ]
    const watch = await quartz(house, await addOwner(house, { contacts }), '2026-01-05')
    await happened(house, watch, { event: 'sign', sign: 'cell-dead', on: '2026-11-25', source: 'owner-word' })
    for (const date of ['2026-11-25', '2026-11-26'])
      expect(await runNight(house.service, day(date))).toMatchObject({ letters: 0 })
    expect(await runNight(house.service, day('2026-11-27'))).toMatchObject({ letters: 1 })
    expect((await letters())[0].items).toEqual(['cell-change 1'])
    house.setNow('2026-11-28')
    await happened(house, watch, { event: 'cell-fitted', on: '2026-11-28' })
    expect(await rows(house, 'select done_by, done_how from task')).toEqual([
      { done_by: 'service', done_how: 'the sign no longer stands' },
    ])
  })
})
