import { simpleParser } from 'mailparser'
import supertest from 'supertest'
import { afterAll, beforeAll, beforeEach, describe, expect, test } from 'vitest'
import { stillAllowed } from '../../src/features/notices/decide-again.ts'
import { openHandingOver } from '../../src/features/notices/handing-over.ts'
import { asText } from '../../src/letters/layout.ts'
import { readyTexts } from '../../src/letters/texts/ready.ts'
import { languages } from '../../src/letters/texts/sentences.ts'
import { writeLetter } from '../../src/letters/write.ts'
import { type Relay, startRelay } from '../faults/delivery/relay.ts'
import { openShop, type Shop } from '../features/tickets/shop.ts'
import { contents, WATCH } from './sample.ts'

let relay: Relay
let shop: Shop
beforeAll(async () => {
  relay = await startRelay()
  shop = await openShop({
    env: {
      SMTP_URL: relay.url,
      LETTERS_FROM: 'Test Centre <letters@centre.example>',
      PUBLIC_URL: 'https://watches.centre.example',
    },
  })
})
afterAll(async () => {
  await shop.close()
  await relay.close()
})
beforeEach(() => {
  relay.kept.length = 0
  shop.house.setNow('2026-11-25T09:00:00Z')
})

async function round() {
  const letters = openHandingOver(shop.house.service, stillAllowed)
  try {
    return await letters.round()
  } finally {
    await letters.close()
  }
}

/** A report as a relay writes it, in the form of RFC 3464. */
const report = (notice: string, action: 'delivered' | 'failed', status: string) =>
  supertest(shop.house.app.server)
    .post('/v1/delivery-reports')
    .set('authorization', `Bearer ${shop.house.keys.counter}`)
    .set('content-type', 'message/rfc822')
    .send(
      Buffer.from(
        [
          'From: Mail Delivery Subsystem <MAILER-DAEMON@relay.example>',
          'Content-Type: multipart/report; report-type=delivery-status; boundary="b1"',
          '',
          '--b1',
          'Content-Type: message/delivery-status',
          '',
          'Reporting-MTA: dns; relay.example',
          `Original-Envelope-Id: ${notice}`,
          '',
          'Final-Recipient: rfc822; owner@owner.example',
          `Action: ${action}`,
          `Status: ${status}`,
          '',
          '--b1--',
          '',
        ].join('\r\n'),
      ),
    )
    .expect(200)

const shown = async (ref: string) => (await shop.counter.get(`/v1/tickets/${ref}`).expect(200)).body
const plan = async (ref: string) =>
  (await shop.counter.get(`/v1/tickets/${ref}/unclaimed-plan`).expect(200)).body.plan as {
    deliveredOn: string
    steps: { on: string }[]
  } | null
const tasks = async (watchId: string) =>
  (
    await shop.house.database.pool.query<{ kind: string; done: boolean }>(
      'select kind, done_at is not null as done from task where watch_id = $1 order by id',
      [watchId],
    )
  ).rows
let people = 0
const owner = async (more: object) => {
  people += 1
  return (
    await shop.made(shop.counter, '/v1/owners', {
      name: `Zoë Ferrant ${'abcdefgh'[people]}`,
      contacts: [
        { means: 'e-mail', value: `letters.${people}@owner.example` },
        { means: 'e-mail', value: `ready.${people}@owner.example`, preferredFor: ['ready'] },
      ],
      ...more,
    })
  ).id
}

