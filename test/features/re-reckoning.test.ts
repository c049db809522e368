import { spawn } from 'node:child_process'
import { once } from 'node:events'
import path from 'node:path'
import { afterAll, afterEach, beforeAll, describe, expect, test } from 'vitest'
import { reachOfNoticeRule } from '../../src/domain/notices/rule-reach.ts'
import { reachOfRule } from '../../src/domain/rule-reach.ts'
import { runReReckonings } from '../../src/features/re-reckonings/run.ts'
import { act } from '../../src/http/service.ts'
import { type House, openHouse } from '../support/house.ts'

let house: House
beforeAll(async () => {
  house = await openHouse({ now: '2026-11-25' })
})
afterAll(() => house.close())

const sql = async (text: string, values: unknown[] = []) => (await house.database.pool.query(text, values)).rows

/** Watches serviced on a day, loaded at once; their ids in order. */
async function serviced(count: number, on: string, more: object = {}): Promise<string[]> {
  const ref = `r${Math.random()}`
  const { body } = await house
    .as('manager')
    .post('/v1/imports', {
      owners: [{ ref, name: `Owner ${ref}`, language: 'en', contacts: [] }],
      watches: Array.from({ length: count }, (_, n) => ({
        ref: `${ref}-${n}`,
        owner: ref,
        maker: 'Halden',
        kind: 'hand-wound',
        firstSeen: '2015-01-01',
        events: [{ event: 'complete-service', on, source: 'own-record', learned: on }],
        ...more,
      })),
    })
    .expect(201)
  return (body.watches as { id: string }[]).map((watch) => watch.id).sort()
}
const change = async (key: string, value: number, fromDay: string) =>
  (
    await house
      .as('manager')
      .post('/v1/house-rules', { key, value, fromDay, reason: 'experience of this house' })
      .expect(201)
  ).body
const progress = async (id: string) => (await house.as('counter').get(`/v1/re-reckonings/${id}`).expect(200)).body
const serviceOn = async (ids: string[]) =>
  (
    await sql(
      `select due_on::text as due from obligation where kind = 'complete-service' and watch_id = any($1) order by watch_id`,
      [ids],
    )
  ).map((row) => row.due)
/** What is on file, and what the facts come to if reckoned now: they must be the same. */
async function fresh(id: string) {
  const { body: now } = await house.as('counter').get(`/v1/watches/${id}/obligations`).expect(200)
  const { body: kept } = await house.as('counter').get(`/v1/watches/${id}`).expect(200)
  const dates = (list: { kind: string; rule: string; dueOn: string; noticesDueOn: string }[]) =>
    list.map(({ kind, rule, dueOn, noticesDueOn }) => ({ kind, rule, dueOn, noticesDueOn }))
  return { now: dates(now.obligations), kept: dates(kept.obligations) }
}

const until = async (is: () => Promise<boolean>) => {
  while (!(await is())) await new Promise((resolve) => setTimeout(resolve, 10))
}
/** Does the first batches, so that whoever takes a lock from here on is not waited for as one who may know the old rule. */
async function begin() {
  const stop = new AbortController()
  await runReReckonings(house.service, { batch: 2, stop: stop.signal, afterBatch: () => stop.abort() })
}
let held: { release: () => Promise<void> } | null = null
afterEach(async () => {
  await held?.release()
})
/** Holds the row of a watch until it is let go. */
async function hold(id: string) {
  const holder = await house.database.pool.connect()
  await holder.query('begin')
  await holder.query('select from watch where id = $1 for update', [id])
  const lock = {
    release: async () => {
      held = null
      await holder.query('rollback')
      holder.release()
    },
  }
  held = lock
  return lock
}
const waiting = async (): Promise<number> =>
  (
    await sql(
      `select count(*)::int as n from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock' and query ~ 'from watch'`,
    )
  )[0].n

