import { createHash } from 'node:crypto'
import { createReadStream, createWriteStream } from 'node:fs'
import { open, readFile, rm } from 'node:fs/promises'
import { createInterface } from 'node:readline'
import type { Writable } from 'node:stream'
import { pipeline } from 'node:stream/promises'
import { createGunzip, createGzip } from 'node:zlib'
import type pg from 'pg'

/**
 * A copy of everything that is ours, from one snapshot, without a client of PostgreSQL's own (the embedded server has
 * none): lines of JSON, gzipped; the first says what it is, then each table with its rows, the last holds the digest of
 * all before it. For a server of one's own pg_dump does as well; see DEVELOPERS.md.
 */
const FORMAT = 1
type Heading = { mainplate: number; migrations: string[]; madeAt: string }
type TableLine = { table: string; columns: string[] }

const quoted = (name: string) => `"${name.replaceAll('"', '""')}"`

async function tablesOf(client: pg.ClientBase): Promise<{ name: string; columns: string[] }[]> {
  const { rows } = await client.query<{ name: string; columns: string[] }>(
    `select c.relname as name, array_agg(a.attname::text order by a.attnum) as columns
     from pg_class c join pg_attribute a on a.attrelid = c.oid and a.attnum > 0 and not a.attisdropped and a.attgenerated = ''
     where c.relkind = 'r' and c.relnamespace = 'public'::regnamespace and c.relname <> 'schema_migration' group by c.relname order by c.relname`,
  )
  return rows
}

async function migrationsOf(client: pg.ClientBase): Promise<string[]> {
  return (await client.query<{ name: string }>('select name from schema_migration order by id')).rows.map(
    (row) => row.name,
  )
}

/** Everything in one snapshot, table by table; what was counted on the way is told to `count`. */
async function* contentOf(
  client: pg.ClientBase,
  now: Date,
  count: { tables: number; rows: number },
): AsyncGenerator<object | unknown[]> {
  await client.query(
    `begin isolation level repeatable read read only; set local statement_timeout = 0; set local bytea_output = 'hex'; set local extra_float_digits = 1`,
  )
  const migrations = await migrationsOf(client)
  yield { mainplate: FORMAT, migrations, madeAt: now.toISOString() } satisfies Heading
  for (const { name, columns } of await tablesOf(client)) {
    yield { table: name, columns } satisfies TableLine
    const list = columns.map((column) => `${quoted(column)}::text`).join(', ')
    await client.query(`declare copied no scroll cursor for select array[${list}] as row from ${quoted(name)}`)
    for (;;) {
      const found = await client.query<{ row: (string | null)[] }>('fetch 500 from copied')
      if (found.rows.length === 0) break
      for (const { row } of found.rows) yield row
      count.rows += found.rows.length
    }
    await client.query('close copied')
    count.tables += 1
  }
  const sequences = await client.query<{ name: string; value: string }>(
    `select sequencename as name, last_value::text as value from pg_sequences where schemaname = 'public' and last_value is not null order by 1`,
  )
  yield { sequences: Object.fromEntries(sequences.rows.map(({ name, value }) => [name, value])) }
}

async function* asLines(content: AsyncIterable<object | unknown[]>): AsyncGenerator<string> {
  const digest = createHash('sha256')
  for await (const part of content) {
    const line = `${JSON.stringify(part)}\n`
    digest.update(line)
    yield line
  }
  yield `${JSON.stringify({ sha256: digest.digest('hex') })}\n`
}

/**
 * Writes the copy. Rows travel as the text PostgreSQL gives and takes back, so nothing is rounded on the way. Where it
 * cannot be written (a disk that is full), what there is of it is taken away again.
 */
export async function backUp(
  pool: pg.Pool,
  file: string,
  now: Date,
  write: (file: string) => Writable = createWriteStream,
): Promise<{ tables: number; rows: number }> {
  // made here, so that no older copy is written over
  await (await open(file, 'wx', 0o600)).close()
  const client = await pool.connect()
  const count = { tables: 0, rows: 0 }
  try {
    // ends reading where writing fails, and the other way round
    await pipeline(asLines(contentOf(client, now, count)), createGzip(), write(file))
    const whole = await open(file, 'r+')
    await whole.sync().finally(() => whole.close())
    return count
  } catch (error) {
    await rm(file, { force: true })
    throw error
  } finally {
    await client.query('rollback').catch(() => {})
    client.release()
  }
}

