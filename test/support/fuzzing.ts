import { randomUUID } from 'node:crypto'
import fc from 'fast-check'
import type pg from 'pg'
import type { App } from '../../src/app.ts'
import { type Role, roles } from '../../src/http/service.ts'
import { anyOf, granted, hostile, kindOf, type Wish } from './any-body.ts'
import { type Description, describedBy, type Operation } from './description.ts'

/**
 * A stateful fuzz of the whole API from its own description: what was created is fed back into later requests. After
 * every answer: never 500 or above; a body that fits the declared schema; every refusal a problem of RFC 9457; and after
 * every refusal the database as it was, row by row.
 */
type Ask = {
  operation: number
  role: Role
  path: (Wish | string)[]
  query: [string, unknown][]
  body: unknown
  media: string
  key: 'fresh' | 'last' | 'none' | 'bad'
  ifMatch: 'known' | 'any' | 'stale' | 'none' | 'bad'
  header: string
}
export type Fuzzed = {
  requests: number
  statuses: Record<string, number>
  reached: Record<string, number>
  faults: string[]
}
type Surroundings = { app: App; pool: pg.Pool; keys: Record<Role, string>; seed: number; requests: number }

const rarely = <T>(usual: T, weight: number, ...others: T[]) =>
  fc.oneof({ weight, arbitrary: fc.constant(usual) }, { weight: 1, arbitrary: fc.constantFrom(...others) })

/** The kind of thing the parameter of an address names: `{id}` after `/owners/` is one of the owners. */
const placed = (path: string, name: string) => new RegExp(`/([a-z-]+)/\\{${name}\\}`).exec(path)?.[1] ?? kindOf(name)

function anyAsk(description: Description): { asked: fc.Arbitrary<Ask>; one: (index: number) => fc.Arbitrary<Ask> } {
  const per = description.operations.map((operation, index) => {
    const names = [...operation.path.matchAll(/\{(\w+)\}/g)].map((found) => found[1] ?? '')
    const parameter = (name: string) => operation.parameters.find((one) => one.name === name && one.in === 'path')
    const inPath = names.map((name): fc.Arbitrary<Wish | string> => {
      const known = fc.nat(1000).map((pick): Wish => ({ wish: 'id', of: placed(operation.path, name), pick }))
      const bad = fc.constantFrom(...hostile, randomUUID(), '%2e%2e', '..', '%ff', '%00')
      const number = fc.nat(4).map(String)
      const usual = parameter(name)?.schema.type === 'integer' ? number : known
      return fc.oneof({ weight: 14, arbitrary: usual }, { weight: 1, arbitrary: bad })
    })
    const query = operation.parameters
      .filter((one) => one.in === 'query')
      .map((one) =>
        fc.oneof(
          { weight: one.required ? 1 : 5, arbitrary: fc.constant<[string, unknown] | null>(null) },
          { weight: 5, arbitrary: anyOf(one.schema, 8, one.name).map((value): [string, unknown] => [one.name, value]) },
        ),
      )
    const [media, form] = Object.entries(operation.bodies)[0] ?? ['application/json', undefined]
    const schema = form?.schema
    const bodies = schema
      ? fc.oneof(
          { weight: 6, arbitrary: anyOf(schema, 0) },
          { weight: 2, arbitrary: anyOf(schema, 3) },
          { weight: 1, arbitrary: anyOf(schema, 25) },
          { weight: 1, arbitrary: fc.jsonValue() },
        )
      : rarely<unknown>(undefined, 12, {}, { extra: 1 })
    const allowed = Array.isArray(operation.roles) ? operation.roles : roles
    return fc.record<Ask>({
      operation: fc.constant(index),
      role: fc.oneof({ weight: 19, arbitrary: fc.constantFrom(...allowed) }, fc.constantFrom(...roles)),
      path: fc.tuple(...inPath) as fc.Arbitrary<(Wish | string)[]>,
      query: fc
        .tuple(...query, rarely<[string, unknown] | null>(null, 30, ['unknown', '1'], ['limit', '1'], ['limit', '0']))
        .map((all) => all.filter((one) => one !== null)),
      body: bodies,
      media: rarely(
        media,
        40,
        'application/json',
        'text/csv',
        'application/json; charset=latin1',
        'multipart/form-data',
      ),
      key: rarely<Ask['key']>('fresh', 12, 'last', 'none', 'bad'),
      ifMatch: rarely<Ask['ifMatch']>('known', 6, 'any', 'stale', 'none', 'bad'),
      header: rarely('', 20, ...hostile.filter((text) => /^[\x20-\x7e]+$/.test(text))),
    })
  })
  // operations that make things come up more often, so that the others find something there
  const weight = (index: number) => (description.operations[index]?.method === 'POST' ? 3 : 2)
  const asked = fc.oneof(...per.map((arbitrary, index) => ({ weight: weight(index), arbitrary })))
  return { asked, one: (index) => per[index] ?? asked }
}