describe('a changed house rule', () => {
  test('from today reckons a few watches at once, and only those it touches', async () => {
    const [mine] = await serviced(1, '2023-06-10')
    const [quartz] = await serviced(1, '2023-06-10', { kind: 'quartz' })
    const before = await sql('select * from obligation where watch_id = $1 order by kind', [quartz])
    const said = await change('usualServiceMonths', 54, '2026-11-25')
    expect(said.reReckoning.watchesAtOnce).toBe(1)
    // 2023-06-10 and 54 months
    expect(await serviceOn([mine as string])).toEqual(['2027-12-10'])
    expect(await sql('select * from obligation where watch_id = $1 order by kind', [quartz])).toEqual(before)
    expect(await runReReckonings(house.service)).toEqual({ finished: 1, open: false })
    expect(await progress(said.reReckoning.id)).toMatchObject({ state: 'finished', done: 1, total: 1, moved: 0 })
  })

  test('whose day lies ahead changes nothing before it, and all it touches on it', async () => {
    const ids = await serviced(7, '2024-02-29')
    const was = await serviceOn(ids)
    const { reReckoning } = await change('usualServiceMonths', 48, '2027-01-01')
    expect(reReckoning).toMatchObject({ fromDay: '2027-01-01', watchesAtOnce: null })
    expect(await runReReckonings(house.service)).toEqual({ finished: 0, open: false })
    expect(await progress(reReckoning.id)).toMatchObject({ state: 'waiting', done: 0 })
    expect(await serviceOn(ids)).toEqual(was)
    house.setNow('2027-01-01')
    await runReReckonings(house.service, { batch: 3 })
    // a month of 29 days to the next: the leap day comes back after 48 months
    expect(await serviceOn(ids)).toEqual(ids.map(() => '2028-02-29'))
    expect(await progress(reReckoning.id)).toMatchObject({ state: 'finished', done: 8, total: 8, moved: 8 })
    for (const id of ids) {
      const { now, kept } = await fresh(id)
      expect(kept).toEqual(now)
    }
  })

  test('of the letters has what may be written about looked at on its day; one of the stock touches no watch', async () => {
    await serviced(1, '2022-01-20')
    const { reReckoning } = await change('letterRhythmDays', 20, '2027-01-01')
    await sql(`update obligation set next_notice_on = '2027-06-01' where next_notice_on is not null`)
    await runReReckonings(house.service)
    expect((await progress(reReckoning.id)).state).toBe('finished')
    const woken = await sql(`select distinct next_notice_on::text as day from obligation
      where rule is not null and kind <> 'seals' and coming_up_from <= '2027-01-01' and (stop_on is null or stop_on > '2027-01-01')`)
    expect(woken).toEqual([{ day: '2027-01-01' }])
    // what rides along in a letter is asked anew every night
    expect((await change('gatherDays', 20, '2027-01-01')).reReckoning).toBeNull()
    expect((await change('cellGuardMonths', 4, '2027-01-01')).reReckoning).toBeNull()
    const { body } = await house.as('stock').get('/v1/house-rules?on=2027-01-01').expect(200)
    expect(body.items.find((item: { key: string }) => item.key === 'cellGuardMonths').value).toBe(4)
  })

  test('of a day of letters moves the next look though no date moves', async () => {
    const [id] = await serviced(1, '2024-01-20')
    const next = async () =>
      (
        await sql(
          `select next_notice_on::text as day from obligation where watch_id = $1 and kind = 'complete-service'`,
          [id],
        )
      )[0].day
    // due 2028-01-20 (48 months since the test above), first letter sixty days before
    expect(await next()).toBe('2027-11-21')
    await change('completeServiceLetter1Days', -90, '2027-01-01')
    expect(await next()).toBe('2027-10-22')
    await runReReckonings(house.service)
  })

  const touching = Object.entries(reachOfNoticeRule).flatMap(([key, reach]) => (reach.length > 0 ? [key] : []))
  test.each([...Object.keys(reachOfRule), ...touching])(
    '%s: the statement that finds its watches is one that PostgreSQL takes',
    async (key) => {
      const { items } = (await house.as('counter').get('/v1/house-rules').expect(200)).body
      const { value } = items.find((item: { key: string }) => item.key === key)
      await change(key, value, '2027-01-01')
      expect(await runReReckonings(house.service)).toEqual({ finished: 1, open: false })
    },
  )
})

