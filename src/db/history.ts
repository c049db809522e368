import { createHash } from 'node:crypto'
import type pg from 'pg'

/**
 * The hash chain over everything that is never rewritten. Triggers refuse a change; the chain shows one that was made
 * with the triggers out of the way. Rows are sealed after commit, in batches, by a job: writers wait for nothing. Which
 * rows a batch holds is told by their keys, so a transaction that commits late is simply sealed later, whatever its ids
 * or the clocks say.
 */
const BATCH = 10_000
/** Longer than any transaction of ours may live: rows recorded before it are committed or never will be. */
const SETTLED_MS = 10 * 60_000
const LOCK = 6_121_967

export type Head = { number: number; hash: string }
export type Sealing = { rows: number; batches: number; head: Head | null }

type Sealed = {
  name: string
  /** the columns of the primary key */
  key: string[]
  /** columns whose place the salted digest takes */
  personal: string[]
  /** the column in which the database notes when the row was put in, or closed */
  recorded: string | null
  /** where a row changes until it is closed: that it is, as SQL; from then on it is sealed */
  closed: string | null
  /** columns that may still change after that, and stand outside the digest */
  later: string[]
  guarded: boolean
}

const quoted = (name: string) => `"${name.replaceAll('"', '""')}"`

/** The tables that refuse to be rewritten, from the triggers themselves: a new one is sealed without a line here. */
async function sealedTables(client: pg.ClientBase): Promise<Sealed[]> {
  const { rows } = await client.query<{
    name: string
    key: string[]
    args: string
    recorded: string | null
    guarded: boolean
    is_closed: boolean
  }>(
    `select c.relname as name, p.proname in ('refuse_rewriting_of_closed', 'refuse_rewriting_of_fixed') as is_closed,
       (select array_agg(a.attname::text order by k.place) from pg_index i
          cross join unnest(i.indkey) with ordinality as k (attnum, place)
          join pg_attribute a on a.attrelid = c.oid and a.attnum = k.attnum
        where i.indrelid = c.oid and i.indisprimary) as key,
       encode(t.tgargs, 'hex') as args,
       (select a.attname from pg_attribute a join pg_attrdef d on d.adrelid = a.attrelid and d.adnum = a.attnum
        where a.attrelid = c.oid and a.atttypid = 'timestamptz'::regtype and pg_get_expr(d.adbin, d.adrelid) = 'now()'
        order by a.attnum limit 1) as recorded,
       t.tgenabled in ('O', 'A') as guarded
     from pg_trigger t join pg_proc p on p.oid = t.tgfoid join pg_class c on c.oid = t.tgrelid join pg_namespace n on n.oid = c.relnamespace
     where n.nspname = 'public' and p.proname in ('refuse_rewriting', 'refuse_rewriting_but_erasing', 'refuse_rewriting_of_closed', 'refuse_rewriting_of_fixed')
       -- of the row, before update and delete
       and t.tgtype & 27 = 27 and c.relname <> 'history_batch'
     order by c.relname`,
  )
  return rows.map(({ args, is_closed, ...row }) => {
    const told = Buffer.from(args, 'hex').toString('utf8').split('\0')
    if (!is_closed) return { ...row, personal: told.filter(Boolean), closed: null, later: [] }
    const [closedAt = '', later = '', personal = ''] = told
    const list = (text: string) => text.split(',').filter(Boolean)
    return {
      ...row,
      personal: list(personal),
      later: list(later),
      closed: closedAt === '' ? null : `t.${quoted(closedAt)} is not null`,
      recorded: closedAt === '' ? row.recorded : closedAt,
    }
  })
}

const keyOf = (table: Sealed) => `concat_ws('/', ${table.key.map((column) => `t.${quoted(column)}::text`).join(', ')})`

/** A row as text that is the same on every server: jsonb orders its keys; columns that are null, and later ones, are left out. */
function digestOf(table: Sealed): string {
  const not = (columns: string[]) => `key <> all (array[${columns.map((column) => `'${column}'`).join(', ')}]::text[])`
  const later = ` and ${not(table.later)}`
  // words that no digest stands for are sealed as they are
  const personal =
    table.personal.length > 0 ? ` and (t.personal_digest is null or ${not([...table.personal, 'personal_salt'])})` : ''
  return `sha256(convert_to('${table.name}' || E'\\n' || (select coalesce(jsonb_object_agg(key, value), '{}') from jsonb_each(to_jsonb(t)) where value <> 'null'${later}${personal})::text, 'UTF8'))`
}

