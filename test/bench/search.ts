import { pathToFileURL } from 'node:url'
import { searchOwners } from '../../src/features/owners/search.ts'
import { searchWatches } from '../../src/features/watches/watches.ts'
import type { Service } from '../../src/http/service.ts'
import { benchCentre, median, round, sizesToMeasure } from '../support/bench-centre.ts'

/**
 * Searches and lists as the counter makes them, and what a watch takes on disk, by the size of the centre. The reach is
 * 20 ms at a million watches; the baseline of each is an empty `select 1` over the same connections.
 */
export const name = 'search'

async function millis(work: () => Promise<unknown>, times = 40): Promise<{ median: number; worst: number }> {
  const taken: number[] = []
  for (let n = 0; n < times; n++) {
    const start = performance.now()
    await work()
    taken.push(performance.now() - start)
  }
  return { median: round(median(taken)), worst: round(Math.max(...taken)) }
}

async function measure({ database: { prisma, pool } }: Service) {
  const { rows } = await pool.query<{ id: string; part: string; owner: string; mail: string }>(
    `select w.id, right(o.search_name, 9) as part, o.id as owner, c.value as mail
     from watch w join owner o on o.id = w.owner_id join contact c on c.owner_id = o.id order by w.id limit 200`,
  )
  let n = 0
  const next = () => rows[n++ % rows.length] as (typeof rows)[number]
  return {
    nothing: await millis(() => prisma.$queryRaw`select 1`),
    ownersByName: await millis(() => searchOwners(prisma, next().part, null, 50, 'CH')),
    ownersByMail: await millis(() => searchOwners(prisma, next().mail, null, 50, 'CH')),
    ownersPage: await millis(() => searchOwners(prisma, undefined, [next().owner], 50, 'CH')),
    watchesOfOwner: await millis(() => searchWatches(prisma, { ownerId: next().owner }, null, 50)),
    watchesOfMaker: await millis(() => searchWatches(prisma, { maker: 'Halden' }, [next().id], 50)),
  }
}

/** Bytes a watch, of the tables with their indexes and apart. */
async function sizes({ database: { pool } }: Service, watches: number) {
  const { rows } = await pool.query<{ table: string; bytes: number; indexes: number }>(
    `select relname as table, pg_table_size(oid) as bytes, pg_indexes_size(oid) as indexes from pg_class
     where relkind = 'r' and relnamespace = 'public'::regnamespace and pg_total_relation_size(oid) > 200000 order by pg_total_relation_size(oid) desc`,
  )
  return Object.fromEntries(
    rows.map((row) => [
      row.table,
      { table: Math.round(row.bytes / watches), indexes: Math.round(row.indexes / watches) },
    ]),
  )
}

export async function run() {
  for (const watches of sizesToMeasure([10_000, 100_000, 1_000_000])) {
    const centre = await benchCentre(watches)
    try {
      console.log(
        JSON.stringify({
          name,
          watches,
          milliseconds: await measure(centre.service),
          reach: 20,
          bytesAWatch: await sizes(centre.service, watches),
        }),
      )
    } finally {
      await centre.close()
    }
  }
}

if (import.meta.url === pathToFileURL(process.argv[1] ?? '').href) await run()
