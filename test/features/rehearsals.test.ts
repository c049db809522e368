import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { runNight } from '../../src/features/nightly-runs/run.ts'
import { runReReckonings } from '../../src/features/re-reckonings/run.ts'
import { addOwner, addWatch, happened, quartz, rows, serviced } from '../jobs/book.ts'
import { type House, openHouse } from '../support/house.ts'

let house: House
beforeAll(async () => {
  house = await openHouse({ now: '2026-11-25' })
})
afterAll(() => house.close())

/** Everything a change of rules could have written to. */
const everything = () =>
  rows(
    house,
    `select (select jsonb_agg(o order by watch_id, kind) from obligation o) as obligations, (select count(*) from house_rule) as rules,
       (select count(*) from guidance) as guidance, (select count(*) from re_reckoning) as runs, (select count(*) from notice) as notices`,
  )
const kindOf = (body: { kinds: { kind: string }[] }, kind: string) => body.kinds.find((row) => row.kind === kind)
const rehearse = (body: object) => house.as('manager').post('/v1/house-rules/rehearsals', body)

describe('a rehearsal', () => {
  test('of 48 months for 60 tells watches, days, letters by week, and hours; it writes nothing', async () => {
    const owner = await addOwner(house)
    // due 2027-03-15, and with 48 months 2026-03-15: passed when it became known on 2027-01-01, so letters count from 2027-04-01
    await serviced(house, owner, '2022-03-15')
    // due 2029-02-28 (no 29 February in 2029), and with 48 months 2028-02-29
    await serviced(house, owner, '2024-02-29')
    const cell = await quartz(house, owner, '2025-03-10')
    const before = await everything()
    const { body } = await rehearse({ key: 'usualServiceMonths', value: 48, fromDay: '2027-01-01', weeks: 10 }).expect(
      200,
    )
    expect(await everything()).toEqual(before)
    expect(body).toMatchObject({ on: '2027-01-01', until: '2027-03-08', watches: { touched: 2, moved: 2 } })
    expect(kindOf(body, 'complete-service')).toMatchObject({
      moved: 2,
      arises: 0,
      ends: 0,
      earliestByDays: -365,
      latestByDays: 0,
    })
    // both a year earlier: 365 days back from 2027-03-15, 365 from 2029-02-28
    expect(
      (
        kindOf(body, 'complete-service') as unknown as { shifts: { fromDays: number; watches: number }[] }
      ).shifts.filter((shift) => shift.watches > 0),
    ).toEqual([{ fromDays: -365, toDays: -181, watches: 2 }])
    // first letters sixty days before: 2027-01-14 as it is, 2027-01-31 as it would be
    expect(body.letterDays.filter((week: { before: number; after: number }) => week.before + week.after > 0)).toEqual([
      { week: '2027-01-11', before: 1, after: 0 },
      { week: '2027-01-25', before: 0, after: 1 },
    ])
    expect(body.missing).toContain('completeServiceMinutes')
    expect(body.bench[0]).toMatchObject({ kind: 'complete-service', minutes: null, hoursBefore: null })

    // the numbers come true: after the change the book holds just these dates
    await house
      .as('manager')
      .post('/v1/house-rules', { key: 'usualServiceMonths', value: 48, fromDay: '2027-01-01', reason: 'as rehearsed' })
      .expect(201)
    house.setNow('2027-01-01')
    await runReReckonings(house.service)
    const dates = await rows(
      house,
      `select due_on::text as due, notices_due_on::text as letters from obligation where kind = 'complete-service' and rule = 'usual' and watch_id <> $1 order by 1`,
      [cell],
    )
    expect(dates).toEqual([
      { due: '2026-03-15', letters: '2027-04-01' },
      { due: '2028-02-29', letters: '2028-02-29' },
    ])
    const again = await rehearse({ key: 'usualServiceMonths', value: 48, fromDay: '2027-01-01' }).expect(200)
    expect(again.body.watches).toEqual({ touched: 2, moved: 0 })
  })

  test('tells cells by designation and hours by the house’s own minutes', async () => {
    house.setNow('2027-01-01')
    const { body: calibre } = await house
      .as('bench')
      .post('/v1/calibres', { name: 'Q 7', energy: 'primary-cell', cellDesignation: 'SR626', cellCount: 2 })
      .expect(201)
    const owner = await addOwner(house)
    const watchId = await addWatch(house, owner, { kind: 'quartz', calibreId: calibre.id })
    await happened(house, watchId, { event: 'complete-service', on: '2026-01-10', learned: '2026-01-10' })
    // due 2028-05-20 by the usual 24 months; by 12 on 2027-05-20
    await happened(house, watchId, { event: 'cell-fitted', on: '2026-05-20', learned: '2026-05-20' })
    await house
      .as('manager')
      .post('/v1/local-settings', { key: 'cellChangeMinutes', value: 45, fromDay: '2027-01-01', reason: 'timed' })
      .expect(201)
    const { body } = await rehearse({ key: 'cellMonths', value: 12, fromDay: '2027-01-01', weeks: 26 }).expect(200)
    expect(body.cells).toContainEqual({ designation: 'SR626', before: 0, after: 2 })
    const hours = body.bench.find((row: { kind: string }) => row.kind === 'cell-change')
    expect(hours).toMatchObject({ minutes: 45, jobsAfter: hours.jobsBefore + 1 })
    expect(hours.hoursAfter).toBeCloseTo((hours.jobsAfter * 45) / 60, 1)
    expect(body.missing).not.toContain('cellChangeMinutes')

    const word = { calibreId: calibre.id, obligation: 'cell-change', months: 36, inForceFrom: '2027-02-01', weeks: 4 }
    const before = await everything()
    const said = await house.as('bench').post('/v1/guidance/rehearsals', word).expect(200)
    expect(said.body).toMatchObject({ on: '2027-02-01', watches: { touched: 1, moved: 1 } })
    // from 2028-05-20 to 2029-05-20
    expect(kindOf(said.body, 'cell-change')).toMatchObject({ moved: 1, latestByDays: 365 })
    expect(await everything()).toEqual(before)
  })

  test('refuses what the change itself would refuse', async () => {
    const good = { key: 'usualServiceMonths', value: 48, fromDay: '2027-01-01' }
    expect((await rehearse({ ...good, fromDay: '2026-12-31' })).body.type).toBe('/problems/rule-in-past')
    expect((await rehearse({ ...good, value: 0 })).body.errors[0].pointer).toBe('#/value')
    expect((await rehearse({ ...good, key: 'none' })).body.errors[0].pointer).toBe('#/key')
    expect((await rehearse({ ...good, key: 'cellGuardMonths', value: 3 })).body.errors[0].pointer).toBe('#/key')
    expect((await house.as('counter').post('/v1/house-rules/rehearsals', good)).status).toBe(403)
    const word = { obligation: 'seals', months: 36, inForceFrom: '2027-02-01' }
    expect((await house.as('bench').post('/v1/guidance/rehearsals', word)).status).toBe(400)
  })
})

