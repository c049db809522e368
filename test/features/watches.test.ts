import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { book } from '../support/book.ts'
import { type House, openHouse } from '../support/house.ts'

let house: House
beforeAll(async () => {
  house = await openHouse({ now: '2026-11-25' })
})
afterAll(() => house.close())
const { watch } = book(() => house)

describe('watches', () => {
  test('are found by serial without spaces and dashes, with O for 0 and I for 1', async () => {
    const made = await watch({ serial: 'OI-12 B' })
    for (const serial of ['01-12b', 'oi12', '0I 1-2-B']) {
      const { body } = await house
        .as('counter')
        .get(`/v1/watches?serial=${encodeURIComponent(serial)}`)
        .expect(200)
      expect(
        body.items.map((item: { id: string }) => item.id),
        serial,
      ).toContain(made.id)
    }
    const twin = await house.as('counter').post('/v1/watches', { maker: 'halden', kind: 'quartz', serial: '0112B' })
    expect([twin.status, twin.body.type, twin.body.id]).toEqual([409, '/problems/serial-known', made.id])
  })

  test('every fault of a body is told at once, with a pointer each, and nothing is written', async () => {
    const before = await house.database.pool.query('select count(*) from watch')
    const answer = await house.as('counter').post('/v1/watches', {
      maker: '',
      kind: 'sundial',
      made: '2023-02-29',
      waterClaim: { marked: 'plain', bar: 5 },
      colour: 'blue',
      firstSeen: 3,
    })
    expect(answer.status).toBe(400)
    expect(answer.body.errors.map((error: { pointer: string }) => error.pointer).sort()).toEqual([
      '#/colour',
      '#/firstSeen',
      '#/kind',
      '#/made',
      '#/maker',
      '#/waterClaim/bar',
    ])
    expect((await house.database.pool.query('select count(*) from watch')).rows).toEqual(before.rows)
  })

  test('what is measured on the case is kept within what a case can measure', async () => {
    const body = { maker: 'Halden', kind: 'quartz', serial: 'case 7' }
    const measures = { diameterMm: 36.5, thicknessMm: 9.8, lugWidthMm: 18, crystal: 'mineral', crystalHeld: 'gasket' }
    const made = await house
      .as('counter')
      .post('/v1/watches', { ...body, ...measures })
      .expect(201)
    expect((await house.as('counter').get(`/v1/watches/${made.body.id}`).expect(200)).body).toMatchObject(measures)
    const wrong = { thicknessMm: 1.9, lugWidthMm: 30.1, crystalHeld: 'hope' }
    const refused = await house.as('counter').patch(`/v1/watches/${made.body.id}`, wrong, '"v1"')
    expect(refused.body.errors.map((fault: { pointer: string }) => fault.pointer).sort()).toEqual([
      '#/crystalHeld',
      '#/lugWidthMm',
      '#/thicknessMm',
    ])
  })

  test('whether it may go into water is told by its tests, never by the dial, and no longer once the case was opened', async () => {
    const body = { maker: 'Halden', kind: 'quartz', serial: 'swim 7', waterClaim: { marked: 'rated', bar: 10 } }
    const { id } = (await house.as('counter').post('/v1/watches', body).expect(201)).body
    const now = async () => (await house.as('counter').get(`/v1/watches/${id}`).expect(200)).body.waterNow
    expect(await now()).toMatchObject({ state: 'claimed-untested', on: null, bar: null })
    const told = async (event: object) =>
      (await house.as('bench').post(`/v1/watches/${id}/events`, event).expect(201)).body.id as string
    await told({ event: 'water-test', on: '2026-11-20', source: 'own-record', passed: true, bar: 10 })
    expect(await now()).toEqual({
      state: 'passed',
      on: '2026-11-20',
      bar: 10,
      words: expect.stringMatching(/^passed its test at 10 bar on 2026-11-20; that is no promise for today/),
    })
    const opening = await told({ event: 'case-opened', on: '2026-11-20', source: 'own-record' })
    expect(await now()).toMatchObject({ state: 'claimed-untested', words: expect.stringContaining('case opened on') })
    await house
      .as('counter')
      .post(`/v1/watches/${id}/strikes`, { factId: opening, reason: 'another watch' })
      .expect(201)
    expect((await now()).state).toBe('passed')
  })

  test('that are unknown are 404 wherever they are named', async () => {
    const nobody = '01890000-0000-7000-8000-000000000000'
    for (const path of ['', '/history', '/obligations'])
      expect((await house.as('bench').get(`/v1/watches/${nobody}${path}`)).status, path).toBe(404)
    for (const [path, body] of [
      ['events', { event: 'complete-service', on: '2024', source: 'paper' }],
      ['wear', { source: 'owner-word' }],
      ['notes', { obligation: 'complete-service', months: 12, on: '2024-01-01', reason: 'worn' }],
      ['ownerships', { ownerId: null, from: '2024-01-01', how: 'sold' }],
      ['hazards', { kind: 'radium' }],
      ['strikes', { factId: nobody, reason: 'x' }],
    ] as const) {
      const answer = await house.as('manager').post(`/v1/watches/${nobody}/${path}`, body)
      expect([answer.status, answer.body.type], path).toEqual([404, '/problems/not-found'])
    }
  })
})
