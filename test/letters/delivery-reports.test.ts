import { appendFile, mkdtemp, readFile, rename, rm, writeFile } from 'node:fs/promises'
import os from 'node:os'
import path from 'node:path'
import supertest from 'supertest'
import { afterAll, beforeAll, beforeEach, expect, test } from 'vitest'
import { mailboxReader } from '../../src/features/delivery-reports/mailbox.ts'
import { messagesIn, readReport } from '../../src/features/delivery-reports/report.ts'
import { type HandingOver, openHandingOver } from '../../src/features/notices/handing-over.ts'
import { type Relay, startRelay } from '../faults/delivery/relay.ts'
import { type House, openHouse } from '../support/house.ts'
import { ownerWithWatch, queueLetter, stateOf } from './book.ts'

let relay: Relay
let house: House
let letters: HandingOver

beforeAll(async () => {
  relay = await startRelay()
  house = await openHouse({ env: { SMTP_URL: relay.url, LETTERS_FROM: 'letters@centre.example' } })
  letters = openHandingOver(house.service, async () => new Map())
})
afterAll(async () => {
  await letters.close()
  await house.close()
  await relay.close()
})
beforeEach(() => {
  house.setNow('2026-11-25')
  relay.fault = () => null
})

/** A report as a relay writes it, in the form of RFC 3464. */
function report(more: {
  envelope?: string | null
  messageId?: string | null
  recipient?: string
  action?: string
  status?: string
  diagnostic?: string
  boundary?: string
}): string {
  const {
    envelope = null,
    messageId = null,
    recipient = 'nadia@owner.example',
    action = 'failed',
    status = '5.1.1',
    diagnostic = 'smtp; 550 5.1.1 unknown user',
  } = more
  return [
    'From: Mail Delivery Subsystem <MAILER-DAEMON@relay.example>',
    'To: letters@centre.example',
    'Subject: Delivery report',
    'MIME-Version: 1.0',
    'Content-Type: multipart/report; report-type=delivery-status; boundary="b1"',
    '',
    '--b1',
    '',
    'Your message could not be delivered.',
    '',
    '--b1',
    'Content-Type: message/delivery-status',
    '',
    'Reporting-MTA: dns; relay.example',
    ...(envelope ? [`Original-Envelope-Id: ${envelope}`] : []),
    '',
    `Final-Recipient: rfc822; ${recipient}`,
    `Action: ${action}`,
    `Status: ${status}`,
    `Diagnostic-Code: ${diagnostic}`,
    '',
    '--b1',
    'Content-Type: text/rfc822-headers',
    '',
    ...(messageId ? [`Message-ID: <${messageId}>`] : []),
    'Subject: Your watch',
    '',
    '--b1--',
    '',
  ].join('\r\n')
}

const send = (body: string, type = 'message/rfc822', role: 'counter' | 'bench' = 'counter') =>
  supertest(house.app.server)
    .post('/v1/delivery-reports')
    .set('authorization', `Bearer ${house.keys[role]}`)
    .set('content-type', type)
    .send(Buffer.from(body))

async function sentLetter(email: string): Promise<{ id: string; ownerId: string; watchId: string }> {
  const { ownerId, watchId } = await ownerWithWatch(house, { email })
  const id = await queueLetter(house, ownerId, watchId)
  await letters.round()
  return { id, ownerId, watchId }
}

const contactOf = async (ownerId: string) => {
  const { rows } = await house.database.pool.query(
    'select failed_on::text as "failedOn" from contact where owner_id = $1',
    [ownerId],
  )
  return rows[0].failedOn
}
const tasksOf = async (ownerId: string) => {
  const { rows } = await house.database.pool.query<{ kind: string }>('select kind from task where owner_id = $1', [
    ownerId,
  ])
  return rows.map((row) => row.kind)
}

