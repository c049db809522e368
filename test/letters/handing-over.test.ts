import { createHash, createPublicKey, generateKeyPairSync } from 'node:crypto'
import { mkdir, mkdtemp, readdir, readFile, rm, symlink, writeFile } from 'node:fs/promises'
import os from 'node:os'
import path from 'node:path'
import ICAL from 'ical.js'
import { dkimVerify } from 'mailauth/lib/dkim/verify.js'
import { simpleParser } from 'mailparser'
import PostalMime from 'postal-mime'
import { afterAll, afterEach, beforeAll, beforeEach, expect, test } from 'vitest'
import { type HandingOver, openHandingOver } from '../../src/features/notices/handing-over.ts'
import { fixContents, letterDeskOf, prepareLetters } from '../../src/features/notices/letters.ts'
import { deliverLetters } from '../../src/jobs/deliver.ts'
import { type Relay, startRelay } from '../faults/delivery/relay.ts'
import { type House, openHouse } from '../support/house.ts'
import { ownerWithWatch, queueLetter, stateOf } from './book.ts'

const KEY_HEADER = 'X-Relay-Key'
const keys = generateKeyPairSync('rsa', { modulusLength: 2048 })

let relay: Relay
let house: House
let letters: HandingOver
let folder: string
let allowed: Map<string, string[]>

beforeAll(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'letters-'))
  const keyFile = path.join(folder, 'dkim.pem')
  await writeFile(keyFile, keys.privateKey.export({ type: 'pkcs8', format: 'pem' }))
  relay = await startRelay({ keyHeader: KEY_HEADER })
  house = await openHouse({
    env: {
      SMTP_URL: relay.url,
      SMTP_IDEMPOTENCY_HEADER: KEY_HEADER,
      LETTERS_FROM: 'Lindholm Watch Service <letters@centre.example>',
      PUBLIC_URL: 'https://watches.centre.example',
      CENTRE_NAME: 'Lindholm Watch Service',
      CENTRE_ADDRESS: 'Quay 4, 9000 Marrenhaven',
      CENTRE_PHONE: '+41 44 668 18 00',
      DKIM_DOMAIN: 'centre.example',
      DKIM_SELECTOR: 'letters',
      DKIM_KEY_FILE: keyFile,
    },
  })
})
afterAll(async () => {
  await house.close()
  await relay.close()
  await rm(folder, { recursive: true, force: true })
})
beforeEach(async () => {
  await house.database.pool.query(`update notice set state = 'withdrawn' where state in ('queued', 'held')`)
  allowed = new Map()
  relay.kept.length = 0
  relay.fault = () => null
  letters = openHandingOver(house.service, async () => allowed)
})
afterEach(() => letters.close())

test('a letter reaches the relay whole: two parsers read the same words, one address, and the headers the standards ask for', async () => {
  const { ownerId, watchId } = await ownerWithWatch(house, { name: 'Zoë Ferrant', email: 'zoe.ferrant@owner.example' })
  const id = await queueLetter(house, ownerId, watchId)
  expect(await letters.round()).toMatchObject({ sent: 1 })
  const [kept] = relay.kept
  if (!kept) throw new Error('nothing arrived')
  expect([kept.to, kept.from, kept.envid, kept.key]).toEqual([
    ['zoe.ferrant@owner.example'],
    'letters@centre.example',
    id,
    `notice/${id}`,
  ])

  const one = await simpleParser(kept.raw)
  const other = await PostalMime.parse(kept.raw)
  expect(one.text?.trim()).toBe(other.text?.trim())
  expect(one.subject).toBe('Your Brackwater Tidal 38: change of the cell')
  expect([one.subject, one.messageId, one.date?.toISOString()]).toEqual([
    other.subject,
    other.messageId,
    new Date(other.date ?? '').toISOString(),
  ])
  expect(one.messageId).toBe(`<${id}@centre.example>`)
  expect(other.to).toEqual([{ name: 'Zoë Ferrant', address: 'zoe.ferrant@owner.example' }])
  expect(one.text?.replace(/\s+/g, ' ')).toContain('(number ending 4417)')
  expect(other.html).toContain('10 December 2026')

  const header = (name: string) => other.headers.filter((one) => one.key === name).map((one) => one.value)
  // RFC 3834 5, RFC 2369 and RFC 8058: one of each
  expect(header('auto-submitted')).toEqual(['auto-generated'])
  expect(header('content-language')).toEqual(['en'])
  expect(header('list-unsubscribe-post')).toEqual(['List-Unsubscribe=One-Click'])
  expect(header('list-unsubscribe')).toEqual([
    expect.stringMatching(/^<https:\/\/watches\.centre\.example\/your-letters\/[A-Za-z0-9_-]{43}>$/),
  ])
  // RFC 5322 2.1.1: no line above 998 octets; we keep to 78 but for one address
  const lines = kept.raw.toString('latin1').split('\r\n')
  expect(
    lines.filter((line) => line.length > 78).every((line) => /^(List-Unsubscribe|X-Relay-Key|DKIM|\s)/.test(line)),
  ).toBe(true)
  expect(kept.raw.toString('latin1').replaceAll('\r\n', '')).not.toMatch(/[\r\n]/)

  const row = (await house.as('manager').get(`/v1/notices/${id}`).expect(200)).body
  expect(row).toMatchObject({
    state: 'sent',
    response: expect.stringMatching(/^250 /),
    messageId: `<${id}@centre.example>`,
  })
})