/** What is known to be there, by kind; the last forty of each, so that requests meet. */
function memory() {
  const ids = new Map<string, string[]>()
  const etags = new Map<string, string>()
  const remember = (kind: string, id: string) => {
    const known = ids.get(kind) ?? []
    if (!known.includes(id)) ids.set(kind, [...known, id].slice(-40))
  }
  const learn = (value: unknown, kind: string): void => {
    if (Array.isArray(value)) for (const part of value.slice(0, 20)) learn(part, kind)
    if (typeof value !== 'object' || value === null) return
    for (const [key, part] of Object.entries(value)) {
      if (typeof part === 'string' && /^[0-9a-f]{8}-[0-9a-f-]{27}$/.test(part))
        remember(key === 'id' ? kind : kindOf(key), part)
      else if (Array.isArray(part) && /Ids$/.test(key)) for (const id of part) remember(kindOf(key), String(id))
      else learn(part, key === 'items' ? kind : key.toLowerCase())
    }
  }
  const idOf = (wish: Wish) => {
    const named = ids.get(wish.of) ?? [...ids.entries()].find(([kind]) => kind.endsWith(wish.of))?.[1]
    const known = named ?? (wish.pick % 5 === 0 ? [...ids.values()].flat() : [])
    return known[wish.pick % Math.max(known.length, 1)] ?? '01890000-0000-7000-8000-000000000000'
  }
  return { learn, idOf, etags }
}

/** Every row of every table, as PostgreSQL's own marks of which transaction wrote it. */
function watching(pool: pg.Pool) {
  let text: string | null = null
  const look = async () => {
    if (text === null) {
      const { rows } = await pool.query<{ t: string }>(
        `select quote_ident(tablename) as t from pg_tables where schemaname = 'public'`,
      )
      const parts = rows.map(
        ({ t }) => `select '${t}' as t, count(*) as n, sum(hashtext(xmin::text || ctid::text)::bigint) as h from ${t}`,
      )
      text = `select t || ' ' || n || ' ' || coalesce(h, 0) as line from (${parts.join(' union all ')}) as every_table order by t`
    }
    const { rows } = await pool.query<{ line: string }>({ name: 'every-table', text })
    return rows.map(({ line }) => line)
  }
  // a transaction number is taken by whoever writes: where none was taken, nothing was written
  const taken = async () =>
    (
      await pool.query<{ x: string }>({
        name: 'taken',
        text: 'select pg_snapshot_xmax(pg_current_snapshot())::text as x',
      })
    ).rows[0]?.x ?? ''
  return { look, taken }
}

const asText = (value: unknown) => (typeof value === 'object' ? JSON.stringify(value) : String(value))
const wellFormed = (text: string) =>
  text.replace(/[\ud800-\udbff](?![\udc00-\udfff])|(?<![\ud800-\udbff])[\udc00-\udfff]/g, '?')