test('ready: a letter in the language of the owner goes out by the relay, and the clock runs from its delivery alone', async () => {
  const ticket = await shop.readied({ ownerId: await owner({ language: 'de' }) })
  expect((await shown(ticket.number)).readyLetter).toMatchObject({ state: 'queued' })
  expect((await shop.gates(ticket.number)).G14).toMatchObject({
    state: 'shut',
    why: 'the letter that it is ready has not gone out yet',
  })
  expect(await plan(ticket.number), 'queued starts nothing').toBeNull()

  expect(await round()).toMatchObject({ sent: 1 })
  const [kept] = relay.kept
  const mail = await simpleParser(kept!.raw)
  const text = mail.text!.replace(/\s+/g, ' ')
  expect(kept!.to, 'the address preferred for this').toEqual(['ready.1@owner.example'])
  expect(mail.subject).toBe('Ihre Alder & Finch Harbour ist abholbereit')
  expect(text).toContain(`Die Nummer des Auftrags ist ${ticket.number}.`)
  expect(text).toContain('36,00')
  expect(text).toContain('von einer zweiten Person geprüft')
  expect(text).not.toContain('500')
  const page = /https:\/\/watches\.centre\.example(\/your-watches\/\S+)/.exec(mail.text!)?.[1]
  const shownPage = await supertest(shop.house.app.server).get(page!).expect(200)
  expect(shownPage.text, 'the page of the letter is about that watch').toContain('Harbour')
  expect((await shown(ticket.number)).readyLetter).toMatchObject({ state: 'sent' })
  expect((await shop.gates(ticket.number)).G14!.state).toBe('open')
  expect(await plan(ticket.number), 'sent starts nothing').toBeNull()
  expect(await round(), 'once').toMatchObject({ sent: 0 })

  shop.house.setNow('2026-11-27T09:00:00Z')
  const { notice } = (await shown(ticket.number)).readyLetter
  await report(notice, 'delivered', '2.0.0')
  expect((await shown(ticket.number)).readyLetter).toMatchObject({ state: 'delivered' })
  expect(await plan(ticket.number)).toMatchObject({ deliveredOn: '2026-11-27', steps: [{ on: '2026-12-11' }, {}, {}] })
  const { entries } = (await shop.manager.get(`/v1/watches/${ticket.watchId}/story`).expect(200)).body
  const words = entries.map((entry: { words: string }) => entry.words)
  expect(words).toContain('a letter to the owner that it is ready was queued')
  expect(words).toContain('the letter that it is ready was delivered')

  await shop.told(ticket.number, 'openings', { reason: 'dust' }, shop.bench)
  expect(await plan(ticket.number), 'back at the bench the clock ends').toBeNull()
})

test('a watch that a manager lets out without a second pair of eyes is not said to have been checked by any', async () => {
  const ticket = await shop.book({ dial: 'grey' })
  const estimate = await shop.agreed(ticket.number)
  await shop.toBench(ticket.number)
  await shop.worked(ticket.number, estimate.lines)
  await shop.waterTest(ticket.number)
  await shop.moved(ticket.number, 'final-check', {}, shop.bench)
  await shop.told(
    ticket.number,
    'overrides',
    { gate: 'G13', part: 'check', reason: 'nobody else is in the house' },
    shop.manager,
  )
  await shop.moved(ticket.number, 'ready', {}, shop.manager)
  await round()
  const text = (await simpleParser(relay.kept[0]!.raw)).text!.replace(/\s+/g, ' ')
  expect(text).toContain('The agreed work is done. The watch is ready for you.')
  expect(text).not.toContain('second person')
})

test('a letter that is no longer true does not go: the watch went back, or was fetched', async () => {
  const back = await shop.readied({ dial: 'red' })
  const gone = await shop.readied({ dial: 'pearl' })
  await shop.told(back.number, 'openings', { reason: 'dust' }, shop.bench)
  await shop.pay(gone.number, 3600)
  await shop.moved(gone.number, 'handed-over', {
    release: shop.release(gone, gone.collector, gone.serialOn, { twinAnswer: 'compared' }),
  })
  expect(await round()).toMatchObject({ sent: 0, withdrawn: 2 })

  await shop.told(back.number, 'closings', {}, shop.bench)
  await shop.waterTest(back.number)
  await shop.moved(back.number, 'final-check', {}, shop.bench)
  await shop.check(back.number)
  await shop.moved(back.number, 'ready')
  expect(await round(), 'ready again, told again').toMatchObject({ sent: 1 })
})

