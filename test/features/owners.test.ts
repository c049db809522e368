import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { book } from '../support/book.ts'
import { type House, openHouse } from '../support/house.ts'

let house: House
beforeAll(async () => {
  house = await openHouse({ now: '2026-11-25' })
})
afterAll(() => house.close())
const { owner } = book(() => house)

describe('owners', () => {
  test('are found by any part of the name, by mail address and by telephone number however it is written', async () => {
    const made = await owner('Mireille Österwald-Šimić', [
      { means: 'e-mail', value: 'Mireille.O@example.org' },
      { means: 'phone', value: '044 668 18 00' },
    ])
    // E.164 form by libphonenumber's own table: 044 668 18 00 in CH is +41446681800
    for (const search of [
      'osterwald',
      'simic',
      'MIREILLE oster',
      'mireille.o@ex',
      '+41 44 668 18 00',
      '0446681800',
      '668-1800',
    ]) {
      const found = await house
        .as('counter')
        .get(`/v1/owners?search=${encodeURIComponent(search)}`)
        .expect(200)
      expect(
        found.body.items.map((item: { id: string }) => item.id),
        search,
      ).toContain(made.id)
    }
    const none = await house.as('counter').get('/v1/owners?search=%25').expect(200)
    expect(none.body.items.length).toBeLessThanOrEqual(50)
  })

  test('who share an address with a record on file are offered it, not silently made', async () => {
    const first = await owner('Ines Haro', [{ means: 'e-mail', value: 'ines@example.org' }])
    const body = { name: 'I. Haro', contacts: [{ means: 'e-mail', value: 'INES@example.org' }] }
    const offered = await house.as('counter').post('/v1/owners', body)
    expect([offered.status, offered.body.type, offered.body.candidates]).toEqual([
      409,
      '/problems/likely-double',
      [first.id],
    ])
    await house
      .as('counter')
      .post('/v1/owners', { ...body, confirmedNew: true })
      .expect(201)
  })

  test('who bear the full name of somebody on file are offered too, however it is written and whatever their number', async () => {
    const first = await owner('Odile Fenwärd-Rossi', [{ means: 'phone', value: '+44 1632 960777' }])
    const counter = house.as('counter')
    const body = { name: 'odile FENWARD  Rossi', contacts: [{ means: 'e-mail', value: 'odile.f@example.org' }] }
    const offered = await counter.post('/v1/owners', body)
    expect([offered.status, offered.body.type, offered.body.candidates]).toEqual([
      409,
      '/problems/likely-double',
      [first.id],
    ])
    await counter.post('/v1/owners', { ...body, confirmedNew: true }).expect(201)
    // one word alone names nobody
    await owner('Odile')
    await counter.post('/v1/owners', { name: 'Odile', contacts: [] }).expect(201)
    await counter.post('/v1/owners', { name: 'Odile Fenward', contacts: [] }).expect(201)
  })

  test.each([
    ['a quoted local part', '"x y"@example.org'],
    ['a comment', 'x(y)@example.org'],
    ['two addresses', 'x@example.org,y@example.org'],
    ['an angle address', 'X <x@example.org>'],
    ['no dot in the domain', 'x@example'],
    ['a line break', 'x@example.org\r\nBcc: y@example.org'],
  ])('with %s as mail address are refused', async (_title, value) => {
    const answer = await house.as('counter').post('/v1/owners', { name: 'X', contacts: [{ means: 'e-mail', value }] })
    expect([answer.status, answer.body.errors?.[0]?.pointer]).toEqual([400, '#/contacts/0/value'])
    // whatever else is known of the person
    const contacts = [
      { means: 'post', value: 'Quay 4, Marrenhaven' },
      { means: 'e-mail', value },
    ]
    const second = await house.as('counter').post('/v1/owners', { name: 'X', contacts })
    expect([second.status, second.body.errors?.[0]?.pointer]).toEqual([400, '#/contacts/1/value'])
  })

  test('’ contacts that failed or were found to work are told by who has read the newest version', async () => {
    const made = await owner('Tried Out', [{ means: 'e-mail', value: 'tried.out@example.org' }])
    const path = `/v1/owners/${made.id}/contacts/${made.contacts[0].id}`
    const counter = house.as('counter')
    const contactNow = async () => (await counter.get(`/v1/owners/${made.id}`).expect(200)).body.contacts[0]
    const unread = await counter.patch(path, { failedOn: '2026-11-24' }, '').unset('if-match')
    expect([unread.status, unread.body.type]).toEqual([428, '/problems/if-match-missing'])
    expect((await house.as('bench').patch(path, { failedOn: '2026-11-24' }, '"v1"')).status).toBe(403)
    const failed = await counter.patch(path, { failedOn: '2026-11-24', why: 'no such mailbox' }, '"v1"').expect(200)
    expect(failed.headers.etag).toBe('"v2"')
    expect(await contactNow()).toMatchObject({ failedOn: '2026-11-24' })
    expect((await counter.patch(path, { testedOn: '2026-11-25' }, '"v1"')).status).toBe(412)
    for (const body of [{ testedOn: '2026-11-26' }, { testedOn: '2026-11-25', failedOn: '2026-11-25' }, { why: 'x' }])
      expect((await counter.patch(path, body, '"v2"')).status, JSON.stringify(body)).toBe(400)
    await counter.patch(path, { testedOn: '2026-11-25' }, '"v2"').expect(200)
    expect(await contactNow()).toMatchObject({ testedOn: '2026-11-25', failedOn: null })
    const { rows } = await house.database.pool.query(
      `select before ->> 'failedWhy' as why from edit where record = 'contact' and record_id = $1 order by version`,
      [made.contacts[0].id],
    )
    expect(rows).toEqual([{ why: null }, { why: 'no such mailbox' }])
  })

  test('are edited only by who has read the newest version; the old values are kept', async () => {
    const made = await owner('Before Edit')
    const path = `/v1/owners/${made.id}`
    const unread = await house.as('counter').patch(path, { name: 'Y' }, '').unset('if-match')
    expect([unread.status, unread.body.type]).toEqual([428, '/problems/if-match-missing'])
    const edited = await house.as('counter').patch(path, { name: 'After Edit', reason: 'married' }, '"v1"').expect(200)
    expect(edited.headers.etag).toBe('"v2"')
    // RFC 9110 13.1.1: strong comparison, a weak tag never matches
    for (const tag of ['"v1"', 'W/"v2"', '"v3"'])
      expect((await house.as('counter').patch(path, { name: 'Z' }, tag)).status).toBe(412)
    const { rows } = await house.database.pool.query(
      `select before ->> 'name' as name, reason, recorded_by from edit where record_id = $1`,
      [made.id],
    )
    expect(rows).toEqual([{ name: 'Before Edit', reason: 'married', recorded_by: 'counter of the test' }])
  })

  test('merged records keep both numbers and can be parted again', async () => {
    const [kept, double] = [await owner('Kept One'), await owner('Double One')]
    await house.as('counter').post(`/v1/owners/${double.id}/merge`, { into: kept.id }).expect(200)
    const again = await house.as('counter').post(`/v1/owners/${kept.id}/merge`, { into: double.id })
    expect([again.status, again.body.type, again.body.into]).toEqual([409, '/problems/owner-merged', kept.id])
    const parted = await house.as('counter').post(`/v1/owners/${double.id}/unmerge`).expect(200)
    expect(parted.body.mergedInto).toBeNull()
    const self = await house.as('counter').post(`/v1/owners/${kept.id}/merge`, { into: kept.id })
    expect(self.body.type).toBe('/problems/merge-impossible')
  })

  test('two records that only look like one person can be told apart, again and again', async () => {
    const [one, other] = [await owner('Alike One'), await owner('Alike Other')]
    const watch = { maker: 'Brackwater', kind: 'quartz', serial: 'BW 55 21', ownerId: one.id, firstSeen: '2020-01-01' }
    await house.as('counter').post('/v1/watches', watch).expect(201)
    for (const otherId of [other.id, other.id]) {
      const told = await house.as('counter').post(`/v1/owners/${one.id}/differences`, { otherId })
      expect([told.status, [told.body.ownerId, told.body.otherId]]).toEqual([201, [one.id, other.id].sort()])
    }
    const self = await house.as('counter').post(`/v1/owners/${one.id}/differences`, { otherId: one.id })
    expect([self.status, self.body.errors[0].pointer]).toEqual([400, '#/otherId'])
  })
})
