import { createHash } from 'node:crypto'
import { type Act, act, type Service, type Signer } from '../../http/service.ts'
import { tamed } from '../../letters/outgoing.ts'
import { addLetterTask } from '../notices/house-tasks.ts'
import { messagesIn, type RecipientReport, readReport } from './report.ts'

/** How an address stands after its reports: one failure is a suspicion, failures on two days are a finding. */
export type AddressStanding = 'good' | 'suspect' | 'suppressed'
export type ReportTaken = {
  noticeId: string | null
  action: RecipientReport['action']
  status: string
  address: AddressStanding | null
  /** false where this very report was taken before */
  fresh: boolean
}

const uuid = /^[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}$/i

type Found = { notice_id: string; owner_id: string; state: string }

/** The notice a report is about: by the envelope id we gave, else by the Message-ID, which begins with the notice's id. */
async function noticeOf({ tx }: Act, report: RecipientReport): Promise<Found | null> {
  const candidates = [report.envelopeId, report.messageId?.split('@')[0]].filter(
    (one): one is string => one !== null && one !== undefined && uuid.test(one),
  )
  for (const id of candidates) {
    const [row] = await tx.$queryRaw<Found[]>`
      select id as notice_id, owner_id, state from notice where id = ${id}::uuid and handed_at is not null for update`
    if (row) return row
  }
  return null
}

async function contactOf({ tx }: Act, ownerId: string, recipient: string | null): Promise<string | null> {
  if (recipient === null) return null
  const [row] = await tx.$queryRaw<{ id: string }[]>`
    select id from contact where owner_id = ${ownerId}::uuid and means = 'e-mail' and search_value = ${recipient.toLowerCase()}
    order by ended_on nulls first, id desc limit 1 for update`
  return row?.id ?? null
}

/**
 * Takes what one recipient's report says. `failed`: the letter came back; the counter is asked for another address; a
 * permanent failure on two different days ends the address. `delivered`, `relayed`, `expanded`: it was accepted, which
 * also settles one in doubt. `delayed` changes nothing. A report about no letter of ours is kept out.
 */
async function take(act: Act, report: RecipientReport): Promise<ReportTaken | null> {
  const { tx, today } = act
  const notice = await noticeOf(act, report)
  if (!notice) return null
  const contactId = await contactOf(act, notice.owner_id, report.recipient)
  const digest = createHash('sha256')
    .update(JSON.stringify([notice.notice_id, report.recipient, report.action, report.status, report.diagnostic]))
    .digest()
  const diagnostic = report.diagnostic === null ? null : tamed(report.diagnostic, report.recipient ?? '')
  const made = await tx.$executeRaw`
    insert into delivery_report (digest, notice_id, contact_id, action, status, diagnostic, reported_on)
    values (${new Uint8Array(digest)}, ${notice.notice_id}::uuid, ${contactId}::uuid, ${report.action}, ${report.status}, ${diagnostic}, ${today}::date)
    on conflict on constraint delivery_report_digest_key do nothing`
  const taken = { noticeId: notice.notice_id, action: report.action, status: report.status }
  if (made === 0) return { ...taken, address: await standingOf(act, contactId), fresh: false }

  // any report but of a delay shows that the letter had been accepted
  if (report.action !== 'delayed' && notice.state === 'in-doubt') {
    await tx.$executeRaw`
      update notice set state = 'sent', sent_at = coalesce(sent_at, handed_at), lease_owner = null, lease_until = null,
        response = coalesce(response, 'known from a delivery report') where id = ${notice.notice_id}::uuid and state = 'in-doubt'`
    await tx.$executeRaw`
      insert into delivery_attempt (notice_id, attempt, outcome, detail)
      select id, attempt, 'resolved-sent', 'a delivery report' from notice where id = ${notice.notice_id}::uuid`
  }
  if (report.action === 'delivered')
    await tx.$executeRaw`update notice set delivered_at = coalesce(delivered_at, ${act.now}) where id = ${notice.notice_id}::uuid`
  if (report.action !== 'failed') return { ...taken, address: await standingOf(act, contactId), fresh: true }

  await tx.$executeRaw`update notice set returned_at = coalesce(returned_at, ${act.now}) where id = ${notice.notice_id}::uuid`
  const address = await standingOf(act, contactId)
  if (address === 'suppressed')
    await tx.$executeRaw`
      update contact set failed_on = ${today}::date, failed_why = ${`returned ${report.status}`} where id = ${contactId}::uuid and failed_on is null`
  await addLetterTask(tx, today, {
    kind: 'mail-returned',
    role: 'counter',
    dedupe: `mail-returned/${notice.owner_id}`,
    words: `A letter came back (${report.status}). It is not sent again by itself: ask the owner for an address that works.`,
    ownerId: notice.owner_id,
    noticeId: notice.notice_id,
  })
  return { ...taken, address, fresh: true }
}

async function standingOf({ tx }: Act, contactId: string | null): Promise<AddressStanding | null> {
  if (contactId === null) return null
  const [row] = await tx.$queryRaw<{ days: number; failed: boolean }[]>`
    select (select count(distinct reported_on)::int from delivery_report where contact_id = c.id and action = 'failed' and status like '5.%') as days,
      failed_on is not null as failed from contact c where id = ${contactId}::uuid`
  if (!row) return null
  if (row.failed || row.days >= 2) return 'suppressed'
  return row.days === 1 ? 'suspect' : 'good'
}

export type Intake = { messages: number; notReports: number; foreign: number; taken: ReportTaken[] }

/**
 * Takes a message, or every message of a mailbox file, each in a transaction of its own: what a large file came to
 * before it was broken off stays, since to take it again changes nothing. What is no report, or about no letter of ours,
 * is counted.
 */
export async function takeReports(service: Service, who: Signer, file: Buffer): Promise<Intake> {
  const intake: Intake = { messages: 0, notReports: 0, foreign: 0, taken: [] }
  for (const message of messagesIn(file)) {
    intake.messages++
    const reports = await readReport(message)
    if (reports === null) {
      intake.notReports++
      continue
    }
    const found = await act(service, who, async (doing) => {
      const each: (ReportTaken | null)[] = []
      for (const report of reports) each.push(await take(doing, report))
      return each
    })
    for (const taken of found) {
      if (taken) intake.taken.push(taken)
      else intake.foreign++
    }
  }
  return intake
}
