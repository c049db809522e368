import { createHash } from 'node:crypto'
import type { Day } from '../domain/day.ts'
import type { Links } from './blocks.ts'
import { calendarFile } from './calendar.ts'
import { type LetterContents, oneLine } from './contents.ts'
import type { Ready } from './delivery.ts'
import { asHtml, asText } from './layout.ts'
import { layOut } from './message.ts'
import { writeLetter } from './write.ts'

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
  const { noticeId, writtenAt, to, links } = addressed
  const written = writeLetter(contents, links)
  const messageId = messageIdOf(noticeId, sender)
  const built = layOut({
    from: { name: oneLine(sender.name), address: sender.address },
    to: { name: oneLine(to.name), address: to.address },
    subject: oneLine(written.subject),
    date: writtenAt,
    messageId,
    fields: fieldsOf(written.language, noticeId, links, sender),
    text: asText(written),
    html: asHtml(written),
    calendar: written.calendar
      ? calendarFile({
          uid: messageId.slice(1, -1),
          stamp: writtenAt,
          day: written.calendar.day as Day,
          summary: written.calendar.summary,
          description: links.answer ?? written.subject,
          location: [contents.centre.name, contents.centre.address]
            .filter(Boolean)
            .map((part) => oneLine(part ?? ''))
            .join(', '),
        })
      : null,
    boundary: `letter-${createHash('sha256').update(noticeId).digest('hex').slice(0, 16)}`,
  })
  const raw = sender.dkim ? await signed(built, sender.dkim) : built
  return { id: noticeId, messageId, from: sender.address, to: to.address, raw }
}

function fieldsOf(language: string, noticeId: string, links: Links, sender: Sender): [string, string][] {
  const oneClick = links.stop?.startsWith('https:') === true
  const unsubscribe = links.stop ?? `mailto:${sender.address}?subject=stop%20${noticeId}`
  return [
    // RFC 3834: made by a machine, so that no machine answers
    ['Auto-Submitted', 'auto-generated'],
    ['Content-Language', language],
    ['List-Unsubscribe', `<${unsubscribe}>`],
    // RFC 8058 asks for an HTTPS address
    ...(oneClick ? ([['List-Unsubscribe-Post', 'List-Unsubscribe=One-Click']] as [string, string][]) : []),
    ...(sender.idempotencyHeader ? ([[sender.idempotencyHeader, `notice/${noticeId}`]] as [string, string][]) : []),
  ]
}

async function signed(raw: Buffer, dkim: NonNullable<Sender['dkim']>): Promise<Buffer> {
  const { default: DKIM } = await import('nodemailer/lib/dkim')
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
