import { afterAll, beforeAll, expect, test } from 'vitest'
import { fuzz } from '../support/fuzzing.ts'
import { type House, openHouse } from '../support/house.ts'

let house: House
beforeAll(async () => {
  house = await openHouse()
})
afterAll(() => house.close())

test('no request from the description of the API, however wild, gets a 500, an undeclared answer or changes what it was refused', async () => {
  const found = await fuzz({
    app: house.app,
    pool: house.database.pool,
    keys: house.keys,
    seed: 20_261_125,
    requests: 400,
  })
  expect(found.faults).toEqual([])
  expect(found.requests).toBe(400)
  // a fuzz that is refused everywhere has tried nothing
  const done = Object.entries(found.statuses).filter(([status]) => Number(status) < 400)
  expect(done.reduce((sum, [, n]) => sum + n, 0)).toBeGreaterThan(60)
  expect(Object.keys(found.reached).length).toBeGreaterThan(25)
})

test('every Location it was answered with on the way can be followed', async () => {
  const { rows } = await house.database.pool.query<{ location: string }>(
    `select distinct headers ->> 'location' as location from idempotency_key where headers ->> 'location' is not null order by 1`,
  )
  expect(rows.length).toBeGreaterThan(20)
  // the fuzz may have revoked keys
  await house.database.pool.query('update staff_key set revoked_at = null, revoked_by = null')
  const astray: string[] = []
  for (const { location } of rows) {
    const { status } = await house.as('manager').get(location)
    if (status !== 200) astray.push(`${status} ${location}`)
  }
  expect(astray).toEqual([])
})
