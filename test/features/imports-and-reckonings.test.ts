import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { type House, openHouse } from '../support/house.ts'

let house: House
beforeAll(async () => {
  house = await openHouse({ now: '2026-11-25' })
})
afterAll(() => house.close())

describe('imports', () => {
  test('load owners, watches and facts; what lies in the future is taken, set aside and told', async () => {
    const { body } = await house
      .as('manager')
      .post('/v1/imports', {
        owners: [
          {
            ref: 'a',
            name: 'Imported Owner',
            language: 'fr',
            contacts: [{ means: 'e-mail', value: 'imported@example.org' }],
          },
        ],
        watches: [
          {
            ref: 'w',
            owner: 'a',
            maker: 'Halden',
            kind: 'hand-wound',
            firstSeen: '2019-01-01',
            events: [
              { event: 'complete-service', on: '2021-05-04', source: 'own-record', learned: '2021-05-04' },
              { event: 'complete-service', on: '2027-01-12', source: 'own-record' },
            ],
          },
        ],
      })
      .expect(201)
    expect(body.warnings).toEqual([
      { pointer: '/watches/0/events/1/on', detail: 'lies in the future: on file, set aside until that day' },
    ])
    const { body: due } = await house.as('counter').get(`/v1/watches/${body.watches[0].id}/obligations`).expect(200)
    expect(due.obligations[0]).toMatchObject({
      dueOn: expect.stringMatching(/^2025-11-04|2026-05-04$/),
      baseOn: '2021-05-04',
    })
    expect(due.warnings).toMatchObject([{ code: 'future-dated' }])
  })

  test('a row that refers to nothing is a fault with its pointer, and nothing of the request is written', async () => {
    const count = async () => (await house.database.pool.query('select count(*)::int as n from owner')).rows[0].n
    const before = await count()
    const answer = await house.as('manager').post('/v1/imports', {
      owners: [
        { ref: 'a', name: 'One' },
        { ref: 'a', name: 'Two' },
      ],
      watches: [{ ref: 'w', owner: 'nobody', calibre: 'none such', maker: 'Halden', kind: 'quartz' }],
    })
    expect(answer.status).toBe(400)
    expect(answer.body.errors.map((error: { pointer: string }) => error.pointer).sort()).toEqual([
      '#/owners/1/ref',
      '#/watches/0/calibre',
      '#/watches/0/owner',
    ])
    expect(await count()).toBe(before)
  })
})

describe('the stateless reckoning', () => {
  test('answers without a key, and tells every fault by pointer', async () => {
    const { body } = await house.as('counter').post('/v1/reckonings', {
      on: '2026-11-25',
      watch: { kind: 'self-winding', beatsPerHour: 28_800, firstSeen: '2020-01-01' },
      wear: { daily: 'yes', vibration: 'no', heat: 'no', cold: 'no' },
      history: [{ event: 'complete-service', on: '2022-03-15', source: 'own-record' }],
    })
    // common practice, no source: five years for a watch worn daily and unexposed
    expect(body.obligations[0]).toMatchObject({
      kind: 'complete-service',
      rule: 'usual',
      dueOn: '2027-03-15',
      comingUpFrom: '2027-01-14',
      overdueFrom: '2027-05-15',
      stopOn: '2028-03-15',
    })
    const faulty = await house.as('counter').post('/v1/reckonings', {
      watch: { kind: 'sundial', 'a/b': 1 },
      history: [{ event: 'sign', on: '2024', source: 'paper' }],
    })
    expect(faulty.body.errors.map((error: { pointer: string }) => error.pointer).sort()).toEqual([
      '#/history/0/sign',
      '#/on',
      '#/watch/a~1b',
      '#/watch/firstSeen',
      '#/watch/kind',
    ])
  })
})