describe('a re-reckoning of many', () => {
  test('that is killed goes on where it stopped, and one that froze and wakes writes nothing more', async () => {
    const ids = await serviced(40, '2024-03-10')
    const { reReckoning } = await change('usualServiceMonths', 50, '2027-02-01')
    house.setNow('2027-02-01')
    // a process of its own, killed after its second batch of six
    const child = spawn(
      process.execPath,
      [
        '--import',
        'tsx',
        path.join(import.meta.dirname, '../support/re-reckoning-child.ts'),
        house.databaseUrl,
        '2027-02-01',
        '2',
      ],
      { stdio: 'inherit' },
    )
    const [, signal] = await once(child, 'exit')
    expect(signal).toBe('SIGKILL')
    const killed = await progress(reReckoning.id)
    // two lanes: what one of them had committed ahead of the other is not yet passed by the cursor, and is done again
    expect(killed.state).toBe('running')
    expect([0, 6, 12, 18]).toContain(killed.done)
    // its lease still runs: nobody else takes it
    expect(await runReReckonings(house.service, { batch: 6 })).toEqual({ finished: 0, open: true })
    await sql(`update re_reckoning set lease_until = clock_timestamp() - interval '1 second' where id = $1`, [
      reReckoning.id,
    ])

    // another takes it up and freezes after a batch; its lease runs out and a third finishes
    let wake = () => {}
    let frozen = () => {}
    const isFrozen = new Promise<void>((resolve) => {
      frozen = resolve
    })
    const awake = new Promise<void>((resolve) => {
      wake = resolve
    })
    let lanes = 0
    const slow = runReReckonings(house.service, {
      batch: 6,
      afterBatch: () => {
        if (++lanes === 2) frozen()
        return awake
      },
    })
    await isFrozen
    await sql(`update re_reckoning set lease_until = clock_timestamp() - interval '1 second' where id = $1`, [
      reReckoning.id,
    ])
    expect(await runReReckonings(house.service, { batch: 6 })).toEqual({ finished: 1, open: false })
    const done = await progress(reReckoning.id)
    wake()
    expect((await slow).finished).toBe(0)
    expect(await progress(reReckoning.id)).toEqual(done)
    // every watch once: no batch twice, none left out
    expect(done.done).toBe(done.total)
    expect(await serviceOn(ids)).toEqual(ids.map(() => '2028-05-10'))
  })

  test('lets its cursor pass no watch that the other lane has not done', async () => {
    const ids = await serviced(12, '2024-03-20')
    const { reReckoning } = await change('usualServiceMonths', 52, '2027-02-02')
    house.setNow('2027-02-02')
    await begin()
    const lock = await hold(ids[0] as string)
    const run = runReReckonings(house.service, { batch: 2 })
    // the other lane goes on to the end beside it
    const moved = `select months = 52 as yes from obligation where watch_id = $1 and kind = 'complete-service'`
    await until(async () => (await sql(moved, [ids.at(-1)]))[0].yes)
    const [row] = await sql('select cursor < $2 as behind, done, total from re_reckoning where id = $1', [
      reReckoning.id,
      ids[0],
    ])
    expect(row.behind).toBe(true)
    expect(row.done).toBeLessThanOrEqual(row.total - 12)
    await lock.release()
    expect(await run).toEqual({ finished: 1, open: false })
    const { done, total } = await progress(reReckoning.id)
    expect(done).toBe(total)
  })

  test.each(['the fact', 'the batch'])(
    'never overwrites a fact recorded meanwhile, where %s comes first to the watch',
    async (first) => {
      const [id] = (await serviced(1, '2024-04-10')) as [string]
      const months = first === 'the fact' ? 47 : 49
      const day = first === 'the fact' ? '2027-02-03' : '2027-02-04'
      await change('usualServiceMonths', months, day)
      house.setNow(day)
      await begin()
      const lock = await hold(id)
      const record = () =>
        house
          .as('bench')
          .post(`/v1/watches/${id}/events`, { event: 'complete-service', on: '2026-10-15', source: 'own-record' })
          .expect(201)
          .then(() => {})
      const reckon = () => runReReckonings(house.service, { batch: 50 }).then(() => {})
      // both wait for the watch, in this order, and get it in this order
      const one = (first === 'the fact' ? record : reckon)()
      await until(async () => (await waiting()) === 1)
      const other = (first === 'the fact' ? reckon : record)()
      await until(async () => (await waiting()) === 2)
      await lock.release()
      await Promise.all([one, other])
      const { now, kept } = await fresh(id)
      expect(kept).toEqual(now)
      // 2026-10-15 and 47 months, or 49
      expect(kept[0]?.dueOn).toBe(first === 'the fact' ? '2030-09-15' : '2030-11-15')
    },
  )

  test('waits for whoever had begun to write before the change, and may not have seen it', async () => {
    const [id] = await serviced(1, '2024-05-10')
    let commit = () => {}
    let begun = () => {}
    const hasBegun = new Promise<void>((resolve) => {
      begun = resolve
    })
    const gate = new Promise<void>((resolve) => {
      commit = resolve
    })
    // a writer that has written something, and will write on with what it read before
    const writer = act(house.service, { keyId: null, name: 'slow writer', role: 'service' }, async ({ tx }) => {
      await tx.$executeRaw`update watch set own_mark = 'slow' where id = ${id}::uuid`
      begun()
      await gate
    })
    await hasBegun
    await change('usualServiceMonths', 46, '2027-02-05')
    house.setNow('2027-02-05')
    expect(await runReReckonings(house.service, { patienceMs: 0 })).toEqual({ finished: 0, open: true })
    commit()
    await writer
    expect(await runReReckonings(house.service)).toEqual({ finished: 1, open: false })
    expect(await serviceOn([id as string])).toEqual(['2028-03-10'])
  })
})

