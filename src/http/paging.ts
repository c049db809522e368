import { createHash } from 'node:crypto'
import type { FastifyReply, FastifyRequest } from 'fastify'
import { z } from 'zod'
import { Refusal } from '../domain/refusals.ts'

/**
 * Keyset pages: `?limit=50&after=…`. The cursor carries the sort values of the last row and a mark of the list and its
 * filters, so that it cannot be carried to another list. The next page is in `Link: <…>; rel="next"` (RFC 8288).
 */
export const pageQuery = {
  limit: z.coerce.number().int().min(1).max(100).default(50),
  after: z.string().max(600).optional(),
}

const markOf = (request: FastifyRequest): string => {
  const query = { ...(request.query as Record<string, unknown>) }
  delete query.after
  delete query.limit
  const text = `${request.routeOptions.url} ${JSON.stringify(request.params)} ${JSON.stringify(Object.entries(query).sort())}`
  return createHash('sha256').update(text).digest('base64url').slice(0, 12)
}

type SortValue = string | number | null

/** The sort values after which the page begins, or null for the first page. */
export function afterOf(request: FastifyRequest, length: number): SortValue[] | null {
  const { after } = request.query as { after?: string }
  if (after === undefined) return null
  try {
    const [mark, ...values] = JSON.parse(Buffer.from(after, 'base64url').toString('utf8')) as [string, ...SortValue[]]
    if (mark === markOf(request) && values.length === length) return values
  } catch {
    // not one of ours
  }
  throw new Refusal('cursor-refused')
}

/** Takes one row more than the page to see whether there is a next one; sets the Link header. */
export function page<T>(
  request: FastifyRequest,
  reply: FastifyReply,
  rows: readonly T[],
  sortValues: (row: T) => SortValue[],
): { items: T[] } {
  const { limit } = request.query as { limit: number }
  const items = rows.slice(0, limit)
  const last = items.at(-1)
  if (rows.length > limit && last !== undefined) {
    const url = new URL(request.url, 'http://service')
    url.searchParams.set(
      'after',
      Buffer.from(JSON.stringify([markOf(request), ...sortValues(last)])).toString('base64url'),
    )
    reply.header('link', `<${url.pathname}${url.search}>; rel="next"`)
  }
  return { items }
}

/** The usual list: sorted by one value, which `read` is given to begin after. */
export async function pageBy<T>(
  request: FastifyRequest,
  reply: FastifyReply,
  sortValue: (row: T) => string,
  read: (after: string | null, limit: number) => Promise<readonly T[]>,
): Promise<{ items: T[] }> {
  const { limit } = request.query as { limit: number }
  const after = afterOf(request, 1)
  return page(request, reply, await read(after ? String(after[0]) : null, limit), (row) => [sortValue(row)])
}
