import type pg from 'pg'
import { Refusal } from '../../domain/refusals.ts'

type Link = { child: string; column: string; parent: string }
type Row = Record<string, unknown>
export type Held = { ownerId: string; ownerIds: string[]; madeAt: string; records: Record<string, Row[]> }

const quoted = (name: string) => `"${name.replaceAll('"', '""')}"`
const camel = (name: string) => name.replace(/_([a-z0-9])/g, (_whole, letter: string) => letter.toUpperCase())
// what helps the machine and says nothing of the person
const technical = /^(search_|personal_(salt|digest)$|.*_hash$|digest$|digests$|look_)/

/**
 * Everything that is held about a person, as GDPR Articles 15 and 20 ask: from the owner's row, and those merged with it,
 * along the foreign keys of the database, so that a table added later is in it without a line here. A row that names
 * another owner is that owner's, and is left out.
 */
export async function everythingAbout(pool: pg.Pool, ownerId: string, now: Date): Promise<Held> {
  const client = await pool.connect()
  try {
    await client.query('begin isolation level repeatable read read only')
    const { rows: known } = await client.query<{ id: string }>(
      `select o.id from owner o, (select coalesce(merged_into, id) as root from owner where id = $1) as kept
       where o.id = root or o.merged_into = root order by o.id`,
      [ownerId],
    )
    if (known.length === 0) throw new Refusal('not-found', { what: 'owner', id: ownerId })
    const ownerIds = known.map((row) => row.id)
    const { rows: links } = await client.query<Link>(
      `select c.conrelid::regclass::text as child, a.attname as column, c.confrelid::regclass::text as parent
       from pg_constraint c join pg_attribute a on a.attrelid = c.conrelid and a.attnum = c.conkey[1]
       where c.contype = 'f' and cardinality(c.conkey) = 1 and c.connamespace = 'public'::regnamespace`,
    )
    const records = new Map<string, Map<string, Row>>()
    const read = async (table: string, column: string, ids: string[]): Promise<string[]> => {
      const { rows } = await client.query<{ row: Row }>(
        `select to_jsonb(t) as row from ${quoted(table)} t where ${quoted(column)}::text = any($1) order by 1`,
        [ids],
      )
      const owners = links.filter((link) => link.child === table && link.parent === 'owner' && table !== 'owner')
      const kept = records.get(table) ?? new Map<string, Row>()
      records.set(table, kept)
      const fresh: string[] = []
      for (const { row } of rows) {
        const names = owners.map((link) => row[link.column]).filter((id) => id !== null)
        if (names.length > 0 && !names.some((id) => ownerIds.includes(String(id)))) continue
        const key = String(row.id ?? JSON.stringify(row))
        if (kept.has(key)) continue
        kept.set(key, row)
        if (row.id) fresh.push(String(row.id))
      }
      return fresh
    }
    const queue: [string, string[]][] = [['owner', await read('owner', 'id', ownerIds)]]
    for (let next = queue.shift(); next; next = queue.shift()) {
      const [parent, ids] = next
      for (const link of links.filter(
        (one) => one.parent === parent && one.child !== 'owner' && one.child !== 'task',
      )) {
        const fresh = ids.length > 0 ? await read(link.child, link.column, ids) : []
        if (fresh.length > 0) queue.push([link.child, fresh])
      }
    }
    const contactIds = [...(records.get('contact')?.keys() ?? [])]
    await read('edit', 'record_id', [...ownerIds, ...contactIds])
    await client.query('commit')
    return {
      ownerId,
      ownerIds,
      madeAt: now.toISOString(),
      records: Object.fromEntries(
        [...records]
          .filter(([, rows]) => rows.size > 0)
          .map(([table, rows]) => [camel(table), [...rows.values()].map(shown)]),
      ),
    }
  } catch (error) {
    await client.query('rollback').catch(() => {})
    throw error
  } finally {
    client.release()
  }
}

const shown = (row: Row): Row =>
  Object.fromEntries(
    Object.entries(row)
      .filter(([column]) => !technical.test(column))
      .map(([column, value]) => [camel(column), value]),
  )