async function* linesOf(file: string): AsyncGenerator<string> {
  const input = createReadStream(file).pipe(createGunzip())
  yield* createInterface({ input, crlfDelay: Number.POSITIVE_INFINITY })
}

/** Reads the whole copy once before anything is written: a file cut short or changed is refused. */
async function checked(file: string): Promise<Heading> {
  const digest = createHash('sha256')
  let heading: Heading | undefined
  let last = ''
  for await (const line of linesOf(file)) {
    if (last !== '') digest.update(`${last}\n`)
    heading ??= JSON.parse(line) as Heading
    last = line
  }
  const { sha256 } = (last.startsWith('{"sha256"') ? JSON.parse(last) : {}) as { sha256?: string }
  if (heading?.mainplate !== FORMAT || sha256 !== digest.digest('hex'))
    throw new Error(`${file} is not a whole backup of this service: it was cut short or changed`)
  return heading
}

/**
 * Brings a copy back into an empty, migrated database, in one transaction. Needs the right to put triggers aside
 * (a superuser, as the embedded server's user is): the rows are taken as they were, not recorded anew.
 */
export async function bringBack(
  pool: pg.Pool,
  file: string,
): Promise<{ tables: number; rows: number; madeAt: string }> {
  const heading = await checked(file)
  const client = await pool.connect()
  const done = { tables: 0, rows: 0, madeAt: heading.madeAt }
  try {
    await client.query(`begin; set local statement_timeout = 0; set local session_replication_role = replica`)
    const migrations = await migrationsOf(client)
    if (migrations.join() !== heading.migrations.join())
      throw new Error(
        'the backup was made by another version of the service: bring it back with that version, then start this one',
      )
    for (const { name } of await tablesOf(client))
      if ((await client.query(`select 1 from ${quoted(name)} limit 1`)).rowCount !== 0)
        throw new Error(`the database is not empty (${name} has rows): bring a backup back into an empty one`)
    let table: TableLine | undefined
    let rows: (string | null)[][] = []
    let size = 0
    const flush = async () => {
      if (!table || rows.length === 0) return
      const columns = table.columns.map(quoted).join(', ')
      // one array a row, as text; the columns' own types read it
      const types = await client.query<{ type: string }>(
        `select format_type(a.atttypid, a.atttypmod) as type from unnest($2::text[]) with ordinality as u (name, n)
         join pg_attribute a on a.attrelid = $1::regclass and a.attname = u.name order by u.n`,
        [quoted(table.table), table.columns],
      )
      const values = types.rows.map(({ type }, at) => `(r ->> ${at})::${type}`).join(', ')
      await client.query(
        `insert into ${quoted(table.table)} (${columns}) select ${values} from jsonb_array_elements($1::jsonb) as r`,
        [JSON.stringify(rows)],
      )
      done.rows += rows.length
      rows = []
      size = 0
    }
    for await (const line of linesOf(file)) {
      const read = JSON.parse(line) as TableLine | (string | null)[] | { sequences?: Record<string, string> }
      if (Array.isArray(read)) {
        rows.push(read)
        size += line.length
        if (rows.length >= 2000 || size > 8_000_000) await flush()
        continue
      }
      await flush()
      table = 'table' in read ? read : undefined
      if (table) done.tables += 1
      if ('sequences' in read && read.sequences)
        for (const [name, value] of Object.entries(read.sequences))
          await client.query('select setval($1::regclass, $2::bigint)', [quoted(name), value])
    }
    await client.query('commit')
    return done
  } catch (error) {
    await client.query('rollback').catch(() => {})
    throw error
  } finally {
    client.release()
  }
}

export type Erased = { ownerId: string; askedOn: string }

/** Who was forgotten: ids and days, no person. Kept beside the backups, it is what a restore applies again. */
export async function erasedPersons(pool: pg.Pool): Promise<Erased[]> {
  const { rows } = await pool.query<Erased>(
    `select owner_id as "ownerId", asked_on::text as "askedOn" from erasure where state = 'done' order by id`,
  )
  return rows
}

export async function readErased(file: string): Promise<Erased[]> {
  const lines = (await readFile(file, 'utf8')).split('\n').filter(Boolean)
  return lines.map((line) => JSON.parse(line) as Erased)
}
