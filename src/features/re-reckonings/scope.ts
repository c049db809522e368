import type { Sql } from '../../db/sql.ts'
import type { Day } from '../../domain/day.ts'
import { type HouseRuleKey, houseRuleTable } from '../../domain/house-rules.ts'
import { reachOfRule } from '../../domain/rule-reach.ts'
import { Prisma } from '../../generated/prisma/client.ts'

/** The watches a change touches: by how their obligations stand on file, or by what the maker's word is about. */
export type Scope =
  | { of: 'rule'; key: HouseRuleKey }
  /** a rule of the letters: what may be written about on that day */
  | { of: 'letters'; on: Day }
  | { of: 'calibre'; calibreId: string }
  | { of: 'model'; maker: string; model: string }

export type About = {
  fromDay: Day
  ruleKey: string | null
  calibreId: string | null
  maker: string | null
  model: string | null
}

/** What a change was about, as its row with the rule or the guidance tells it. */
export function scopeOf(claim: About): Scope {
  if (claim.calibreId !== null) return { of: 'calibre', calibreId: claim.calibreId }
  if (claim.maker !== null) return { of: 'model', maker: claim.maker, model: claim.model ?? '' }
  const key = claim.ruleKey ?? ''
  return Object.hasOwn(houseRuleTable, key)
    ? { of: 'rule', key: key as HouseRuleKey }
    : { of: 'letters', on: claim.fromDay }
}

/** The watches whose dates a change waiting for this day will move, for those who think ahead; all at once. */
export async function watchesToComeOn(db: Sql, day: Day): Promise<string[]> {
  const rows = await db.$queryRaw<About[]>`
    select r.from_day::text as "fromDay", h.key as "ruleKey", coalesce(r.calibre_id, g.calibre_id) as "calibreId", g.maker, g.model
    from re_reckoning r left join house_rule h on h.id = r.house_rule_id left join guidance g on g.id = r.guidance_id
    where r.state <> 'finished' and r.from_day = ${day}::date order by r.id`
  const found = new Set<string>()
  for (const row of rows) {
    const scope = scopeOf(row)
    if (scope.of !== 'letters') for (const id of await nextWatches(db, scope, null, 2_000_000)) found.add(id)
  }
  return [...found]
}

/** The obligations a rule reaches; the same test on one row is `reaches` in the domain. */
function reachSql(key: HouseRuleKey): Prisma.Sql {
  const { kinds, rules, because, baseFrom, noticesBy } = reachOfRule[key]
  const stands = [Prisma.sql`rule is not null`]
  if (rules !== null) stands.push(Prisma.sql`rule = any(${[...rules]}::text[])`)
  if (baseFrom !== undefined) stands.push(Prisma.sql`base_from = ${baseFrom}`)
  if (noticesBy !== undefined) stands.push(Prisma.sql`notices_by = any(${[...noticesBy]}::text[])`)
  const reached = Prisma.join(stands, ' and ')
  const might = because === undefined ? Prisma.empty : Prisma.sql`or because = any(${[...because]}::text[])`
  return Prisma.sql`kind = any(${[...kinds]}::text[]) and (${reached} ${might})`
}

const lettersSql = (on: Day): Prisma.Sql => Prisma.sql`
  rule is not null and kind <> 'seals' and coming_up_from <= ${on}::date and (stop_on is null or stop_on > ${on}::date)`

/** Ids of the watches touched, each once, in order; all of them, or those after one. */
function watchesSql(scope: Scope, after: string | null): Prisma.Sql {
  const id = after ?? '00000000-0000-0000-0000-000000000000'
  switch (scope.of) {
    case 'rule':
      return Prisma.sql`select distinct watch_id as id from obligation where watch_id > ${id}::uuid and ${reachSql(scope.key)} order by watch_id`
    case 'letters':
      return Prisma.sql`select distinct watch_id as id from obligation where watch_id > ${id}::uuid and ${lettersSql(scope.on)} order by watch_id`
    case 'calibre':
      return Prisma.sql`select distinct watch_id as id from movement where calibre_id = ${scope.calibreId}::uuid and watch_id > ${id}::uuid order by watch_id`
    case 'model':
      return Prisma.sql`select id from watch where maker = ${scope.maker} and model = ${scope.model} and id > ${id}::uuid order by id`
  }
}

export async function nextWatches(db: Sql, scope: Scope, after: string | null, limit: number): Promise<string[]> {
  const rows = await db.$queryRaw<{ id: string }[]>`${watchesSql(scope, after)} limit ${limit}`
  return rows.map((row) => row.id)
}

export async function countWatches(db: Sql, scope: Scope): Promise<number> {
  const rows = await db.$queryRaw<{ n: number }[]>`select count(*)::int as n from (${watchesSql(scope, null)}) touched`
  return rows[0]?.n ?? 0
}
