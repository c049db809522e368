import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { addDays, type Day } from '../../src/domain/day.ts'
import { runNight } from '../../src/features/nightly-runs/run.ts'
import { runReReckonings } from '../../src/features/re-reckonings/run.ts'
import { rehearseHouseRule } from '../../src/features/rehearsals/rehearsals.ts'
import { addOwner, addWatch, all, happened, quartz, rows, serviced } from '../jobs/book.ts'
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

type Week = { week: string; before: number; after: number }
const written = (body: { letters: { weeks: Week[] } }) =>
  body.letters.weeks.filter((week) => week.before + week.after > 0)

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
    // one letter each way, to one owner: as it is the service's of 2027-01-14, which takes the cell's of ten days later
    // along; as it would be the cell's of 2027-01-24, with the service's of 2027-01-31
    expect(body.letters).toMatchObject({ owners: 1, lookedAt: 1, exact: true })
    expect(written(body)).toEqual([
      { week: '2027-01-11', before: 1, after: 0 },
      { week: '2027-01-18', before: 0, after: 1 },
    ])
    expect(body.missing[0]).toContain('completeServiceMinutes')
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
    expect(JSON.stringify(body.missing)).not.toContain('cellChangeMinutes')
    // the price list knows better: the longest of its cell operations for that class of work
    for (const [code, workClass, minutes] of [
      ['cell', 'cell', 25],
      ['cell-lithium', 'cell', 30],
      ['cell', undefined, 90],
    ] as const)
      await house
        .as('manager')
        .post('/v1/prices', {
          code,
          workClass,
          what: 'cell change',
          from: '2027-01-01',
          amount: 2000,
          currency: 'EUR',
          taxClass: 'standard',
          minutes,
          guarantee: 'cell',
        })
        .expect(201)
    const listed = await rehearse({ key: 'cellMonths', value: 12, fromDay: '2027-01-01', weeks: 26 }).expect(200)
    expect(listed.body.bench.find((row: { kind: string }) => row.kind === 'cell-change')).toMatchObject({
      workClass: 'cell',
      minutes: 30,
      minutesFrom: 'price-list',
      jobsAfter: hours.jobsAfter,
      hoursAfter: hours.jobsAfter / 2,
    })

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
    expect((await rehearse({ ...good, key: 'cellShelfMonths', value: 30 })).body.errors[0].pointer).toBe('#/key')
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

test('what an old letter said, and why, stays as it was when the maker says something else', async () => {
  house.setNow('2027-02-01')
  const { body: calibre } = await house.as('bench').post('/v1/calibres', { name: 'R 3', energy: 'none' }).expect(201)
  const word = (months: number) =>
    house
      .as('manager')
      .post('/v1/guidance', {
        calibreId: calibre.id,
        obligation: 'complete-service',
        months,
        inForceFrom: '2027-02-01',
        sourcePaper: `bulletin of ${months} months`,
      })
      .expect(201)
  await word(60)
  const owner = await addOwner(house)
  const watchId = await addWatch(house, owner, { calibreId: calibre.id })
  await happened(house, watchId, { event: 'complete-service', on: '2022-03-10', learned: '2022-03-10' })
  await runNight(house.service, '2027-02-01' as never)
  const letter = () =>
    rows(
      house,
      `select n.plan, n.trace, n.come_by::text, n.text_version, (select jsonb_agg(i order by i.id) from notice_item i where i.notice_id = n.id) as items
       from notice n where n.owner_id = $1`,
      [owner],
    )
  const before = await letter()
  expect(before).toHaveLength(1)
  expect(before[0].trace.items).toEqual([
    expect.objectContaining({ rule: 'maker', months: 60, baseOn: '2022-03-10', dueOn: '2027-03-10' }),
  ])
  await word(120)
  await runReReckonings(house.service)
  expect(
    await rows(
      house,
      `select months, due_on::text as due from obligation where watch_id = $1 and kind = 'complete-service'`,
      [watchId],
    ),
  ).toEqual([{ months: 120, due: '2032-03-10' }])
  await runNight(house.service, '2027-02-02' as never)
  expect(await letter()).toEqual(before)
})