describe('guidance and calibres', () => {
  test('touch the watches of the calibre alone, now and on the day the word comes into force', async () => {
    house.setNow('2027-02-05')
    const { body: calibre } = await house.as('bench').post('/v1/calibres', { name: 'R 1', energy: 'none' }).expect(201)
    const inside = (
      await house
        .as('counter')
        .post('/v1/watches', { maker: 'Halden', kind: 'hand-wound', firstSeen: '2015-01-01', calibreId: calibre.id })
        .expect(201)
    ).body.id
    await house
      .as('bench')
      .post(`/v1/watches/${inside}/events`, { event: 'complete-service', on: '2025-01-31', source: 'own-record' })
      .expect(201)
    const { body: word } = await house
      .as('manager')
      .post('/v1/guidance', {
        calibreId: calibre.id,
        obligation: 'complete-service',
        months: 25,
        inForceFrom: '2027-03-01',
        sourcePaper: 'bulletin 4',
      })
      .expect(201)
    expect(word.reReckoning).toMatchObject({ fromDay: '2027-03-01', watchesAtOnce: 1 })
    house.setNow('2027-03-01')
    expect(await runReReckonings(house.service)).toEqual({ finished: 1, open: false })
    // 2025-01-31 and 25 months, clamped; ninety days' fairness counts from the day it came into force
    expect(await serviceOn([inside])).toEqual(['2027-02-28'])
    expect((await progress(word.reReckoning.id)).done).toBe(1)
    const { body: list } = await house.as('manager').get('/v1/re-reckonings?limit=1').expect(200)
    expect(list.items[0]).toMatchObject({ guidanceId: word.id, state: 'finished', moved: 1 })
  })
})
