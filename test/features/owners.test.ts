import { createRequire } from 'node:module'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { phoneKey } from '../../src/features/owners/contacts.ts'
import { book } from '../support/book.ts'
import { type House, openHouse } from '../support/house.ts'

// it brings no types
const LinkHeader = createRequire(import.meta.url)('http-link-header') as {
  parse: (text: string) => { rel: (name: string) => { uri: string; title?: string }[] }
}

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

  /** E.164 forms by the tables of libphonenumber; at most fifteen digits with the country's. */
  test.each([
    ['CH', '044 668 18 00', '41446681800'],
    ['GB', '020 7946 0018', '442079460018'],
    ['FR', '06 12 34 56 78', '33612345678'],
    ['IT', '02 3661 8300', '390236618300'],
    ['CH', '+44 20 7946 0018', '442079460018'],
    ['CH', '+1234567890123456', null],
  ])('in %s the number %s is kept for searching as %s', (country, written, key) => {
    expect(phoneKey(written, country)).toBe(key)
  })

  test('come page by page, the next one linked as of RFC 8288, read by a general parser', async () => {
    // the parser reads the examples of RFC 8288, 3.5
    const parsed = LinkHeader.parse(
      '<http://example.com/TheBook/chapter2>; rel="previous"; title="previous chapter", </>; rel="http://example.net/foo"',
    )
    expect(parsed.rel('previous')).toMatchObject([
      { uri: 'http://example.com/TheBook/chapter2', title: 'previous chapter' },
    ])
    expect(parsed.rel('http://example.net/foo')).toMatchObject([{ uri: '/' }])
    const titles = LinkHeader.parse(
      `</TheBook/chapter2>; rel="previous"; title*=UTF-8'de'letztes%20Kapitel, </TheBook/chapter4>; rel="next"; title*=UTF-8'de'n%c3%a4chstes%20Kapitel`,
    )
    expect(titles.rel('next')).toMatchObject([{ uri: '/TheBook/chapter4' }])
    for (let n = 0; n < 3; n++) await owner(`Page Turner & Söhne ${n}`)
    const seen: string[] = []
    let next: string | undefined = `/v1/owners?limit=2&search=${encodeURIComponent('page turner & sohne')}`
    while (next !== undefined) {
      const { body, headers }: { body: { items: { id: string }[] }; headers: Record<string, string> } = await house
        .as('counter')
        .get(next)
        .expect(200)
      seen.push(...body.items.map((item) => item.id))
      const links: { uri: string }[] = headers.link === undefined ? [] : LinkHeader.parse(headers.link).rel('next')
      expect(links.length).toBeLessThan(2)
      next = links[0]?.uri
    }
    expect(seen).toHaveLength(3)
    expect(new Set(seen).size).toBe(3)
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

  test('whose name is heard or typed a little differently are offered somebody on file; others are not', async () => {
    const counter = house.as('counter')
    const first = await owner('Hedwig Tannenbrook', [{ means: 'phone', value: '+44 1632 960778' }])
    const at = (name: string) => counter.post('/v1/owners', { name, contacts: [] })
    for (const name of [
      'Hedwig Tanenbrok',
      'Tannenbrook, Hedwig',
      'H. Tannenbrook',
      'Hedwig M. Tannenbrook',
      'Hedvig Tannenbrook',
    ]) {
      const offered = await at(name)
      expect([name, offered.status, offered.body.candidates]).toEqual([name, 409, [first.id]])
      expect(offered.body.detail).toContain('Hedwig Tannenbrook, whose name is nearly the same')
    }
    // a sister, a namesake by one word, and numbers, which nobody mishears
    for (const name of ['Hilde Tannenbrook', 'Hedwig Tannenbrook-Voss', 'Tannenbrook'])
      expect([name, (await at(name)).status]).toEqual([name, 201])
    await owner('Quay Stores 41')
    await at('Quay Stores 42').expect(201)
    await owner('Pier Stores 1')
    await at('Pier Stores 10').expect(201)
    await at('Pier Stores').expect(201)
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

  test('of a firm its tax number, terms and discount class are kept; of a person they are refused, whichever came first', async () => {
    const counter = house.as('counter')
    const terms = { taxNumber: 'CHE-000.000.000', paymentDays: 30, discountClass: 'trade' }
    const person = await counter.post('/v1/owners', { name: 'Lone Person', contacts: [], ...terms })
    expect([person.status, person.body.errors?.map((fault: { pointer: string }) => fault.pointer)]).toEqual([
      400,
      ['#/taxNumber', '#/paymentDays', '#/discountClass'],
    ])
    const firm = await counter
      .post('/v1/owners', { name: 'Quay Clockworks', isFirm: true, contacts: [], ...terms })
      .expect(201)
    expect(firm.body).toMatchObject(terms)
    const one = await owner('Another Alone')
    const path = `/v1/owners/${one.id}`
    expect((await counter.patch(path, { paymentDays: 10 }, '"v1"')).body.errors).toMatchObject([
      { pointer: '#/paymentDays' },
    ])
    const onAccount = { standing: 'business-account', paymentDays: 10, discountClass: null }
    expect((await counter.patch(path, onAccount, '"v1"').expect(200)).body).toMatchObject(onAccount)
    await counter.patch(path, { paymentDays: 181 }, '"v2"').expect(400)
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
