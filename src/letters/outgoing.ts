/** A letter as bytes, and where it goes. One recipient a message, given outside the header so that no parser chooses it. */
export type Outgoing = {
  /** the notice; it is also the ENVID of RFC 3461, so that a report can be matched */
  id: string
  from: string
  to: string
  /** the whole message of RFC 5322, CRLF line ends, ending with one */
  raw: Buffer
}

/**
 * What became of one try. Only `unknown` leaves it open whether the other side has the letter; `not-transmitted` and
 * `fenced` are certain: not a byte of the body left this process.
 */
export type Outcome =
  | { kind: 'accepted'; response: string }
  | { kind: 'refused'; permanent: boolean; at: 'sender' | 'recipient' | 'message'; response: string }
  | { kind: 'not-transmitted'; error: string }
  | { kind: 'unknown'; error: string }
  | { kind: 'fenced' }

/** Thrown by `mark` when the lease has passed to somebody else: the hand-over must stop before its first byte. */
export class Fenced extends Error {
  override name = 'Fenced'
}

/** Places where a test may end the process or stall it; nothing in production listens. */
export type Point =
  | 'after-claim'
  | 'before-mark'
  | 'after-mark'
  | 'mid-body'
  | 'after-body'
  | 'after-reply'
  | 'after-record'
export type AtPoint = (point: Point, noticeId: string) => void | Promise<void>

export type Transport = {
  kind: 'smtp' | 'folder'
  /** true where a second hand-over of the same letter replaces the first (a file of the same name) */
  idempotent: boolean
  connections: number
  /**
   * Hands one letter over. `mark` is awaited after the other side has said that it will take the body and before the
   * first byte of it; if it throws, nothing is transmitted. Never throws.
   */
  send: (letter: Outgoing, mark: () => Promise<void>) => Promise<Outcome>
  close: () => Promise<void>
}

/** Replies and errors of a mail server are untrusted text and quote the recipient: one line, masked, short. */
export function tamed(text: string, recipient = ''): string {
  // replies that accept seldom quote anybody, and a pattern costs more to make than to look first
  const quoted = recipient !== '' && text.toLowerCase().includes(recipient.toLowerCase())
  const masked = quoted ? text.split(new RegExp(recipient.replace(/[^A-Za-z0-9]/g, '\\$&'), 'i')).join('…') : text
  return (
    masked
      // biome-ignore lint/suspicious/noControlCharactersInRegex: they are what is taken out
      .replace(/[\u0000-\u001f\u007f-\u009f]+/g, ' ')
      .trim()
      .slice(0, 500)
  )
}
