import { readdir, readFile } from 'node:fs/promises'
import path from 'node:path'
import pg from 'pg'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { migrate, migrationsFolder } from '../../src/db/migrate.ts'
import { type Database, dateOf, dayFrom, openDatabase } from '../../src/db/open.ts'
import { onConnection } from '../../src/db/sql.ts'
import { addMonths, type Day, numberOfDay } from '../../src/domain/day.ts'
import * as client from '../../src/generated/prisma/client.ts'
import { freshDatabase } from '../support/database.ts'

let database: Database
let drop: () => Promise<void>
beforeAll(async () => {
  const fresh = await freshDatabase()
  database = await openDatabase(fresh.url)
  drop = fresh.drop
})
afterAll(async () => {
  await database.close()
  await drop()
})

describe('time zones', () => {
  test('instants are stored true though the server’s own zone is Tokyo’s', async () => {
    const naked = new pg.Client({ connectionString: database.url })
    await naked.connect()
    const { rows: zone } = await naked.query('show timezone')
    expect(zone[0].TimeZone).toBe('Asia/Tokyo')
    const instant = new Date('2026-11-25T17:00:00Z')
    const made = await database.prisma.staffKey.create({
      data: { name: 'x', role: 'bench', secretHash: new Uint8Array(32), createdBy: 'test', expiresAt: instant },
    })
    const { rows } = await naked.query(
      `select extract(epoch from expires_at)::float8 * 1000 as ms from staff_key where id = $1`,
      [made.id],
    )
    await naked.end()
    expect(rows[0].ms).toBe(instant.getTime())
  })

  test('days are stored and read as the same day', async () => {
    for (const day of ['2027-02-28', '2024-02-29', '1500-01-01', '2200-12-31'] as Day[]) {
      const { rows } = await database.pool.query('select $1::date::text as text, $1::date as day', [day])
      expect(rows[0]).toEqual({ text: day, day })
      expect(dayFrom(dateOf(day))).toBe(day)
    }
  })
})

// RFC 9562: version 7, variant 10, 48 bits of milliseconds; the fraction of the millisecond behind them (6.2, method 3) keeps the order.
describe('ids', () => {
  test('made one after another come in that order, also within a millisecond', async () => {
    const connection = await database.pool.connect()
    await connection.query(`do $$ declare before timestamptz; begin
      create temporary table made (n int, id uuid) on commit preserve rows;
      for n in 1..500 loop
        before := clock_timestamp();
        while clock_timestamp() = before loop end loop;
        insert into made values (n, uuid_v7());
      end loop;
    end $$`)
    const { rows: made } = await connection.query<{ id: string; at: string }>(
      'select id, floor(extract(epoch from clock_timestamp()) * 1000)::bigint as at from made order by n',
    )
    connection.release(true)
    expect(made).toHaveLength(500)
    expect(made.map((row) => row.id)).toEqual(made.map((row) => row.id).sort())
    for (const { id, at } of made) {
      expect(id).toMatch(/^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/)
      expect(Math.abs(Number(at) - Number.parseInt(id.replace('-', '').slice(0, 12), 16))).toBeLessThan(60_000)
    }
  })
})

describe('one transaction on a plain connection', () => {
  test('fails as a whole where a statement fails whose answer nobody waited for', async () => {
    const { pool } = database
    await pool.query('create table kept (n int)')
    const doing = onConnection(pool, async (client) => {
      await client.query('insert into kept values (1)')
      client.query('insert into kept values (1 / 0)').catch(() => {})
      return 'done'
    })
    await expect(doing).rejects.toThrow('nobody waited for')
    expect((await pool.query('select from kept')).rowCount).toBe(0)
    // and the connection is fit for the next
    expect(await onConnection(pool, async (client) => (await client.query('select 1 as one')).rows)).toEqual([
      { one: 1 },
    ])
    await pool.query('drop table kept')
  })
})

test('the digest of what can be taken out of a row is that of its members alone, in any order, as it was first written down', async () => {
  const { rows } = await database.pool.query(
    `select content, personal_digest_of(content, columns, salt) = sha256(convert_to(salt::text ||
        coalesce((select jsonb_object_agg(key, value) from jsonb_each(content) where key = any (columns)), '{}')::text, 'UTF8')) as same
     from (values ('{"data": {"b": 1, "a": null}, "kind": "x"}'::jsonb), ('{"kind": "x"}'), ('{"before": null, "reason": "é\\n", "kind": 1}'),
       ('{"reason": "z", "before": [1, {"q": 2.50}], "data": ""}')) as given (content),
       (values (array['data']), (array['reason', 'before']), (array['before', 'reason', 'data'])) as taken (columns),
       (values (gen_random_uuid())) as salted (salt)`,
  )
  expect(rows.length).toBe(12)
  expect(rows.filter((row) => !row.same)).toEqual([])
})

