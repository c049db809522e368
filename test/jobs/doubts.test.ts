import { afterAll, beforeAll, expect, test } from 'vitest'
import { runNight } from '../../src/features/nightly-runs/run.ts'
import { type House, openHouse } from '../support/house.ts'
import { all, rows } from './book.ts'

let house: House
beforeAll(async () => {
  house = await openHouse({ now: '2026-11-25' })
})
afterAll(() => house.close())

test('a service typed into the future holds the letter about the service, not the one about the cell', async () => {
  await house
    .as('manager')
    .post('/v1/imports', {
      owners: [
        {
          ref: 'o',
          name: 'Imported Owner',
          language: 'en',
          contacts: [{ means: 'e-mail', value: 'o@example.org' }],
          noticeChoices: all('yes'),
        },
      ],
      watches: [
        {
          ref: 'w',
          owner: 'o',
          maker: 'Halden',
          kind: 'quartz',
          firstSeen: '2019-01-01',
          waterClaim: { marked: 'none' },
          events: [
            { event: 'complete-service', on: '2019-05-04', source: 'own-record', learned: '2019-05-04' },
            { event: 'complete-service', on: '2027-01-12', source: 'own-record', learned: '2026-11-20' },
            { event: 'cell-fitted', on: '2024-12-10', source: 'own-record', learned: '2024-12-10' },
          ],
        },
      ],
    })
    .expect(201)
  const items = () =>
    rows(house, `select run_on::text as run, kind, stage from notice_item where booked = 'letter' order by id`)
  const night = async (day: string) => {
    house.setNow(day)
    await runNight(house.service, day as never)
  }
  await night('2026-11-25')
  // the cell of 2024-12-10 is due after two years; the service of 2019-05-04 was due after seven
  expect(await items()).toEqual([{ run: '2026-11-25', kind: 'cell-change', stage: '1' }])
  expect(await rows(house, 'select kind, stage, reasons from withheld_item')).toEqual([
    { kind: 'complete-service', stage: '3', reasons: ['base-in-doubt'] },
  ])
  const { body } = await house
    .as('counter')
    .get(`/v1/watches/${(await rows(house, 'select id from watch'))[0].id}`)
    .expect(200)
  expect(body.warnings).toEqual(['future-dated'])
  // nobody put it right in fourteen days: it goes with careful words, thirty days after the other, with the cell's second
  for (let day = 26; day <= 30; day++) await night(`2026-11-${day}`)
  for (let day = 1; day <= 25; day++) await night(`2026-12-${String(day).padStart(2, '0')}`)
  expect((await items()).slice(1)).toEqual([
    { run: '2026-12-25', kind: 'cell-change', stage: '2' },
    { run: '2026-12-25', kind: 'complete-service', stage: '3' },
  ])
  const [notice] = await rows(house, `select plan from notice where run_on = '2026-12-25'`)
  expect(
    notice.plan.parts.filter((one: { unsure?: boolean }) => one.unsure).map((one: { kind: string }) => one.kind),
  ).toEqual(['complete-service'])
})