test('what an old letter said, and why, stays as it was when the rule changes', async () => {
  house.setNow('2027-01-02')
  const owner = await addOwner(house)
  // due 2027-02-10 by the 48 months of the test above
  const watchId = await serviced(house, owner, '2023-02-10')
  await runNight(house.service, '2027-01-02' as never)
  const letter = () =>
    rows(
      house,
      `select n.plan, n.trace, n.come_by::text, n.text_version, (select jsonb_agg(i order by i.id) from notice_item i where i.notice_id = n.id) as items
       from notice n where n.owner_id = $1`,
      [owner],
    )
  const before = await letter()
  expect(before).toHaveLength(1)
  expect(JSON.stringify(before[0].trace)).toContain('"months": 48'.replace(' ', ''))
  await house
    .as('manager')
    .post('/v1/house-rules', { key: 'usualServiceMonths', value: 96, fromDay: '2027-01-02', reason: 'other oil' })
    .expect(201)
  await runReReckonings(house.service)
  const [now] = await rows(
    house,
    `select months, due_on::text as due from obligation where watch_id = $1 and kind = 'complete-service'`,
    [watchId],
  )
  expect(now).toEqual({ months: 96, due: '2031-02-10' })
  await runNight(house.service, '2027-01-03' as never)
  expect(await letter()).toEqual(before)
})
