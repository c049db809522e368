import { Readable } from 'node:stream'
import nodemailer from 'nodemailer'
import { type AtPoint, Fenced, type Outcome, type Outgoing, type Transport, tamed } from './outgoing.ts'

export type SmtpOptions = {
  url: string
  /** the name for EHLO: the domain of the sender */
  name: string
  connections?: number
  /** asks for delivery reports (RFC 3461) where the relay offers them */
  reports?: boolean
  /** milliseconds; the wait for the reply to the final dot is ten minutes by RFC 5321 4.5.3.2.6 */
  timeouts?: { connection?: number; greeting?: number; socket?: number }
  /** for a relay whose certificate is signed by a house authority */
  ca?: string
  at?: AtPoint
}

const isLocal = (host: string) => host === 'localhost' || host === '::1' || host.startsWith('127.')

type MailError = Error & { code?: string; responseCode?: number; response?: string; command?: string }

/**
 * Hands letters to a mail relay. nodemailer's error does not say in which phase a connection broke, so the phase is
 * observed: it reads the message only after the 354, through a stream whose first step is the mark in the database.
 */
export function smtpTransport(options: SmtpOptions): Transport {
  const url = new URL(options.url)
  const secure = url.protocol === 'smtps:'
  const host = url.hostname.replace(/^\[|\]$/g, '')
  const connections = options.connections ?? 5
  const auth = url.username
    ? { user: decodeURIComponent(url.username), pass: decodeURIComponent(url.password) }
    : undefined
  const pool = nodemailer.createTransport({
    pool: true,
    host,
    port: url.port ? Number(url.port) : secure ? 465 : 587,
    secure,
    // a password never travels in the open, except to this very machine
    requireTLS: !secure && auth !== undefined && !isLocal(host),
    auth,
    name: options.name,
    tls: { minVersion: 'TLSv1.2', ...(options.ca ? { ca: options.ca } : {}) },
    maxConnections: connections,
    maxMessages: Number.POSITIVE_INFINITY,
    // attempts are ours to count
    maxRequeues: 0,
    disableFileAccess: true,
    disableUrlAccess: true,
    maxRecipients: 1,
    connectionTimeout: options.timeouts?.connection ?? 15_000,
    greetingTimeout: options.timeouts?.greeting ?? 15_000,
    dnsTimeout: 10_000,
    socketTimeout: options.timeouts?.socket ?? 600_000,
  })
  // an idle connection that the relay closes is no news; the letter it would have carried reports for itself
  pool.on('error', () => {})

  async function once(letter: Outgoing, mark: () => Promise<void>): Promise<Outcome & { started: boolean }> {
    let started = false
    let fenced = false
    let markError: unknown
    const body = async function* () {
      await options.at?.('before-mark', letter.id)
      try {
        await mark()
      } catch (error) {
        if (error instanceof Fenced) fenced = true
        else markError = error
        throw error
      }
      await options.at?.('after-mark', letter.id)
      started = true
      if (!options.at) {
        yield letter.raw
        return
      }
      const half = letter.raw.length >> 1
      yield letter.raw.subarray(0, half)
      await options.at('mid-body', letter.id)
      yield letter.raw.subarray(half)
      await options.at('after-body', letter.id)
    }
    try {
      const info = await pool.sendMail({
        envelope: {
          from: letter.from,
          to: [letter.to],
        },
        raw: letter.raw,
        ...(options.reports === false
          ? {}
          : { dsn: { id: letter.id, return: 'headers' as const, notify: ['success', 'failure', 'delay'] as const } }),
        body,
      } as Parameters<typeof pool.sendMail>[0])
      return { kind: 'accepted', response: tamed(String(info.response ?? ''), letter.to), started }
    } catch (thrown) {
      const error = thrown as MailError
      if (fenced) return { kind: 'fenced', started }
      if (markError !== undefined)
        return { kind: 'not-transmitted', error: tamed(String(markError), letter.to), started }
      const code = error.responseCode
      if (code !== undefined && code >= 400 && code < 600) {
        const at = error.code === 'EENVELOPE' ? (/RCPT/.test(error.command ?? '') ? 'recipient' : 'sender') : 'message'
        // a refusal of ours to log in, or a relay that is closing, says nothing about the letter
        const ofTheLetter = error.code === 'EENVELOPE' || error.code === 'EMESSAGE'
        const response = tamed(error.response ?? error.message, letter.to)
        if (!started && !ofTheLetter) return { kind: 'not-transmitted', error: response, started }
        return { kind: 'refused', permanent: code >= 500, at, response, started }
      }
      const text = tamed(`${error.code ?? ''} ${error.message}`, letter.to)
      return started ? { kind: 'unknown', error: text, started } : { kind: 'not-transmitted', error: text, started }
    }
  }

  pool.use('stream', (mail, done) => {
    const { body } = mail.data as unknown as { body: () => AsyncGenerator<Buffer> }
    mail.message.createReadStream = (() => Readable.from(body(), { objectMode: false })) as never
    done()
  })

  return {
    kind: 'smtp',
    idempotent: false,
    connections,
    async send(letter, mark) {
      const first = await once(letter, mark)
      // a pooled connection that the relay dropped while it was idle: nothing was marked or sent, so at once again
      if (
        first.kind === 'not-transmitted' &&
        !first.started &&
        /ECONNECTION|ESOCKET|ECONNRESET|EPIPE|closed/i.test(first.error)
      ) {
        return once(letter, mark)
      }
      return first
    },
    async close() {
      pool.close()
    },
  }
}