test('the preview is what goes out, before and after', async () => {
  const { ownerId, watchId } = await ownerWithWatch(house)
  const id = await queueLetter(house, ownerId, watchId)
  house.setNow('2026-11-25T09:00:00.400Z')
  const before = (await house.as('counter').get(`/v1/notices/${id}/preview`).expect(200)).body
  expect(before.fixed).toBe(false)
  await letters.round()
  house.setNow('2026-11-27T09:00:00Z')
  const after = (await house.as('counter').get(`/v1/notices/${id}/preview`).expect(200)).body
  expect(after.fixed).toBe(true)
  const sent = relay.kept[0]?.raw.toString('utf8')
  expect(after.message).toBe(sent)
  expect(before.message).toBe(sent)
  expect((await simpleParser(sent ?? '')).text?.trim()).toBe(before.text.trim())
})

test('DKIM signs the headers that RFC 8058 asks for, and an independent library verifies it', async () => {
  const { ownerId, watchId } = await ownerWithWatch(house)
  await queueLetter(house, ownerId, watchId)
  await letters.round()
  const record = `v=DKIM1; k=rsa; p=${createPublicKey(keys.privateKey).export({ type: 'spki', format: 'der' }).toString('base64')}`
  const verify = (raw: Buffer) => dkimVerify(raw, { resolver: async () => [[record]] })
  const raw = relay.kept[0]?.raw ?? Buffer.alloc(0)
  const { results } = await verify(raw)
  expect(results).toHaveLength(1)
  expect(results[0]).toMatchObject({ signingDomain: 'centre.example', selector: 'letters', status: { result: 'pass' } })
  const signed = (results[0] as unknown as { signingHeaders: { keys: string } }).signingHeaders.keys
    .toLowerCase()
    .split(/[:,\s]+/)
  for (const name of ['from', 'to', 'subject', 'date', 'message-id', 'list-unsubscribe', 'list-unsubscribe-post'])
    expect(signed).toContain(name)
  const altered = Buffer.from(
    raw.toString('latin1').replace('List-Unsubscribe=One-Click', 'List-Unsubscribe=One-Clack'),
    'latin1',
  )
  expect((await verify(altered)).results[0]?.status.result).not.toBe('pass')
})

test('the calendar file is one event on the come-by day, read by an independent parser', async () => {
  const { ownerId, watchId } = await ownerWithWatch(house)
  const id = await queueLetter(house, ownerId, watchId)
  await letters.round()
  const mail = await simpleParser(relay.kept[0]?.raw ?? '')
  const [file] = mail.attachments
  expect([mail.attachments.length, file?.filename, file?.contentType]).toEqual([1, 'come-by.ics', 'text/calendar'])
  const calendar = new ICAL.Component(ICAL.parse(file?.content.toString('utf8') ?? ''))
  const events = calendar.getAllSubcomponents('vevent')
  const event = new ICAL.Event(events[0])
  expect([events.length, event.startDate.toString(), event.endDate.toString(), event.isRecurring()]).toEqual([
    1,
    '2026-12-10',
    '2026-12-11',
    false,
  ])
  expect(event.uid).toBe(`${id}@centre.example`)
  expect(event.location).toBe('Lindholm Watch Service, Quay 4, 9000 Marrenhaven')
})