// what the text of a row depends on besides the row
const settings = `set local timezone = 'UTC'; set local bytea_output = 'hex'; set local extra_float_digits = 1; set local intervalstyle = 'iso_8601'; set local statement_timeout = 0`

type Batch = {
  number: number
  table_name: string
  keys: string[]
  digests: Buffer
  complete_to: Date
  sealed_at: Date
  previous: Buffer
  hash: Buffer
}

function hashOf(batch: Omit<Batch, 'hash'>): Buffer {
  const hash = createHash('sha256').update(batch.previous)
  hash.update(
    JSON.stringify([
      batch.number,
      batch.table_name,
      batch.complete_to.toISOString(),
      batch.sealed_at.toISOString(),
      batch.keys,
    ]),
  )
  return hash.update(batch.digests).digest()
}

async function inSnapshot<T>(pool: pg.Pool, work: (client: pg.PoolClient) => Promise<T>): Promise<T> {
  const client = await pool.connect()
  try {
    await client.query(`begin isolation level repeatable read; ${settings}`)
    const result = await work(client)
    await client.query('commit')
    return result
  } catch (error) {
    await client.query('rollback').catch(() => {})
    throw error
  } finally {
    client.release()
  }
}

async function headOf(client: pg.ClientBase): Promise<{ number: number; hash: Buffer }> {
  const { rows } = await client.query<{ number: number; hash: Buffer }>(
    'select number, hash from history_batch order by number desc limit 1',
  )
  return rows[0] ?? { number: 0, hash: Buffer.alloc(32) }
}

/** Seals what was committed and is not sealed yet. One sealer at a time; a second one finds nothing to do and says so. */
export async function sealHistory(pool: pg.Pool, now: Date): Promise<Sealing> {
  return inSnapshot(pool, async (client) => {
    // rows are noted by the database's clock or by ours: what lies before both has been settled
    const { rows } = await client.query<{ mine: boolean; settled: Date }>(
      `select pg_try_advisory_xact_lock(${LOCK}) as mine, date_trunc('milliseconds', least(now(), $2)) - make_interval(secs => $1) as settled`,
      [SETTLED_MS / 1000, now],
    )
    let head = await headOf(client)
    const done: Sealing = { rows: 0, batches: 0, head: null }
    const tables = rows[0]?.mine ? await sealedTables(client) : []
    for (const table of tables) {
      const order = table.recorded ? `t.${quoted(table.recorded)}, key` : 'key'
      await client.query(
        `declare unsealed no scroll cursor for
         select ${keyOf(table)} as key, ${digestOf(table)} as digest from ${quoted(table.name)} t
         where not exists (select from (select unnest(keys) as key from history_batch where table_name = '${table.name}') as known where known.key = ${keyOf(table)})
           and ${table.closed ?? 'true'}
         order by ${order}`,
      )
      for (;;) {
        const { rows: found } = await client.query<{ key: string; digest: Buffer }>(`fetch ${BATCH} from unsealed`)
        if (found.length === 0) break
        const batch = {
          number: head.number + 1,
          table_name: table.name,
          keys: found.map((row) => row.key),
          digests: Buffer.concat(found.map((row) => row.digest)),
          complete_to: rows[0]?.settled as Date,
          sealed_at: now,
          previous: head.hash,
        }
        head = { number: batch.number, hash: hashOf(batch) }
        await client.query(
          `insert into history_batch (number, table_name, keys, digests, complete_to, sealed_at, previous, hash) values ($1, $2, $3, $4, $5, $6, $7, $8)`,
          [
            batch.number,
            table.name,
            batch.keys,
            batch.digests,
            batch.complete_to,
            batch.sealed_at,
            batch.previous,
            head.hash,
          ],
        )
        done.rows += found.length
        done.batches += 1
      }
      await client.query('close unsealed')
    }
    return { ...done, head: head.number > 0 ? { number: head.number, hash: head.hash.toString('hex') } : null }
  })
}

export type Verdict = {
  batches: number
  rows: number
  unsealed: number
  erased: number
  head: Head | null
  findings: string[]
}