describe('month arithmetic against PostgreSQL', () => {
  test('agrees on every month end and every interval up to 20 years', async () => {
    const { rows } = await database.pool.query<{ base: Day; months: number; due: Day }>(
      `select d::date::text as base, m as months, (d::date + make_interval(months => m))::date::text as due
       from (select generate_series('2023-12-25'::date, '2024-03-05', '1 day') union all select generate_series('2096-02-25'::date, '2096-03-02', '1 day')
             union all select unnest(array['2024-08-31', '2023-08-31', '2024-12-31', '1999-12-31', '2021-02-28']::date[])) as days (d),
            generate_series(0, 240) as m`,
    )
    expect(rows.length).toBeGreaterThan(19_000)
    expect(rows.filter((row) => addMonths(row.base, row.months) !== row.due)).toEqual([])
  })

  test('agrees on day numbers from 1500 to 2200', async () => {
    const { rows } = await database.pool.query<{ day: Day; n: number }>(
      `select d::date::text as day, (d::date - '1970-01-01'::date)::int as n from generate_series('1500-01-01'::date, '2200-12-31', '13 days') as d`,
    )
    expect(rows.filter((row) => numberOfDay(row.day) !== row.n)).toEqual([])
  })
})

describe('the schema', () => {
  test('applied migrations are applied once, however many start together', async () => {
    const fresh = await freshDatabase()
    const again = await Promise.all([migrate(fresh.url), migrate(fresh.url), migrate(fresh.url)])
    await fresh.drop()
    expect(again).toEqual([[], [], []])
  })

  test('and its mapping for Prisma name the same columns with the same types and nullability', async () => {
    const { rows } = await database.pool.query<{
      table_name: string
      column_name: string
      udt_name: string
      is_nullable: string
    }>(
      `select table_name, column_name, udt_name, is_nullable from information_schema.columns
       where table_schema = 'public' and table_name <> 'schema_migration' and table_name in (select tablename from pg_tables where schemaname = 'public')`,
    )
    const scalars: Record<string, string> = {
      uuid: 'String',
      text: 'String',
      int2: 'Int',
      int4: 'Int',
      int8: 'BigInt',
      bool: 'Boolean',
      date: 'DateTime',
      timestamptz: 'DateTime',
      jsonb: 'Json',
      bytea: 'Bytes',
      numeric: 'Decimal',
      float8: 'Float',
    }
    const inDatabase = rows
      .map((row) => {
        const list = row.udt_name.startsWith('_')
        const type = scalars[row.udt_name.replace(/^_/, '')]
        return `${row.table_name}.${row.column_name} ${type}${list ? '[]' : row.is_nullable === 'YES' ? '?' : ''}`
      })
      .sort()
    expect(await mapped()).toEqual(inDatabase)
    // and every model answers a query of its own
    for (const model of Object.values(client.Prisma.ModelName)) {
      const name = `${model[0]?.toLowerCase()}${model.slice(1)}` as 'owner'
      await database.prisma[name].findFirst()
    }
  })

  test('every constraint of a table of ours has a name of ours', async () => {
    const { rows } = await database.pool.query(
      `select conname from pg_constraint c join pg_class t on t.oid = c.conrelid join pg_namespace n on n.oid = t.relnamespace
       where n.nspname = 'public' and t.relname <> 'schema_migration' and c.contype in ('c', 'f', 'u', 'x') and conname ~ '_check[0-9]*$|_key[0-9]+$|_fkey[0-9]+$'`,
    )
    expect(rows.map((row) => row.conname)).toEqual([])
  })
})

describe('facts', () => {
  test('can be neither changed nor deleted, whoever asks', async () => {
    const { rows: guarded } = await database.pool.query<{ table: string }>(
      `select distinct t.relname as "table" from pg_trigger g join pg_class t on t.oid = g.tgrelid join pg_proc p on p.oid = g.tgfoid where p.proname = 'refuse_rewriting' order by 1`,
    )
    const tables = guarded.map((row) => row.table)
    expect(tables).toEqual(
      expect.arrayContaining([
        'edit',
        'guidance',
        'hazard',
        'house_rule',
        'movement',
        'notice_choice',
        'ownership',
        'strike',
        'watch_event',
        'watchmaker_note',
        'wear_statement',
      ]),
    )
    await database.pool.query(
      `insert into watch (id, maker, kind, first_seen, owner_known_on, created_by) values ('01890000-0000-7000-8000-000000000001', 'Halden', 'quartz', '2020-01-01', '2020-01-01', 'test')`,
    )
    await database.pool.query(
      `insert into watch_event (watch_id, event, happened, source, learned, recorded_by) values ('01890000-0000-7000-8000-000000000001', 'case-opened', '2024', 'paper', '2024-01-01', 'test')`,
    )
    await expect(database.pool.query(`update watch_event set happened = '2025'`)).rejects.toMatchObject({
      code: 'MP001',
    })
    await expect(database.pool.query('delete from watch_event')).rejects.toMatchObject({ code: 'MP001' })
    await expect(database.pool.query('truncate watch_event cascade')).rejects.toMatchObject({ code: 'MP001' })
  })
})

/** The columns as the model files map them. */
async function mapped(): Promise<string[]> {
  const folder = path.join(migrationsFolder, '..', 'models')
  const text = (
    await Promise.all((await readdir(folder)).map((file) => readFile(path.join(folder, file), 'utf8')))
  ).join('\n')
  return [...text.matchAll(/^model \w+ \{\n([\s\S]*?)^\}/gm)]
    .flatMap(([, body = '']) => {
      const table = /@@map\("([^"]+)"\)/.exec(body)?.[1]
      return [...body.matchAll(/^ {2}(\w+)\s+([A-Z]\w*)(\[\]|\?)?(.*)$/gm)].map(
        ([, field, type, mark = '', rest = '']) => {
          const column = /@map\("([^"]+)"\)/.exec(rest)?.[1] ?? field
          return `${table}.${column} ${type}${mark}`
        },
      )
    })
    .sort()
}
