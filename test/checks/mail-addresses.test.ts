import fc from 'fast-check'
import { SMTPServer } from 'smtp-server'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { type HandingOver, openHandingOver } from '../../src/features/notices/handing-over.ts'
import { mailAddress } from '../../src/features/owners/contacts.ts'
import { queueLetter } from '../letters/book.ts'
import { type House, openHouse } from '../support/house.ts'

/**
 * Whatever record of an owner the doors accept, its letter has exactly one recipient in the envelope, equal to the stored
 * address, one To, and no header of anybody's making. The peer is smtp-server, a general-purpose library.
 */
type Seen = { from: string; to: string[]; raw: Buffer }
const seen: Seen[] = []
let server: SMTPServer
let house: House
let letters: HandingOver

beforeAll(async () => {
  server = new SMTPServer({
    disabledCommands: ['AUTH', 'STARTTLS'],
    onData(stream, session, done) {
      const chunks: Buffer[] = []
      stream.on('data', (chunk: Buffer) => chunks.push(chunk))
      stream.on('end', () => {
        const from = session.envelope.mailFrom
        seen.push({
          from: from ? from.address : '',
          to: session.envelope.rcptTo.map((one) => one.address),
          raw: Buffer.concat(chunks),
        })
        done()
      })
    },
  })
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', () => resolve()))
  const { port } = server.server.address() as { port: number }
  house = await openHouse({
    env: { SMTP_URL: `smtp://127.0.0.1:${port}`, LETTERS_FROM: 'The Centre <letters@centre.example>' },
  })
  letters = openHandingOver(house.service, async () => new Map())
})
afterAll(async () => {
  await letters.close()
  await house.close()
  await new Promise<void>((resolve) => server.close(() => resolve()))
})

const specials = `a"<>()[],;:@\\ \t\r\n!#$%&'*+/=?^_\`{|}~-.é\u0000\u200b`
const nastyPart = fc.string({ unit: fc.constantFrom(...specials), maxLength: 12 })
const address = fc.oneof(
  { weight: 6, arbitrary: fc.emailAddress() },
  { weight: 2, arbitrary: fc.tuple(nastyPart, nastyPart).map(([local, domain]) => `${local}@${domain}.example`) },
  // forms by which address parsers were led astray
  {
    weight: 3,
    arbitrary: fc.constantFrom(
      '"a@evil.example"@owner.example',
      'a@owner.example, b@evil.example',
      'a@owner.example\r\nRCPT TO:<b@evil.example>',
      'a@owner.example(b@evil.example)',
      'group:a@evil.example;@owner.example',
      '<a@evil.example>@owner.example',
      'a@owner.example>\r\nX: y',
      'a@[127.0.0.1]',
      'a@owner.example.',
      'a@owner..example',
      'a@-owner.example',
      `${'a'.repeat(65)}@owner.example`,
      'a b@owner.example',
      "o'neil+tag@owner.example",
      'UPPER.Case@Owner.Example',
      '=?utf-8?q?a?=@owner.example',
    ),
  },
)
const name = fc.oneof(
  fc.string({ minLength: 1, maxLength: 40 }),
  fc.constantFrom(
    'Nadia <x@evil.example>',
    'A, B',
    'A\r\nBcc: x@evil.example',
    '"',
    'a@evil.example',
    '=?utf-8?q?=0d=0aBcc:_x?=',
    'Zoë Ñandú',
    '名前',
    ', x@evil.example',
  ),
)

test('an accepted owner record gives one RCPT TO, equal to the stored address', async () => {
  const { body: watch } = await house
    .as('counter')
    .post('/v1/watches', { maker: 'Brackwater', kind: 'quartz', firstSeen: '2020-01-01' })
    .expect(201)
  let accepted = 0
  await fc.assert(
    fc.asyncProperty(name, address, async (ownerName, email) => {
      const answer = await house.as('counter').post('/v1/owners', {
        name: ownerName,
        language: 'en',
        confirmedNew: true,
        contacts: [{ means: 'e-mail', value: email }],
      })
      expect([201, 400]).toContain(answer.status)
      if (answer.status === 400) return
      accepted++
      const { rows } = await house.database.pool.query<{ value: string }>(
        'select value from contact where owner_id = $1',
        [answer.body.id],
      )
      const stored = rows[0]?.value ?? ''
      expect(stored).toMatch(mailAddress)
      seen.length = 0
      await queueLetter(house, answer.body.id, watch.id)
      await letters.round()
      // a domain has no case (RFC 5321 2.4); nodemailer writes it small
      const [local, domain] = stored.split('@')
      const written = `${local}@${domain?.toLowerCase()}`
      expect(seen.map(({ from, to }) => ({ from, to }))).toEqual([{ from: 'letters@centre.example', to: [written] }])
      const head =
        seen[0]?.raw
          .toString('latin1')
          .split('\r\n\r\n')[0]
          ?.replace(/\r\n[ \t]+/g, ' ')
          .split('\r\n') ?? []
      const names = head.map((line) => line.split(':')[0])
      expect(names).toEqual([
        'Auto-Submitted',
        'Content-Language',
        'List-Unsubscribe',
        'From',
        'To',
        'Subject',
        'Message-ID',
        'Date',
        'MIME-Version',
        'Content-Type',
      ])
      const to = head.find((line) => line.startsWith('To:')) ?? ''
      expect(to.endsWith(`<${stored}>`) || to === `To: ${stored}`).toBe(true)
    }),
    { numRuns: 150 },
  )
  expect(accepted).toBeGreaterThan(15)
})

test.each([
  'a@owner.example, b@evil.example',
  '"a@evil.example"@owner.example',
  'a@owner.example(x)',
  'a @owner.example',
  'a@localhost',
  'a@owner.example\r\nX: y',
])('the doors refuse %j', async (value) => {
  const answer = await house
    .as('counter')
    .post('/v1/owners', { name: 'Nadia', language: 'en', contacts: [{ means: 'e-mail', value }] })
  expect([answer.status, answer.body.type]).toEqual([400, '/problems/faulty-input'])
})