test('the report that RFC 3464 gives as its own example is read', async () => {
  // RFC 3464 appendix E.1, shortened in its first part
  const example = `Date: Thu, 7 Jul 1994 17:16:05 -0400
From: Mail Delivery Subsystem <MAILER-DAEMON@CS.UTK.EDU>
Message-Id: <199407072116.RAA14128@CS.UTK.EDU>
Subject: Returned mail: Cannot send message for 5 days
To: <owner-info-mime@cs.utk.edu>
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status;
      boundary="RAA14128.773615765/CS.UTK.EDU"

--RAA14128.773615765/CS.UTK.EDU

The original message was received at Sat, 2 Jul 1994 17:10:28 -0400
from root@localhost

--RAA14128.773615765/CS.UTK.EDU
content-type: message/delivery-status

Reporting-MTA: dns; cs.utk.edu

Original-Recipient: rfc822;louisl@larry.slip.umd.edu
Final-Recipient: rfc822;louisl@larry.slip.umd.edu
Action: failed
Status: 4.0.0
Diagnostic-Code: smtp; 426 connection timed out
Last-Attempt-Date: Thu, 7 Jul 1994 17:15:49 -0400

--RAA14128.773615765/CS.UTK.EDU
content-type: message/rfc822

[original message goes here]

--RAA14128.773615765/CS.UTK.EDU--
`
  expect(await readReport(Buffer.from(example))).toEqual([
    {
      envelopeId: null,
      messageId: null,
      recipient: 'louisl@larry.slip.umd.edu',
      action: 'failed',
      status: '4.0.0',
      diagnostic: 'smtp; 426 connection timed out',
    },
  ])
})

test.each([
  ['Failed', '5.1.1', 1],
  ['DELAYED', '4.4.7', 1],
  ['relayed', '2.0.0', 1],
  // RFC 3464 2.3.4: no leading zeros, class 2, 4 or 5
  ['failed', '5.01.1', 0],
  ['failed', '3.1.1', 0],
  ['failed', '5.1.1000', 0],
  ['bounced', '5.1.1', 0],
])('action %s with status %s gives %i recipients', async (action, status, count) => {
  expect(await readReport(Buffer.from(report({ action, status })))).toHaveLength(count)
})

test('what is no report is none, whatever it is', async () => {
  for (const text of ['', 'hello', 'Subject: I am on holiday\r\n\r\nback on Monday', report({}).slice(0, 300)])
    expect(await readReport(Buffer.from(text))).toBeNull()
})

test('a letter that comes back is marked and told to the counter; it keeps its key and is not sent again', async () => {
  const { id, ownerId } = await sentLetter('nadia@owner.example')
  const kept = relay.kept.length
  const { body } = await send(report({ envelope: id })).expect(200)
  expect(body).toEqual({
    messages: 1,
    notReports: 0,
    foreign: 0,
    taken: [{ noticeId: id, action: 'failed', status: '5.1.1', address: 'suspect', fresh: true }],
  })
  const notice = (await house.as('counter').get(`/v1/notices/${id}`).expect(200)).body
  expect([notice.state, notice.returnedAt !== null, notice.reports[0].status]).toEqual(['sent', true, '5.1.1'])
  expect(await tasksOf(ownerId)).toEqual(['mail-returned'])
  // a single failure does not end an address (RFC 3464 appendix C)
  expect(await contactOf(ownerId)).toBeNull()
  const { rows } = await house.database.pool.query('select key_taken from notice_item where notice_id = $1', [id])
  expect(rows[0].key_taken).toBe(true)
  await letters.round()
  expect(relay.kept.length).toBe(kept)
})

test('the same report twice is one', async () => {
  const { id, ownerId } = await sentLetter('twice@owner.example')
  const text = report({ envelope: id, recipient: 'twice@owner.example' })
  await send(text).expect(200)
  house.setNow('2026-11-26')
  const { body } = await send(text).expect(200)
  expect(body.taken[0]).toMatchObject({ fresh: false, address: 'suspect' })
  expect(await contactOf(ownerId)).toBeNull()
})

