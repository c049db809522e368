import { createHash } from 'node:crypto'
import DKIM from 'nodemailer/lib/dkim'
import MailComposer from 'nodemailer/lib/mail-composer'
import type { Day } from '../domain/day.ts'
import { calendarFile } from './calendar.ts'
import { type LetterContents, oneLine } from './contents.ts'
import type { Ready } from './delivery.ts'
import { asHtml, asText } from './layout.ts'
import { type Links, type Written, writeLetter } from './write.ts'

/** Who writes, and how the letters of this house are marked and signed. */
export type Sender = {
  name: string
  address: string
  /** a header by which a relay knows a letter it has taken already; its value is the same at each hand-over */
  idempotencyHeader?: string | undefined
  dkim?: { domain: string; selector: string; privateKey: string } | undefined
}

/** `The Centre <letters@example.org>` or a bare address, as the configuration has checked it. */
export function senderOf(from: string, fallbackName: string): Pick<Sender, 'name' | 'address'> {
  const parts = /^(.*)<([^<>]+)>$/.exec(from)
  return parts
    ? { name: oneLine(parts[1] ?? '') || fallbackName, address: parts[2] ?? '' }
    : { name: fallbackName, address: from }
}

export type Addressed = {
  noticeId: string
  /** of the first time it was made ready: the letter bears this date at each hand-over */
  writtenAt: Date
  to: { name: string; address: string }
  links: Links
}

const signedFields = [
  'from',
  'to',
  'subject',
  'date',
  'message-id',
  'mime-version',
  'content-type',
  'content-language',
  'auto-submitted',
  'list-unsubscribe',
  'list-unsubscribe-post',
].join(':')

const messageIdOf = (noticeId: string, sender: Sender) => `<${noticeId}@${sender.address.split('@')[1] ?? 'localhost'}>`

/**
 * The message of RFC 5322, the same to the byte for the same contents, links and sender: date, Message-ID and boundaries
 * follow from the notice. The recipient is one structured address; the envelope repeats it and nothing parses it.
 */
export async function composeLetter(contents: LetterContents, addressed: Addressed, sender: Sender): Promise<Ready> {
  return composeWritten(writeLetter(contents, addressed.links), contents, addressed, sender)
}

export async function composeWritten(
  written: Written,
  contents: LetterContents,
  addressed: Addressed,
  sender: Sender,
): Promise<Ready> {
  const { noticeId, writtenAt, to, links } = addressed
  const messageId = messageIdOf(noticeId, sender)
  const text = asText(written)
  const mail = new MailComposer({
    from: { name: sender.name, address: sender.address },
    to: { name: oneLine(to.name), address: to.address },
    subject: written.subject,
    date: writtenAt,
    messageId,
    text,
    html: asHtml(written),
    textEncoding: 'quoted-printable',
    attachments: written.calendar
      ? [
          {
            filename: 'come-by.ics',
            contentType: 'text/calendar; charset=utf-8; method=PUBLISH',
            content: calendarFile({
              uid: messageId.slice(1, -1),
              stamp: writtenAt,
              day: written.calendar.day as Day,
              summary: written.calendar.summary,
              description: links.answer ?? written.subject,
              location: [contents.centre.name, contents.centre.address]
                .filter(Boolean)
                .map((part) => oneLine(part ?? ''))
                .join(', '),
            }),
          },
        ]
      : [],
    headers: headersOf(written.language, noticeId, links, sender),
    baseBoundary: createHash('sha256').update(noticeId).digest('hex').slice(0, 16),
    newline: 'windows',
    disableFileAccess: true,
    disableUrlAccess: true,
  } as ConstructorParameters<typeof MailComposer>[0])
  const message = mail.compile()
  const built = await message.build()
  const raw = sender.dkim ? await signed(built, sender.dkim) : built
  return { id: noticeId, messageId, from: sender.address, to: to.address, raw: endingInCrlf(raw) }
}

function headersOf(
  language: string,
  noticeId: string,
  links: Links,
  sender: Sender,
): Record<string, string | { prepared: true; value: string }> {
  const oneClick = links.stop?.startsWith('https:') === true
  const unsubscribe = links.stop ?? `mailto:${sender.address}?subject=stop%20${noticeId}`
  return {
    // RFC 3834: made by a machine, so that no machine answers
    'Auto-Submitted': 'auto-generated',
    'Content-Language': language,
    // prepared: an address is not a place to break a line
    'List-Unsubscribe': { prepared: true, value: `<${unsubscribe}>` },
    // RFC 8058 asks for an HTTPS address
    ...(oneClick ? { 'List-Unsubscribe-Post': 'List-Unsubscribe=One-Click' } : {}),
    ...(sender.idempotencyHeader ? { [sender.idempotencyHeader]: `notice/${noticeId}` } : {}),
  }
}

async function signed(raw: Buffer, dkim: NonNullable<Sender['dkim']>): Promise<Buffer> {
  const signer = new DKIM({
    domainName: dkim.domain,
    keySelector: dkim.selector,
    privateKey: dkim.privateKey,
    headerFieldNames: signedFields,
  })
  const chunks: Buffer[] = []
  for await (const chunk of signer.sign(raw)) chunks.push(chunk as Buffer)
  return Buffer.concat(chunks)
}

const endingInCrlf = (raw: Buffer): Buffer =>
  raw.subarray(-2).equals(Buffer.from('\r\n')) ? raw : Buffer.concat([raw, Buffer.from('\r\n')])