/** Finds every later change, deletion and insertion. `expected`: a head noted elsewhere, which must be in the chain. */
export async function verifyHistory(pool: pg.Pool, expected?: Head): Promise<Verdict> {
  return inSnapshot(pool, async (client) => {
    const verdict: Verdict = { batches: 0, rows: 0, unsealed: 0, erased: 0, head: null, findings: [] }
    const find = (what: string) => verdict.findings.push(what)
    let previous: Buffer = Buffer.alloc(32)
    let expectedSeen = expected === undefined
    const named = new Set<string>()
    for (let number = 1; ; number++) {
      const { rows } = await client.query<Batch>(
        'select * from history_batch where number >= $1 order by number limit 1',
        [number],
      )
      const batch = rows[0]
      if (!batch) break
      if (batch.number !== number) find(`batches ${number} to ${batch.number - 1} are missing from the chain`)
      number = batch.number
      if (!batch.previous.equals(previous)) find(`batch ${number} does not follow the one before it`)
      if (!hashOf(batch).equals(batch.hash)) find(`batch ${number} (${batch.table_name}) was changed`)
      if (expected?.number === number && expected.hash === batch.hash.toString('hex')) expectedSeen = true
      previous = batch.hash
      named.add(batch.table_name)
      verdict.batches += 1
      verdict.rows += batch.keys.length
      verdict.head = { number, hash: batch.hash.toString('hex') }
    }
    if (!expectedSeen)
      find(`the chain has no batch ${expected?.number} with the hash that was noted: it was cut off or made anew`)

    const tables = await sealedTables(client)
    for (const name of named)
      if (!tables.some((table) => table.name === name)) find(`${name} is gone or lost its guard against rewriting`)
    for (const table of tables) await verifyTable(client, table, verdict)
    const keys = await client.query<{ id: string }>(
      `select i.id from notice_item i join notice n on n.id = i.notice_id
       where n.state in ('sent', 'failed') and i.key_taken <> (n.state = 'sent') order by i.id limit 5`,
    )
    for (const { id } of keys.rows) find(`notice_item: the key of ${id} does not fit what became of its letter`)
    return verdict
  })
}

async function verifyTable(client: pg.ClientBase, table: Sealed, verdict: Verdict): Promise<void> {
  const find = (what: string, keys: string[]) => {
    const some = keys.slice(0, 5).join(', ')
    if (keys.length > 0)
      verdict.findings.push(`${table.name}: ${keys.length} rows ${what}: ${some}${keys.length > 5 ? ' …' : ''}`)
  }
  if (!table.guarded) verdict.findings.push(`${table.name}: the trigger that refuses rewriting is switched off`)
  const recorded = table.recorded ? `t.${quoted(table.recorded)}` : 'null::timestamptz'
  const { rows } = await client.query<{ key: string; what: string }>(
    `with sealed as (
       select k.key, substring(b.digests from (k.place::int - 1) * 32 + 1 for 32) as digest, b.number,
         (select max(earlier.complete_to) from history_batch earlier where earlier.sealed_at < b.sealed_at) as settled
       from history_batch b cross join unnest(b.keys) with ordinality as k (key, place) where b.table_name = $1),
     present as (select ${keyOf(table)} as key, ${digestOf(table)} as digest, ${recorded} as recorded, ${table.closed ?? 'true'} as closed
       from ${quoted(table.name)} t)
     select coalesce(sealed.key, present.key) as key, case
         when sealed.key is null and present.recorded < (select max(complete_to) from history_batch) then 'late'
         when sealed.key is null then 'unsealed'
         when present.key is null then 'deleted'
         when sealed.digest <> present.digest then 'changed'
         else 'late' end as what
     from sealed full join present on present.key = sealed.key
     where (sealed.key is null and present.closed) or present.key is null or sealed.digest <> present.digest or present.recorded < sealed.settled`,
    [table.name],
  )
  const keys = (what: string) => rows.filter((row) => row.what === what).map((row) => row.key)
  find('were changed', keys('changed'))
  find('were deleted', keys('deleted'))
  find('were put in later than they say', keys('late'))
  verdict.unsealed += keys('unsealed').length
  if (table.personal.length === 0) return

  const list = table.personal.map((column) => `'${column}'`).join(', ')
  const personal = await client.query<{ key: string; erased: boolean }>(
    `select ${keyOf(table)} as key, personal_salt is null as erased from ${quoted(table.name)} t
     where ${table.closed ?? 'true'} and personal_digest is not null
       and (personal_salt is null or personal_digest <> personal_digest_of(to_jsonb(t), array[${list}], personal_salt))`,
  )
  find(
    'were changed in what they say of a person',
    personal.rows.filter((row) => !row.erased).map((row) => row.key),
  )
  const erased = personal.rows.filter((row) => row.erased).length
  verdict.erased += erased
  const told = await client.query<{ n: number }>(
    `select coalesce(sum((emptied ->> $1)::int), 0)::int as n from erasure`,
    [table.name],
  )
  if (erased !== told.rows[0]?.n)
    verdict.findings.push(
      `${table.name}: ${erased} rows are emptied, but the erasures on file account for ${told.rows[0]?.n}`,
    )
}
