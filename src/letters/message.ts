import { encodeWord, foldLines, isPlainText, quoteString } from 'nodemailer/lib/mime-funcs'
import { encode as quotedPrintable, wrap } from 'nodemailer/lib/qp'

/**
 * The one shape of message that letters have, laid out directly: text and HTML as alternatives, a calendar file beside
 * them. A general composer spends more time on a message than all the rest of the hand-over together; words and folding
 * are still those of nodemailer. RFC 5322 for the header, RFC 2045 to 2047 for the parts and the words.
 */
export type MessageParts = {
  from: { name: string; address: string }
  to: { name: string; address: string }
  subject: string
  date: Date
  messageId: string
  /** further header fields, values ready: printable ASCII without line breaks */
  fields: readonly (readonly [name: string, value: string])[]
  text: string
  html: string
  calendar: string | null
  /** names the boundaries; the same letter has the same ones */
  boundary: string
}

const CRLF = '\r\n'

/** A word of the header: plain, quoted, or encoded; what only looks encoded is encoded, so that nobody decodes it. */
function word(value: string): string {
  const looksEncoded = value.includes('=?')
  if (!looksEncoded && /^[A-Za-z0-9 !#$%&'*+/=?^_`{|}~-]+$/.test(value)) return value
  return !looksEncoded && isPlainText(value, true) ? quoteString(value) : encodeWord(value, 'Q', 52)
}

const mailbox = ({ name, address }: MessageParts['from']): string =>
  name === '' ? address : `${word(name)} <${address}>`

const days = ['Sun', 'Mon', 'Tue', 'Wed', 'Thu', 'Fri', 'Sat']
const months = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec']
const two = (value: number) => String(value).padStart(2, '0')

/** RFC 5322 3.3, in UTC. */
const dateOf = (at: Date): string =>
  `${days[at.getUTCDay()]}, ${two(at.getUTCDate())} ${months[at.getUTCMonth()]} ${at.getUTCFullYear()} ${two(at.getUTCHours())}:${two(at.getUTCMinutes())}:${two(at.getUTCSeconds())} +0000`

const inCrlf = (text: string): string => text.replace(/\r?\n/g, CRLF)

/** base64 in lines of 76 characters (RFC 2045 6.8). */
function inLines(text: string): string {
  const rows: string[] = []
  for (let at = 0; at < text.length; at += 76) rows.push(text.slice(at, at + 76))
  return rows.join(CRLF)
}

/** Readable as it is where it can be; else quoted-printable for words and base64 for what only machines read. */
function part(type: string, content: string, more: readonly string[] = [], compact = false): string {
  const lines = inCrlf(content)
  const head = (encoding: string) =>
    [`Content-Type: ${type}`, ...more, `Content-Transfer-Encoding: ${encoding}`, '', ''].join(CRLF)
  if (compact) return head('base64') + inLines(Buffer.from(lines).toString('base64'))
  const plain = /^[\x20-\x7e\r\n]*$/.test(lines) && lines.split(CRLF).every((line) => line.length <= 76)
  return plain ? head('7bit') + lines : head('quoted-printable') + wrap(quotedPrintable(lines), 76)
}

function multipart(kind: string, boundary: string, parts: readonly string[]): string {
  const body = parts.map((one) => `--${boundary}${CRLF}${one}${one.endsWith(CRLF) ? '' : CRLF}`).join('')
  return `Content-Type: multipart/${kind}; boundary="${boundary}"${CRLF}${CRLF}${body}--${boundary}--${CRLF}`
}

export function layOut(message: MessageParts): Buffer {
  const alternative = multipart('alternative', `${message.boundary}-a`, [
    part('text/plain; charset=utf-8', message.text),
    part('text/html; charset=utf-8', message.html, [], true),
  ])
  const body =
    message.calendar === null
      ? alternative
      : multipart('mixed', `${message.boundary}-m`, [
          alternative,
          part(
            'text/calendar; charset=utf-8; method=PUBLISH; name=come-by.ics',
            message.calendar,
            ['Content-Disposition: attachment; filename=come-by.ics'],
            true,
          ),
        ])
  const fields: (readonly [string, string])[] = [
    ...message.fields,
    ['From', mailbox(message.from)],
    ['To', mailbox(message.to)],
    [
      'Subject',
      message.subject.includes('=?') || !isPlainText(message.subject, true)
        ? encodeWord(message.subject, 'Q', 52)
        : message.subject,
    ],
    ['Message-ID', message.messageId],
    ['Date', dateOf(message.date)],
    ['MIME-Version', '1.0'],
  ]
  const head = fields.map(([name, value]) => foldLines(`${name}: ${value}`, 76)).join(CRLF)
  return Buffer.from(`${head}${CRLF}${body}`)
}
