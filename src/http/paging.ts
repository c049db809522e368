import { createHash } from 'node:crypto'
import type { FastifyReply, FastifyRequest } from 'fastify'
import { z } from 'zod'
import { type Day, isDay } from '../domain/day.ts'
import { Refusal } from '../domain/refusals.ts'

/**
 * Keyset pages: `?limit=50&after=…`. The cursor carries the sort values of the last row and a mark of the list and its
 * filters, so that it cannot be carried to another list; the values are read as what they are, so that one that was edited
 * is refused here and not by the database. The next page is in `Link: <…>; rel="next"` (RFC 8288).
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

/** What a list may be sorted by. */
type SortKind = 'id' | 'day' | 'name' | 'number'
type Values<Kinds extends readonly SortKind[]> = { [I in keyof Kinds]: ValueOf<Kinds[I]> }
type ValueOf<Kind> = Kind extends 'day' ? Day : Kind extends 'number' ? number : string
const guid = z.guid()
const isKind: Readonly<Record<SortKind, (value: unknown) => boolean>> = {
  number: (value) => Number.isInteger(value) && Number(value) >= 0 && Number(value) <= 2_147_483_647,
  id: (value) => guid.safeParse(value).success,
  day: (value) => typeof value === 'string' && isDay(value),
  name: (value) => typeof value === 'string' && !value.includes('\0') && !/\p{Surrogate}/u.test(value),
}

/** The sort values after which the page begins, or null for the first page. */
export function afterOf<const Kinds extends readonly SortKind[]>(
  request: FastifyRequest,
  ...kinds: Kinds
): Values<Kinds> | null {
  const { after } = request.query as { after?: string }
  if (after === undefined) return null
  try {
    const [mark, ...values] = JSON.parse(Buffer.from(after, 'base64url').toString('utf8')) as unknown[]
    if (
      mark === markOf(request) &&
      values.length === kinds.length &&
      values.every((value, i) => isKind[kinds[i] as SortKind](value))
    )
      return values as Values<Kinds>
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
  sortValues: (row: T) => (string | number)[],
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

/** The usual list: sorted by one value, its id where nothing else is said, which `read` is given to begin after. */
export async function pageBy<T, Kind extends SortKind = 'id'>(
  request: FastifyRequest,
  reply: FastifyReply,
  sortValue: (row: T) => string | number,
  read: (after: ValueOf<Kind> | null, limit: number) => Promise<readonly T[]>,
  kind: Kind = 'id' as Kind,
): Promise<{ items: T[] }> {
  const { limit } = request.query as { limit: number }
  const after = (afterOf(request, kind)?.[0] ?? null) as ValueOf<Kind> | null
  return page(request, reply, await read(after, limit), (row) => [sortValue(row)])
}