test('failures on two days end the address; on one day, or of passing cause, they do not', async () => {
  const first = await sentLetter('moved@owner.example')
  const again = async (status = '5.1.1') => {
    const id = await queueLetter(house, first.ownerId, first.watchId)
    await letters.round()
    return (await send(report({ envelope: id, recipient: 'moved@owner.example', status })).expect(200)).body.taken[0]
      .address
  }
  expect(await again()).toBe('suspect')
  expect(await again()).toBe('suspect')
  house.setNow('2026-11-26')
  expect(await again('4.4.7')).toBe('suspect')
  house.setNow('2026-11-27')
  expect(await again()).toBe('suppressed')
  expect(await contactOf(first.ownerId)).toBe('2026-11-27')
})

test('a delay changes nothing', async () => {
  const { id, ownerId } = await sentLetter('slow@owner.example')
  await send(report({ envelope: id, recipient: 'slow@owner.example', action: 'delayed', status: '4.4.1' })).expect(200)
  const notice = (await house.as('counter').get(`/v1/notices/${id}`).expect(200)).body
  expect([notice.returnedAt, await tasksOf(ownerId)]).toEqual([null, []])
})

test('a letter in doubt is settled by any report that shows it was accepted, found by its Message-ID alone', async () => {
  const { ownerId, watchId } = await ownerWithWatch(house, { email: 'doubt@owner.example' })
  const id = await queueLetter(house, ownerId, watchId)
  relay.fault = () => ({ at: 'after-dot', do: 'close' })
  await letters.round()
  expect(await stateOf(house, id)).toBe('in-doubt')
  await send(
    report({
      messageId: `${id}@centre.example`,
      recipient: 'doubt@owner.example',
      action: 'delivered',
      status: '2.0.0',
    }),
  ).expect(200)
  const notice = (await house.as('counter').get(`/v1/notices/${id}`).expect(200)).body
  expect([notice.state, notice.deliveredAt !== null]).toEqual(['sent', true])
})

test('a mailbox file is taken message by message (RFC 4155)', async () => {
  const one = await sentLetter('box.one@owner.example')
  const two = await sentLetter('box.two@owner.example')
  const letter = 'Subject: a reply\r\n\r\nThank you.\r\n>From now on please write to my wife.\r\n'
  const file = [
    report({ envelope: one.id, recipient: 'box.one@owner.example' }),
    letter,
    report({ envelope: two.id, recipient: 'box.two@owner.example' }),
  ]
    .map((message) => `From MAILER-DAEMON Wed Nov 25 12:00:00 2026\r\n${message}\r\n`)
    .join('')
  expect(messagesIn(Buffer.from(file))).toHaveLength(3)
  expect(messagesIn(Buffer.from(file))[1]?.toString()).toContain('\nFrom now on')
  const { body } = await send(file, 'application/mbox').expect(200)
  expect([body.messages, body.notReports, body.taken.map((one: { noticeId: string }) => one.noticeId)]).toEqual([
    3,
    1,
    [one.id, two.id],
  ])
})