/** Owners of every sort: what folds, what is withheld and why, what waits for the rhythm, and a cell that gave a sign. */
async function mixedCentre(of: House) {
  const folding = await addOwner(of)
  const claimed = { kind: 'quartz', waterClaim: { marked: 'rated', bar: 10 } }
  const diver = await addWatch(of, folding, claimed)
  await happened(of, diver, { event: 'complete-service', on: '2020-01-10', learned: '2020-01-10' })
  await happened(of, diver, { event: 'cell-fitted', on: '2025-01-05', learned: '2025-01-05' })
  await happened(of, diver, { event: 'water-test', on: '2025-01-20', learned: '2025-01-20', passed: true })
  await serviced(of, folding, '2022-02-20')
  const many = await addOwner(of)
  for (const on of ['2021-11-01', '2022-01-15', '2022-02-12', '2022-05-28']) await serviced(of, many, on)
  await quartz(of, many, '2025-01-28')
  const dead = await addOwner(of)
  await serviced(of, dead, '2022-01-10')
  await of.as('counter').post(`/v1/owners/${dead}/deceased`, { on: '2026-11-02', toldBy: 'a sister' }).expect(201)
  const refusing = await addOwner(of, { noticeChoices: all('no') })
  await serviced(of, refusing, '2022-01-10')
  const forAWhile = await addOwner(of)
  await serviced(of, forAWhile, '2022-02-15')
  await of
    .as('manager')
    .post(`/v1/owners/${forAWhile}/lawful-bases`, { basis: 'their word', keepUntil: '2026-12-14' })
    .expect(201)
  const declining = await addOwner(of)
  const declined = await serviced(of, declining, '2021-08-10')
  await of
    .as('counter')
    .post(`/v1/watches/${declined}/refused-offers`, {
      kind: 'complete-service',
      on: '2025-12-20',
      source: 'own-record',
    })
    .expect(201)
  const coming = await addOwner(of)
  const expected = await serviced(of, coming, '2021-12-28')
  await of
    .as('counter')
    .post(`/v1/watches/${expected}/appointments`, { on: '2026-12-09', source: 'owner-word' })
    .expect(201)
  const unknown = await addOwner(of)
  await addWatch(of, unknown, { firstSeen: '2026-10-20' })
  await serviced(of, unknown, '2024-06-01')
  const flat = await addOwner(of)
  const dry = await quartz(of, flat, '2025-05-05')
  await happened(of, dry, { event: 'sign', sign: 'cell-dead', on: '2026-11-24', source: 'owner-word' })
  await serviced(of, flat, '2022-01-30')
  for (const on of ['2022-02-01', '2022-02-25', '2022-03-05', '2022-03-20']) {
    const owner = await addOwner(of)
    await serviced(of, owner, on)
    await quartz(of, owner, `2025-0${on.slice(6, 7)}-27`)
  }
}

const weeksAhead = 8
const monday = '2026-11-30'
/** Letters by week as the nights really wrote them, from the Monday of the week of the change. */
async function nightsOf(of: House): Promise<number[]> {
  for (let n = 0; n < 5 + 7 * weeksAhead; n++) {
    const day = addDays('2026-11-25' as Day, n)
    of.setNow(day)
    await runNight(of.service, day)
  }
  const found = await rows(
    of,
    `select (run_on - $1::date) / 7 as week, count(*)::int as n from notice where run_on >= $1 group by 1`,
    [monday],
  )
  return Array.from({ length: weeksAhead }, (_, week) => found.find((row) => row.week === week)?.n ?? 0)
}

describe('a rule that moves no date', () => {
  test('of the letters moves no watch and changes letters; beyond so many owners they are counted up from a sample', async () => {
    const of = await openHouse({ now: '2026-11-25' })
    await mixedCentre(of)
    const asked = { key: 'letterRhythmDays', value: 300, fromDay: '2026-11-25', weeks: 20 }
    const { body } = await of.as('manager').post('/v1/house-rules/rehearsals', asked).expect(200)
    expect(body.watches).toEqual({ touched: 0, moved: 0 })
    const sum = (weeks: Week[], side: 'before' | 'after') => weeks.reduce((n, week) => n + week[side], 0)
    const owners = body.letters.owners
    expect(body.letters).toMatchObject({ lookedAt: owners, exact: true })
    expect(sum(body.letters.weeks, 'after')).toBeLessThan(sum(body.letters.weeks, 'before'))
    const { letters } = await rehearseHouseRule(of.database, '2026-11-25' as Day, asked as never, 6)
    expect(letters).toMatchObject({ owners, lookedAt: 6, exact: false })
    // every week is that of the six, counted up: a multiple of owners ÷ 6, rounded
    for (const { before } of letters.weeks)
      expect(Math.round((Math.round((before * 6) / owners) * owners) / 6)).toBe(before)
    expect(sum(letters.weeks, 'before')).toBeGreaterThan(0)
    await of.close()
  })
})

describe('letters by week', () => {
  const openMixed = async () => {
    const of = await openHouse({ now: '2026-11-25' })
    await mixedCentre(of)
    return of
  }
  const asked = { fromDay: '2026-12-02', weeks: weeksAhead }
  const changes = [
    { key: 'usualServiceMonths', value: 57 },
    { key: 'letterRhythmDays', value: 9 },
    { key: 'completeServiceLetter1Days', value: -80 },
    { key: 'refusalQuietMonths', value: 11 },
  ]

  test('are those that the nights then write: as it is, and with each change', async () => {
    const asItIs = await openMixed()
    const thought: Week[][] = []
    for (const change of changes) {
      const { body } = await asItIs
        .as('manager')
        .post('/v1/house-rules/rehearsals', { ...change, ...asked })
        .expect(200)
      expect(body.letters, change.key).toMatchObject({ exact: true, owners: body.letters.lookedAt })
      thought.push(body.letters.weeks)
    }
    expect(thought[1]?.map((week) => week.week)[0]).toBe(monday)
    const plain = await nightsOf(asItIs)
    await asItIs.close()
    expect(plain.reduce((sum, n) => sum + n, 0)).toBeGreaterThan(6)
    // the rules of letters look at every owner; those of the reckoning at the owners of what they touch, here all as well
    for (const weeks of thought) expect(weeks.map((week) => week.before)).toEqual(plain)
    for (const [n, change] of changes.entries()) {
      const changed = await openMixed()
      await changed
        .as('manager')
        .post('/v1/house-rules', { ...change, fromDay: asked.fromDay, reason: 'as thought' })
        .expect(201)
      const ran = await nightsOf(changed)
      await changed.close()
      expect(
        thought[n]?.map((week) => week.after),
        change.key,
      ).toEqual(ran)
      expect(ran, `${change.key} changes something`).not.toEqual(plain)
    }
  }, 240_000)
})