export async function fuzz({ app, pool, keys, seed, requests }: Surroundings): Promise<Fuzzed> {
  const description = await describedBy(app)
  const { learn, idOf, etags } = memory()
  const database = watching(pool)
  const found: Fuzzed = { requests: 0, statuses: {}, reached: {}, faults: [] }
  let before = await database.look()
  let mark = await database.taken()
  let lastKey = '"first"'

  // first what makes things that need nothing else, so that the rest finds something there
  const starts = description.operations.flatMap((operation, index) =>
    operation.method === 'POST' && !operation.path.includes('{') && operation.bodies['application/json'] ? [index] : [],
  )
  const { asked, one } = anyAsk(description)
  const first = starts.flatMap((index) =>
    fc
      .sample(one(index), { seed, numRuns: 4 })
      .map((ask): Ask => ({ ...ask, key: 'fresh', header: '', media: 'application/json' })),
  )
  const asks = [...first, ...fc.sample(asked, { seed, numRuns: requests })].slice(0, requests)
  for (const ask of asks) {
    const operation = description.operations[ask.operation] as Operation
    let at = 0
    const path = operation.path.replace(/\{\w+\}/g, () => {
      const part = ask.path[at++] ?? ''
      return typeof part !== 'string'
        ? idOf(part)
        : /^%|^\.\.$/.test(part)
          ? part
          : encodeURIComponent(wellFormed(part))
    })
    const query = ask.query.map(([name, value]) => {
      const text = asText(granted(value, idOf))
      return `${name}=${encodeURIComponent(wellFormed(text))}`
    })
    const url = query.length > 0 ? `${path}?${query.join('&')}` : path
    if (ask.key === 'fresh') lastKey = `"${randomUUID()}"`
    const ifMatch = { known: etags.get(path) ?? '"v1"', any: '*', stale: '"v0"', bad: 'W/v"', none: '' }[ask.ifMatch]
    const body = granted(ask.body, idOf)
    const headers: Record<string, string> = {
      authorization: `Bearer ${keys[ask.role]}`,
      ...(ask.key === 'none' ? {} : { 'idempotency-key': ask.key === 'bad' ? 'unquoted' : lastKey }),
      ...(ask.ifMatch === 'none' ? {} : { 'if-match': ifMatch }),
      ...(ask.header && { 'x-request-id': ask.header, accept: ask.header, 'accept-language': ask.header }),
      ...(body !== undefined && { 'content-type': ask.media }),
    }
    const answer = await app.inject({
      method: operation.method,
      url,
      headers,
      // links are braked by address; here it is not the brake that is tried
      remoteAddress: `10.1.${(found.requests >> 8) & 255}.${found.requests & 255}`,
      ...(body !== undefined && { payload: JSON.stringify(body) }),
    })
    found.requests += 1
    const status = answer.statusCode
    found.statuses[status] = (found.statuses[status] ?? 0) + 1
    if (status < 400) found.reached[operation.name] = (found.reached[operation.name] ?? 0) + 1
    const fault = (what: string) =>
      found.faults.push(
        `${what}\n    ${operation.method} ${url.slice(0, 300)} as ${ask.role}, ${JSON.stringify(headers['idempotency-key'])}, If-Match ${ifMatch}\n    body ${JSON.stringify(body)?.slice(0, 1500)}\n    answer ${status} ${answer.body.slice(0, 600)}`,
      )

    const type = String(answer.headers['content-type'] ?? '')
    let parsed: unknown
    if (/json/.test(type)) {
      try {
        parsed = answer.json()
      } catch {
        fault('an answer that says it is JSON and is not')
      }
    }
    if (status >= 500) fault('a fault of ours')
    if (status >= 400) {
      const problem = parsed as { status?: number; type?: string } | undefined
      const wrong = description.isProblem(parsed)
      // an owner who follows a link is answered with a page
      const page = operation.roles === 'owner-link' && type.startsWith('text/html')
      if (!page && (!type.startsWith('application/problem+json') || wrong || problem?.status !== status))
        fault(`a refusal that is no problem: ${type} ${wrong}`)
      // it may have revoked its own key
      if (status === 401) {
        await pool.query('update staff_key set revoked_at = null, revoked_by = null')
        before = await database.look()
      } else if ((await database.taken()) !== mark) {
        const after = await database.look()
        const changed = after.filter((line, n) => line !== before[n])
        if (changed.length > 0) fault(`a refusal that changed ${changed}`)
        before = after
      }
    } else {
      const declared = operation.responses[status]
      if (declared === undefined) {
        // an address across another one: what answered is then described there
        if (
          path.split('/').length === operation.path.split('/').length &&
          !ask.path.some((part) => typeof part === 'string')
        )
          fault('a status that is not declared')
      } else if (parsed !== undefined && declared.content?.['application/json']) {
        const wrong = operation.faultOf(status, parsed)
        if (wrong) fault(`an answer that does not fit its schema: ${wrong}`)
      } else if (declared.content && !Object.keys(declared.content).some((media) => type.startsWith(media)))
        fault(`an answer of a type that is not declared: ${type}`)
      learn(
        parsed,
        operation.path
          .split('/')
          .filter((part) => part !== 'v1' && !part.startsWith('{'))
          .at(-1) ?? '',
      )
      if (answer.headers.etag) etags.set(String(answer.headers.location ?? path), String(answer.headers.etag))
      if ((await database.taken()) !== mark) before = await database.look()
    }
    mark = await database.taken()
    if (found.faults.length >= 40) break
  }
  return found
}