test('who cannot be written to is a task to call, closed when told; a letter that came back starts no clock', async () => {
  const silent = await owner({ contacts: [{ means: 'phone', value: '+41446681800' }] })
  const ticket = await shop.readied({ ownerId: silent })
  expect((await shown(ticket.number)).readyLetter).toBeNull()
  expect(await tasks(ticket.watchId)).toEqual([{ kind: 'ready-tell', done: false }])
  await shop.told(ticket.number, 'contacts', { about: 'ready', means: 'phone', result: 'delivered' })
  expect(await tasks(ticket.watchId)).toEqual([{ kind: 'ready-tell', done: true }])
  expect(await plan(ticket.number)).toMatchObject({ deliveredOn: '2026-11-25' })

  const other = await shop.readied({ dial: 'mint' })
  await round()
  await report((await shown(other.number)).readyLetter.notice, 'failed', '5.1.1')
  expect((await shown(other.number)).readyLetter).toMatchObject({ state: 'returned' })
  expect(await plan(other.number)).toBeNull()
  expect((await shop.gates(other.number)).G14!.state).toBe('shut')
})

test('the thirty days of reminders do not hold it, nor does it start them; a refusal of reminders does not stop it', async () => {
  const ownerId = await owner({
    noticeChoices: ['complete-service', 'water-check', 'cell-change'].map((kind) => ({
      kind,
      choice: 'no',
      means: 'counter',
      wording: '1',
    })),
  })
  const ticket = await shop.readied({ ownerId, dial: 'bronze' })
  expect(await round()).toMatchObject({ sent: 1 })
  const { rows } = await shop.house.database.pool.query('select reminder, plan from notice where id = $1', [
    (await shown(ticket.number)).readyLetter.notice,
  ])
  expect(rows[0].reminder).toBe(false)
})

test('a watch that goes back undone is announced as such, and a dead owner is not written to', async () => {
  const ticket = await shop.book({ dial: 'opal', ownerId: await owner({ language: 'en' }) })
  await shop.moved(ticket.number, 'looked-over')
  await shop.moved(ticket.number, 'return-undone', { reason: 'too dear' })
  await shop.check(ticket.number)
  await shop.moved(ticket.number, 'ready')
  await round()
  const mail = await simpleParser(relay.kept[0]!.raw)
  expect(mail.subject).toBe('Your Alder & Finch Harbour can be collected')
  expect(mail.text).toContain('without the work')
  expect(mail.text).not.toContain('to pay')

  const held = await shop.readied({ dial: 'onyx' })
  await shop.manager.post(`/v1/owners/${held.ownerId}/deceased`, { toldBy: 'the daughter' })
  relay.kept.length = 0
  await round()
  expect(relay.kept).toHaveLength(0)
})

/** The same that every other letter must not say. */
const forbidden =
  /waterproof|wasserdicht|étanche(?!i)|imperm[eé][aá]|sumergible|à prova d|estanque\b|last chance|letzte|dernière|última|final notice|hurry|act now|only today|nur heute|undefined|null|NaN|\[object/i

describe.each(languages)('the letter that a watch is ready, in %s', (language) => {
  test.each([
    [true, false],
    [false, true],
    [false, false],
  ])(
    'says what it must and nothing it must not, undone %s, checked by a second person %s',
    (undone, checkedByAnother) => {
      const owed = { amount: 3600, currency: 'EUR' }
      const ready = { ticketId: 't', number: '1234-5', watchId: WATCH, undone, checkedByAnother, owed }
      const written = writeLetter({ ...contents([]), language, ready } as never, { answer: null, stop: null })
      const text = asText(written).replace(/\s+/g, ' ')
      const words = readyTexts[language]
      for (const needed of [
        'Lindholm Watch Service',
        'Brackwater Tidal 38',
        '4417',
        '1234-5',
        '36',
        undone ? words.undone : checkedByAnother ? words.readyChecked : words.ready,
        words.somebodyElse,
      ])
        expect(text).toContain(needed)
      expect(written.subject).toContain('Brackwater Tidal 38')
      expect(text).not.toMatch(forbidden)
    },
  )
})
