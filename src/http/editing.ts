import type { FastifyReply, FastifyRequest } from 'fastify'
import { Refusal } from '../domain/refusals.ts'

/** Strong entity tags from a version column: `"v3"`. */
export const etagOf = (version: number): string => `"v${version}"`

export function withEtag<T extends { version: number }>(reply: FastifyReply, row: T): T {
  reply.header('etag', etagOf(row.version))
  return row
}

/**
 * Refuses a version that is not the one If-Match demands (RFC 9110 13.1.1, strong comparison). Missing: 428 (RFC 6585).
 * `*` asks only that the thing exists.
 */
export function expectedVersion(request: FastifyRequest): (version: number) => void {
  const header = request.headers['if-match']
  if (header === undefined) throw new Refusal('if-match-missing')
  const tags = header.split(',').map((tag) => tag.trim())
  return (version) => {
    if (!tags.includes('*') && !tags.includes(etagOf(version))) throw new Refusal('if-match-failed')
  }
}
