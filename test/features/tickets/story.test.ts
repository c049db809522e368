import { afterAll, beforeAll, expect, test } from 'vitest'
import { fingerprintOf } from '../../../src/features/tickets/story.ts'
import { openShop, type Shop } from './shop.ts'

let shop: Shop
beforeAll(async () => {
  shop = await openShop()
})
afterAll(() => shop.close())

type Entry = {
  at: string
  what: string
  words: string
  by: string
  ticket: string | null
  struck: string | null
  record: string
}

test('the story of a watch tells every ticket, gate, override and signer in order of time, as JSON and as a paper', async () => {
  const ticket = await shop.readied({
    condition: { marks: [], clasp: 'there', agreed: 'owner' },
    complaint: 'läuft nach; "stops" at night – 10 €',
    looseItems: [{ bag: 'A-1', words: 'brown strap' }],
  })
  const mistake = await shop.told(ticket.number, 'contacts', {
    about: 'ready',
    means: 'phone',
    result: 'delivered',
    words: 'wrong person',
  })
  await shop.made(shop.counter, `/v1/tickets/${ticket.number}/strikes`, {
    record: mistake.id,
    reason: 'that was another ticket',
  })
  await shop.pay(ticket.number, 3600)
  const lost = shop.release(ticket, ticket.collector, ticket.serialOn, {
    slip: 'lost',
    identityProof: 'passport',
    looseReturned: ['A-1'],
  })
  await shop.told(ticket.number, 'releases', lost)
  await shop.made(shop.manager, `/v1/tickets/${ticket.number}/overrides`, {
    gate: 'G15',
    part: 'entitlement',
    reason: 'passport and picture fit',
  })
  await shop.moved(ticket.number, 'handed-over')

  const { body: story } = await shop.counter.get(`/v1/watches/${ticket.watchId}/story`).expect(200)
  const entries = story.entries as Entry[]
  expect(entries.map((entry) => entry.at)).toEqual(entries.map((entry) => entry.at).sort())
  const words = (what: string) => entries.filter((entry) => entry.what === what).map((entry) => entry.words)
  expect(words('booked')[0]).toContain('läuft nach')
  expect(words('override')).toEqual([
    'gate G15 hand-over overridden (entitlement) by a manager: passport and picture fit',
  ])
  expect(words('water-test')).toEqual(['dry pressure test: passed at 5 bar on this date'])
  expect(words('move').at(-1)).toContain('G15 hand-over overridden (passport and picture fit)')
  expect(entries.find((entry) => entry.record === mistake.id)?.struck).toBe('that was another ticket')
  expect(words('fact')).toEqual(
    expect.arrayContaining([
      'in the book: case opened (own record)',
      'in the book: cell fitted (own record)',
      'in the book: water test passed at 5 bar (own record)',
    ]),
  )
  for (const entry of entries) expect(entry.by, entry.words).not.toBe('')
  expect(JSON.stringify(story)).not.toMatch(/waterproof|undefined|\[object/)

  expect(fingerprintOf(story.entries)).toBe(story.fingerprint)
  const changed = story.entries.map((entry: Entry, i: number) => (i === 3 ? { ...entry, by: 'somebody else' } : entry))
  expect(fingerprintOf(changed)).not.toBe(story.fingerprint)

  const paper = await shop.counter
    .get(`/v1/watches/${ticket.watchId}/story`)
    .set('accept', 'application/pdf')
    .buffer(true)
    .parse((res, done) => {
      const parts: Buffer[] = []
      res.on('data', (part: Buffer) => parts.push(part))
      res.on('end', () => done(null, Buffer.concat(parts)))
    })
  expect(paper.headers['content-type']).toBe('application/pdf')
  expect((paper.body as Buffer).subarray(0, 5).toString()).toBe('%PDF-')
  expect((paper.body as Buffer).subarray(-6).toString()).toContain('%%EOF')
  await shop.counter.get('/v1/watches/00000000-0000-7000-8000-000000000000/story').expect(404)
})
