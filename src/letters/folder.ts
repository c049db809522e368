import { mkdir, open, rename, rm } from 'node:fs/promises'
import path from 'node:path'
import { type AtPoint, Fenced, type Outcome, type Transport, tamed } from './outgoing.ts'

/**
 * Letters as `.eml` files, for a centre without a relay. The file appears whole or not at all, under the notice's id, so
 * that writing it twice leaves one file. A full disk is a refusal for now: the letter waits.
 */
export function folderTransport(options: { folder: string; at?: AtPoint }): Transport {
  let made: Promise<unknown> | undefined

  async function write(name: string, raw: Buffer, noticeId: string): Promise<void> {
    const part = path.join(options.folder, `.${name}.${process.pid}.part`)
    try {
      const file = await open(part, 'w', 0o640)
      try {
        await file.writeFile(raw)
        await options.at?.('mid-body', noticeId)
        await file.sync()
      } finally {
        await file.close()
      }
      await rename(part, path.join(options.folder, name))
    } catch (error) {
      await rm(part, { force: true }).catch(() => {})
      throw error
    }
  }

  return {
    kind: 'folder',
    idempotent: true,
    connections: 8,
    async send(letter, mark): Promise<Outcome> {
      try {
        made ??= mkdir(options.folder, { recursive: true, mode: 0o750 })
        await made
        await options.at?.('before-mark', letter.id)
        await mark()
        await options.at?.('after-mark', letter.id)
        await write(`${letter.id}.eml`, letter.raw, letter.id)
        await options.at?.('after-body', letter.id)
        return { kind: 'accepted', response: `written as ${letter.id}.eml` }
      } catch (error) {
        if (error instanceof Fenced) return { kind: 'fenced' }
        made = undefined
        return { kind: 'not-transmitted', error: tamed(String(error)) }
      }
    },
    async close() {},
  }
}