test('the mailbox file of the mail system is read as it grows, is emptied or renamed, and is never changed', async () => {
  const folder = await mkdtemp(path.join(os.tmpdir(), 'mailbox-'))
  const mailbox = path.join(folder, 'reports')
  const service = {
    ...house.service,
    config: { ...house.service.config, letters: { ...house.service.config.letters, mailbox } },
  }
  const read = mailboxReader()
  const one = await sentLetter('grow.one@owner.example')
  const two = await sentLetter('grow.two@owner.example')
  const three = await sentLetter('grow.three@owner.example')
  const four = await sentLetter('grow.four@owner.example')
  const mail = (letter: { id: string }, name: string) =>
    `From MAILER-DAEMON Wed Nov 25 12:00:00 2026\n${report({ envelope: letter.id, recipient: `${name}@owner.example` })}\n`
  const returned = async () => {
    const ids = [one, two, three, four].map((letter) => letter.id)
    const { rows } = await house.database.pool.query(
      'select returned_at is not null as back from notice where id = any($1) order by array_position($1::uuid[], id)',
      [ids],
    )
    return rows.map((row) => row.back)
  }
  expect(await read(service)).toBe(null)
  const second = mail(two, 'grow.two')
  const half = second.slice(0, second.length / 3)
  await writeFile(mailbox, mail(one, 'grow.one') + half)
  await read(service)
  expect(await returned()).toEqual([true, false, false, false])
  expect(await readFile(mailbox, 'utf8')).toBe(mail(one, 'grow.one') + half)
  expect(await read(service)).toBe(null)
  await appendFile(mailbox, second.slice(half.length))
  expect(await read(service)).toMatchObject({ messages: 1, taken: [{ noticeId: two.id, fresh: true }] })
  await appendFile(mailbox, mail(three, 'grow.three'))
  const taken = await read(service)
  expect(taken?.taken.filter((each) => each.fresh).map((each) => each.noticeId)).toEqual([three.id])
  // put aside by whoever keeps it short, and begun anew
  await rename(mailbox, `${mailbox}.1`)
  expect(await read(service)).toBe(null)
  await writeFile(mailbox, mail(four, 'grow.four'))
  expect(await read(service)).toMatchObject({ messages: 1, taken: [{ noticeId: four.id }] })
  expect(await returned()).toEqual([true, true, true, true])
  // emptied in place and grown longer than it was before anybody looked: what is read is not the middle of a message
  const five = await sentLetter('grow.five@owner.example')
  await appendFile(mailbox, mail(one, 'grow.one'))
  expect(await read(service)).toMatchObject({ messages: 2 })
  const notice = `From nobody Wed Nov 25 12:00:00 2026\n\nA word.\n\n`
  await writeFile(mailbox, notice + mail(five, 'grow.five') + mail(four, 'grow.four') + notice)
  const anew = await read(service)
  expect(anew?.taken.filter((each) => each.fresh).map((each) => each.noticeId)).toEqual([five.id])
  await writeFile(mailbox, mail(four, 'grow.four'))
  // another replica, or this one started again, reads all of it and finds nothing new
  expect((await mailboxReader()(service))?.taken.map((each) => each.fresh)).toEqual([false])
  await rm(folder, { recursive: true })
})

test('what a file came to before it was broken off stays taken, and the whole file again takes the rest', async () => {
  const one = await sentLetter('broken.one@owner.example')
  const two = await sentLetter('broken.two@owner.example')
  const { pool } = house.database
  await pool.query(`
    create function refuse_two() returns trigger language plpgsql as $$ begin raise 'not this one'; end $$;
    create trigger refuse_two before insert on delivery_report for each row when (new.notice_id = '${two.id}') execute function refuse_two()`)
  const file = [one, two]
    .map((letter, n) => {
      const recipient = `broken.${n === 0 ? 'one' : 'two'}@owner.example`
      return `From MAILER-DAEMON Wed Nov 25 12:00:00 2026\n${report({ envelope: letter.id, recipient })}\n`
    })
    .join('')
  await send(file, 'application/mbox').expect(500)
  await pool.query('drop trigger refuse_two on delivery_report; drop function refuse_two()')
  const { body } = await send(file, 'application/mbox').expect(200)
  expect(body.taken.map((each: { noticeId: string; fresh: boolean }) => [each.noticeId, each.fresh])).toEqual([
    [one.id, false],
    [two.id, true],
  ])
})

test('a report about no letter of ours, or about one never handed over, changes nothing', async () => {
  const { ownerId, watchId } = await ownerWithWatch(house, { email: 'never@owner.example' })
  const waiting = await queueLetter(house, ownerId, watchId)
  for (const envelope of ['01a213e8-9d9c-7686-a6d3-ebfcd85ac24f', "x' or 1=1", waiting]) {
    const { body } = await send(report({ envelope, recipient: 'never@owner.example' })).expect(200)
    expect([body.foreign, body.taken]).toEqual([1, []])
  }
  await house.database.pool.query(`update notice set state = 'withdrawn' where id = $1`, [waiting])
})

test('only the counter and the manager bring reports, and only as mail', async () => {
  expect((await send(report({}), 'message/rfc822', 'bench')).status).toBe(403)
  expect((await send('{}', 'application/json')).status).toBe(415)
  expect((await house.as('counter').post('/v1/delivery-reports')).status).toBe(415)
})