test('a second hand-over is the first one to the byte, though the book changed in between', async () => {
  const { ownerId, watchId } = await ownerWithWatch(house)
  const id = await queueLetter(house, ownerId, watchId)
  relay.fault = () => ({ at: 'rcpt', do: 'answer', reply: '451 4.3.0 later' })
  await letters.round()
  const first = (await house.as('manager').get(`/v1/notices/${id}/preview`).expect(200)).body.message
  await house.database.pool.query(`update owner set form_of_address = 'Dr' where id = $1`, [ownerId])
  await house.database.pool.query(`update watch set description = 'another' where id = $1`, [watchId])
  house.setNow('2026-11-26T09:00:00Z')
  relay.fault = () => null
  await house.database.pool.query(`update notice set next_at = now() where id = $1`, [id])
  await letters.round()
  expect(relay.kept[0]?.raw.toString('utf8')).toBe(first)
})

test('the contents are fixed once: a replica that comes late changes neither them nor the digest', async () => {
  const { ownerId, watchId } = await ownerWithWatch(house)
  const id = await queueLetter(house, ownerId, watchId)
  const { pool } = house.database
  const onFile = async () =>
    (await pool.query('select contents, written_at, digest from letter where notice_id = $1', [id])).rows[0]
  const prepared = async (now: string) => {
    const letter = (await prepareLetters(pool, letterDeskOf(house.service), [{ id }], new Date(now))).get(id)
    if (!letter || 'cannot' in letter) throw new Error('no letter')
    return createHash('sha256').update(letter.raw).digest()
  }
  const digest = await prepared('2026-11-25T09:00:00Z')
  const fixed = await onFile()
  expect(fixed.digest).toEqual(digest)
  // the late one has read before the first had written: its contents are of a later second and another name
  const late = { ...fixed.contents, owner: { name: 'Read Late', formOfAddress: null } }
  await fixContents(pool, [{ noticeId: id, ownerId, contents: late, digest: Buffer.alloc(32) }], new Date(0))
  expect(await onFile()).toEqual(fixed)
  expect(await prepared('2026-11-26T09:00:00Z')).toEqual(digest)
})

test('a letter that may have arrived at one address does not go to another', async () => {
  const { ownerId, watchId } = await ownerWithWatch(house)
  const id = await queueLetter(house, ownerId, watchId)
  relay.fault = () => ({ at: 'after-dot', do: 'close' })
  expect(await letters.round()).toMatchObject({ inDoubt: 1 })
  await house.database.pool.query(`update notice set state = 'queued', next_at = now() where id = $1`, [id])
  await house.database.pool.query(`update contact set value = 'new.' || value where owner_id = $1`, [ownerId])
  relay.fault = () => null
  expect(await letters.round()).toMatchObject({ inDoubt: 1, sent: 0 })
  expect([relay.kept.length, await stateOf(house, id)]).toEqual([1, 'in-doubt'])
})

test('a letter that may not go after all is withdrawn before the relay hears of it', async () => {
  const { ownerId, watchId } = await ownerWithWatch(house)
  const id = await queueLetter(house, ownerId, watchId)
  allowed.set(id, ['owner-deceased'])
  await letters.round()
  expect([await stateOf(house, id), relay.kept.length]).toEqual(['withdrawn', 0])
})

test('a bad address becomes a task for the counter and is not written to again', async () => {
  house.setNow('2026-11-26T09:00:00Z')
  const { ownerId, watchId } = await ownerWithWatch(house, { email: 'gone@owner.example' })
  const id = await queueLetter(house, ownerId, watchId)
  relay.fault = () => ({ at: 'rcpt', do: 'answer', reply: '550 5.1.1 <gone@owner.example> unknown' })
  await letters.round()
  expect(await stateOf(house, id)).toBe('failed')
  const { rows } = await house.database.pool.query(`select role, kind, words from task where owner_id = $1`, [ownerId])
  expect(rows).toEqual([{ role: 'counter', kind: 'bad-address', words: expect.stringContaining('5.1.1') }])
  expect(rows[0].words).not.toContain('gone@owner.example')
  const contact = await house.database.pool.query(`select failed_on::text from contact where owner_id = $1`, [ownerId])
  expect(contact.rows[0].failed_on).toBe('2026-11-26')
  relay.fault = () => null
  const again = await queueLetter(house, ownerId, watchId)
  await letters.round()
  expect([await stateOf(house, again), relay.kept.length]).toEqual(['failed', 0])
})

