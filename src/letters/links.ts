import { createHash, createHmac, randomBytes } from 'node:crypto'
import { existsSync, mkdirSync, readFileSync, renameSync, writeFileSync } from 'node:fs'
import path from 'node:path'

/**
 * Links in letters. A token is an HMAC-SHA-256 over its purpose and its notice: 256 bits that nobody can guess, the same
 * each time the letter is made ready, never stored. What is stored is its hash, so that it can be found, expire and be
 * revoked.
 */
export type Purpose = 'stop' | 'answer'

export const tokenOf = (secret: string, purpose: Purpose, noticeId: string): string =>
  createHmac('sha256', secret).update(`${purpose}\n${noticeId}`).digest('base64url')

export const hashOfToken = (token: string): Buffer => createHash('sha256').update(token).digest()

export const tokenShape = /^[A-Za-z0-9_-]{43}$/

export const pathOf: Record<Purpose, string> = { stop: '/your-letters', answer: '/your-watches' }

export const linkOf = (publicUrl: string, purpose: Purpose, token: string): string =>
  `${publicUrl}${pathOf[purpose]}/${token}`

/** LINK_SECRET, or one of this data folder's own, made once; several replicas must be given the same one. */
export function linkSecret(given: string | undefined, dataFolder: string): string {
  if (given) return given
  const file = path.join(dataFolder, 'link-secret')
  if (!existsSync(file)) {
    mkdirSync(dataFolder, { recursive: true })
    const part = `${file}.${process.pid}.part`
    writeFileSync(part, randomBytes(32).toString('base64url'), { mode: 0o600 })
    renameSync(part, file)
  }
  return readFileSync(file, 'utf8').trim()
}
