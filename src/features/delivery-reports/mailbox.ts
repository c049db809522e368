import { open } from 'node:fs/promises'
import type { Service, Signer } from '../../http/service.ts'
import { type Intake, takeReports } from './delivery-reports.ts'

/** Where reading goes on, and how the file stood and began then: another beginning is another file. */
type Place = { from: number; size: number; changed: number; file: number; head: Buffer }

/** As much as is read at once; the rest waits for the next tick. */
const LARGEST = 5 * 1024 * 1024
const HEAD = 256

const byItself: Signer = { keyId: null, name: 'mailbox of delivery reports', role: 'service' }

/**
 * Reads the mailbox file (RFC 4155) to which the mail system delivers reports. The file is never changed: it is the mail
 * system's own, and whoever keeps it short may rename or empty it at any time. Reading goes on at the last message seen,
 * which may have been half written then; to take a report twice changes nothing, so neither a restart nor a second
 * replica needs to know how far anybody came. Null where there is no such file, or nothing new in it.
 */
export function mailboxReader(): (service: Service) => Promise<Intake | null> {
  const start: Place = { from: 0, size: 0, changed: 0, file: 0, head: Buffer.alloc(0) }
  let place = start

  return async (service) => {
    const { mailbox } = service.config.letters
    if (!mailbox) return null
    const file = await open(mailbox, 'r').catch((error: NodeJS.ErrnoException) => {
      if (error.code === 'ENOENT') return null
      throw error
    })
    if (!file) return null
    try {
      const { size, mtimeMs, ino } = await file.stat()
      const head = Buffer.alloc(Math.min(HEAD, size))
      await file.read(head, 0, head.length, 0)
      const same = ino === place.file && size >= place.size && head.subarray(0, place.head.length).equals(place.head)
      if (!same) place = start
      if (same && size === place.size && mtimeMs === place.changed) return null
      const part = Buffer.alloc(Math.min(LARGEST, size - place.from))
      const { bytesRead } = await file.read(part, 0, part.length, place.from)
      const text = part.subarray(0, bytesRead)
      const whole = place.from + bytesRead >= size
      const last = text.lastIndexOf('\nFrom ') + 1
      // the last one may go on beyond what was read; alone it is larger than any report and passed over
      const upTo = whole || last === 0 ? bytesRead : last
      const intake = await takeReports(service, byItself, text.subarray(0, upTo))
      const from = place.from + (whole ? last : upTo)
      place = { from, size: whole ? size : from, changed: whole ? mtimeMs : 0, file: ino, head }
      return intake
    } finally {
      await file.close()
    }
  }
}