test('the address that was refused is the one that failed, though a better one was put on file meanwhile', async () => {
  const { ownerId, watchId } = await ownerWithWatch(house, { email: 'old@owner.example' })
  await queueLetter(house, ownerId, watchId)
  const { send } = letters.transport
  letters.transport.send = async (...letter) => {
    await house
      .as('counter')
      .post(`/v1/owners/${ownerId}/contacts`, {
        means: 'e-mail',
        value: 'new@owner.example',
        preferredFor: ['reminder'],
      })
      .expect(201)
    return send(...letter)
  }
  relay.fault = () => ({ at: 'rcpt', do: 'answer', reply: '550 5.1.1 unknown' })
  await letters.round()
  const { rows } = await house.database.pool.query(
    `select value from contact where owner_id = $1 and failed_on is not null`,
    [ownerId],
  )
  expect(rows).toEqual([{ value: 'old@owner.example' }])
})

test('a letter in doubt is told to the manager once, and he says what became of it', async () => {
  const { ownerId, watchId } = await ownerWithWatch(house)
  const ids = [await queueLetter(house, ownerId, watchId), await queueLetter(house, ownerId, watchId)]
  relay.fault = () => ({ at: 'after-dot', do: 'close' })
  await letters.round()
  relay.fault = () => null
  await letters.round()
  expect(await Promise.all(ids.map((id) => stateOf(house, id)))).toEqual(['in-doubt', 'in-doubt'])
  const tasks = await house.database.pool.query(
    `select count(*)::int as n from task where kind = 'letter-in-doubt' and owner_id = $1 and done_at is null`,
    [ownerId],
  )
  expect(tasks.rows[0].n).toBe(2)
  const kept = relay.kept.length
  await house.as('counter').post(`/v1/notices/${ids[0]}/doubt`, { arrived: true }).expect(403)
  await house.as('manager').post(`/v1/notices/${ids[0]}/doubt`, { arrived: true }).expect(200)
  await house.as('manager').post(`/v1/notices/${ids[1]}/doubt`, { arrived: false }).expect(200)
  await letters.round()
  expect(await Promise.all(ids.map((id) => stateOf(house, id)))).toEqual(['sent', 'sent'])
  expect(relay.kept.length).toBe(kept + 1)
  const again = await house.as('manager').post(`/v1/notices/${ids[0]}/doubt`, { arrived: false })
  expect([again.status, again.body.type, again.body.state]).toEqual([409, '/problems/notice-moved-on', 'sent'])
})

test('hold, release and withdraw; what is on its way cannot be held', async () => {
  const { ownerId, watchId } = await ownerWithWatch(house)
  const id = await queueLetter(house, ownerId, watchId)
  await house.as('manager').post(`/v1/notices/${id}/hold`, { why: 'the price changes tomorrow' }).expect(200)
  await letters.round()
  expect([await stateOf(house, id), relay.kept.length]).toEqual(['held', 0])
  await house.as('manager').post(`/v1/notices/${id}/release`).expect(200)
  await letters.round()
  expect(await stateOf(house, id)).toBe('sent')
  expect((await house.as('manager').post(`/v1/notices/${id}/hold`, { why: 'too late' })).status).toBe(409)
  const other = await queueLetter(house, ownerId, watchId)
  await house.as('manager').post(`/v1/notices/${other}/withdrawal`, { why: 'he was here yesterday' }).expect(200)
  const { rows } = await house.database.pool.query('select key_taken from notice_item where notice_id = $1', [other])
  expect(rows[0].key_taken).toBe(true)
})

test('letters are listed and filtered, and their outcomes counted', async () => {
  const { ownerId, watchId } = await ownerWithWatch(house)
  const id = await queueLetter(house, ownerId, watchId, { runOn: '2026-10-01' })
  await letters.round()
  const list = (
    await house.as('counter').get(`/v1/notices?ownerId=${ownerId}&state=sent&from=2026-10-01&to=2026-10-01`).expect(200)
  ).body
  expect(list.items.map((one: { id: string }) => one.id)).toEqual([id])
  expect(list.items[0].items[0]).toMatchObject({ watchId, kind: 'cell-change', stage: '1', dueOn: '2026-12-10' })
  const { body } = await house.as('manager').get('/v1/notices/outcomes?from=2026-10-01&to=2026-10-01').expect(200)
  expect(body.items).toEqual([
    expect.objectContaining({ kind: 'cell-change', stage: '1', letters: 1, sent: 1, returned: 0 }),
  ])
})

