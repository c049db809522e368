import type { House } from '../support/house.ts'

/** Puts people and watches on file through the doors, for tests of the nightly run. */
export const all = (choice: 'yes' | 'no' | 'not-asked') =>
  (['complete-service', 'water-check', 'cell-change'] as const).map((kind) => ({
    kind,
    choice,
    means: 'counter',
    wording: 'May we write to you when a watch of yours is due?',
  }))

let numbered = 0
export async function addOwner(house: House, more: object = {}): Promise<string> {
  numbered++
  const answer = await house
    .as('counter')
    .post('/v1/owners', {
      name: `Invented Person ${numbered}`,
      language: 'en',
      contacts: [{ means: 'e-mail', value: `person${numbered}@example.org` }],
      noticeChoices: all('yes'),
      // numbered names are nearly the same
      confirmedNew: true,
      ...more,
    })
    .expect(201)
  return answer.body.id
}

export async function addWatch(house: House, ownerId: string, more: object = {}): Promise<string> {
  const answer = await house
    .as('counter')
    .post('/v1/watches', { maker: 'Halden', kind: 'hand-wound', firstSeen: '2015-01-01', ownerId, ...more })
    .expect(201)
  return answer.body.id
}

export const happened = (house: House, watchId: string, event: object) =>
  house
    .as('counter')
    .post(`/v1/watches/${watchId}/events`, { source: 'own-record', ...event })
    .expect(201)

/** A watch with one complete service on our own record; due five years later. */
export async function serviced(house: House, ownerId: string, on: string): Promise<string> {
  const watchId = await addWatch(house, ownerId)
  await happened(house, watchId, { event: 'complete-service', on, learned: on })
  return watchId
}

/** A quartz watch serviced lately, its cell changed on a day; due two years later. */
export async function quartz(house: House, ownerId: string, cell: string): Promise<string> {
  const watchId = await addWatch(house, ownerId, { kind: 'quartz' })
  await happened(house, watchId, { event: 'complete-service', on: cell, learned: cell })
  await happened(house, watchId, { event: 'cell-fitted', on: cell, learned: cell })
  return watchId
}

export const rows = async (house: House, sql: string, values: unknown[] = []) =>
  (await house.database.pool.query(sql, values)).rows