test('a guide price stands in the letter until its last day', async () => {
  const body = {
    kind: 'cell-change',
    from: '2026-12-01',
    until: '2027-03-31',
    amount: 3200,
    currency: 'CHF',
    takes: { from: 30, to: 30, unit: 'minutes' },
  }
  house.setNow('2026-11-27')
  await house
    .as('manager')
    .post('/v1/guide-prices', { ...body, from: '2026-11-26' })
    .expect(409)
  await house
    .as('manager')
    .post('/v1/guide-prices', { ...body, until: '2026-11-30', amount: -1 })
    .expect(400)
  await house.as('manager').post('/v1/guide-prices', body).expect(201)
  const { ownerId, watchId } = await ownerWithWatch(house)
  const id = await queueLetter(house, ownerId, watchId)
  const text = async () =>
    (await house.as('counter').get(`/v1/notices/${id}/preview`).expect(200)).body.text.replace(/\s+/g, ' ')
  expect(await text()).toContain('We tell you the price and how long it takes before we begin')
  house.setNow('2026-12-01')
  expect(await text()).toContain('As a guide it costs CHF 32.00 (until 31 March 2027) and takes about 30 minutes.')
  house.setNow('2027-04-01')
  expect(await text()).not.toContain('32.00')
})

test('without a relay letters are files, each written whole and once', async () => {
  const files = path.join(folder, 'files')
  const service = {
    ...house.service,
    config: {
      ...house.service.config,
      letters: { ...house.service.config.letters, smtpUrl: undefined, folder: files },
    },
  }
  const { ownerId, watchId } = await ownerWithWatch(house)
  const ids = [await queueLetter(house, ownerId, watchId), await queueLetter(house, ownerId, watchId)]
  const none = async () => new Map<string, string[]>()
  await Promise.all([deliverLetters(service, none), deliverLetters(service, none)])
  expect((await readdir(files)).sort()).toEqual(ids.map((id) => `${id}.eml`).sort())
  expect((await simpleParser(await readFile(path.join(files, `${ids[0]}.eml`)))).messageId).toBe(
    `<${ids[0]}@centre.example>`,
  )
})

test('a disk that is full while a letter is written leaves the letter waiting and nothing half-written', async () => {
  const opened = path.join(folder, 'full')
  await mkdir(opened)
  const service = {
    ...house.service,
    config: {
      ...house.service.config,
      letters: { ...house.service.config.letters, smtpUrl: undefined, folder: opened },
    },
  }
  const { ownerId, watchId } = await ownerWithWatch(house)
  const id = await queueLetter(house, ownerId, watchId)
  // /dev/full opens like any file and answers every write with ENOSPC (full(4) of Linux)
  await symlink('/dev/full', path.join(opened, `.${id}.eml.${process.pid}.part`))
  const letters = openHandingOver(service, async () => new Map())
  expect(await letters.round()).toMatchObject({ sent: 0, putBack: 1 })
  const row = (await house.as('manager').get(`/v1/notices/${id}`).expect(200)).body
  expect([row.state, row.lastError]).toEqual(['queued', expect.stringContaining('ENOSPC')])
  expect(await readdir(opened)).toEqual([])
  await house.database.pool.query('update notice set next_at = now() where id = $1', [id])
  expect(await letters.round()).toMatchObject({ sent: 1 })
  await letters.close()
  expect(await readdir(opened)).toEqual([`${id}.eml`])
})

test('a folder that cannot be written to leaves the letter waiting', async () => {
  // a file where the folder should be: every write is refused
  const blocked = path.join(folder, 'blocked')
  await writeFile(blocked, '')
  const service = {
    ...house.service,
    config: {
      ...house.service.config,
      letters: { ...house.service.config.letters, smtpUrl: undefined, folder: blocked },
    },
  }
  const { ownerId, watchId } = await ownerWithWatch(house)
  const id = await queueLetter(house, ownerId, watchId)
  const opened = openHandingOver(service, async () => new Map())
  await opened.round()
  expect(await stateOf(house, id)).toBe('queued')
  await rm(blocked)
  await house.database.pool.query(`update notice set next_at = now() where id = $1`, [id])
  await opened.round()
  await opened.close()
  expect(await stateOf(house, id)).toBe('sent')
  expect(await readdir(blocked)).toEqual([`${id}.eml`])
})
