import type { Sql } from '../../db/sql.ts'
import { addDays, type Day } from '../../domain/day.ts'
import { type HouseRuleKey, type HouseRules, houseRuleTable } from '../../domain/house-rules.ts'
import { type NoticeRuleKey, noticeRuleTable } from '../../domain/notices/notice-rules.ts'
import { begunUntil, type LetterTrait, reachOfNoticeRule } from '../../domain/notices/rule-reach.ts'
import type { ObligationKind } from '../../domain/reckoning/facts.ts'
import { reachOfRule } from '../../domain/rule-reach.ts'
import { Prisma } from '../../generated/prisma/client.ts'

/** The watches a change touches: by how their obligations stand on file, or by what the maker's word is about. */
export type Scope = DatesScope | LettersScope

export type DatesScope =
  | { of: 'rule'; key: HouseRuleKey }
  | { of: 'calibre'; calibreId: string }
  | { of: 'model'; maker: string; model: string }

/** A rule of the letters moves no date: it wakes those whose next letter may come sooner, seen from a day. */
export type LettersScope = { of: 'letters'; key: NoticeRuleKey; on: Day; begunUntil: Record<LetterKind, Day> }
type LetterKind = Exclude<ObligationKind, 'seals'>

export type About = {
  ruleKey: string | null
  calibreId: string | null
  maker: string | null
  model: string | null
}

/** What a change was about, as its row with the rule or the guidance tells it; `on` and `rules` are those of the day it is seen from. */
export function scopeOf(claim: About, on: Day, rules: HouseRules): Scope {
  if (claim.calibreId !== null) return { of: 'calibre', calibreId: claim.calibreId }
  if (claim.maker !== null) return { of: 'model', maker: claim.maker, model: claim.model ?? '' }
  const key = claim.ruleKey ?? ''
  if (Object.hasOwn(houseRuleTable, key)) return { of: 'rule', key: key as HouseRuleKey }
  return lettersScope(key as NoticeRuleKey, on, rules)
}

/** Whether the rule is itself a day of letters: then the next look at a letter may move though no date does. */
export const movesLetterDays = (scope: Scope): boolean => scope.of === 'rule' && /Letter[123]Days$/.test(scope.key)

const lettersScope = (key: NoticeRuleKey, on: Day, rules: HouseRules): LettersScope => ({
  of: 'letters',
  key,
  on,
  begunUntil: {
    'complete-service': begunUntil('complete-service', rules, on),
    'water-check': begunUntil('water-check', rules, on),
    'cell-change': begunUntil('cell-change', rules, on),
  },
})

/**
 * What changes waiting for a day will do, for those who think ahead: watches to be reckoned anew, and watches to be looked
 * at; all at once. `late`: those of days before it, too.
 */
export async function changesToComeOn(db: Sql, day: Day, rules: HouseRules, late: boolean) {
  const rows = await db.$queryRaw<About[]>`
    select h.key as "ruleKey", coalesce(r.calibre_id, g.calibre_id) as "calibreId", g.maker, g.model
    from re_reckoning r left join house_rule h on h.id = r.house_rule_id left join guidance g on g.id = r.guidance_id
    where r.state <> 'finished' and (r.from_day = ${day}::date or ${late} and r.from_day < ${day}::date) order by r.id`
  const reckon = new Set<string>()
  const look = new Set<string>()
  for (const row of rows) {
    const scope = scopeOf(row, day, rules)
    for (const id of await nextWatches(db, scope, null, 2_000_000)) (scope.of === 'letters' ? look : reckon).add(id)
  }
  return { reckon: [...reckon], look: [...look] }
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

/**
 * What a rule of the letters may bring forward; the same test on one item is `reachesItem` in the domain. Where this one
 * cannot know everything (whose refusal, which appointment counts) it takes in a few too many.
 */
export function lettersSql({ key, on, begunUntil }: LettersScope): Prisma.Sql {
  const asking = Prisma.sql`(stop_on is null or stop_on > ${on}::date)`
  const begun = Prisma.sql`(rule = 'unknown-base' or notices_due_on <= case kind when 'complete-service' then ${begunUntil['complete-service']}::date
    when 'water-check' then ${begunUntil['water-check']}::date else ${begunUntil['cell-change']}::date end)`
  const traits: Readonly<Record<LetterTrait, Prisma.Sql>> = {
    asked: Prisma.sql`${begun} and ${asking}`,
    begun,
    written: Prisma.sql`${asking} and exists (select from notice_item i where i.watch_id = obligation.watch_id and i.kind = obligation.kind
      and i.cycle = obligation.cycle and i.key_taken and i.booked = 'letter')`,
    refused: Prisma.sql`watch_id in (select r.watch_id from refused_offer r
      union all select t.watch_id from estimate_answer a join ticket t on t.id = a.ticket_id where a.answer = 'no')`,
    held: Prisma.sql`exists (select from withheld_item w where w.watch_id = obligation.watch_id and w.kind = obligation.kind
      and w.cycle = obligation.cycle and w.reasons <@ array['base-in-doubt', 'doubtful-pair'])`,
    appointment: Prisma.sql`watch_id in (select a.watch_id from appointment a
      where a.on_day >= ${addDays(on, -noticeRuleTable.appointmentQuietDays.max - 1)}::date)`,
    'cell-sign': Prisma.sql`kind = 'cell-change' and rule in ('leaking', 'spent', 'end-of-life') and ${asking}`,
    'to-be-assessed': Prisma.sql`rule = 'unknown-base'`,
  }
  const any = reachOfNoticeRule[key].map((trait) => Prisma.sql`(${traits[trait]})`)
  return any.length === 0
    ? Prisma.sql`false`
    : Prisma.sql`rule is not null and kind <> 'seals' and (${Prisma.join(any, ' or ')})`
}

/** Ids of the watches touched, each once, in order; all of them, or those after one. */
export function watchesSql(scope: Scope, after: string | null): Prisma.Sql {
  const id = after ?? '00000000-0000-0000-0000-000000000000'
  switch (scope.of) {
    case 'rule':
      return Prisma.sql`select distinct watch_id as id from obligation where watch_id > ${id}::uuid and ${reachSql(scope.key)} order by watch_id`
    case 'letters':
      return Prisma.sql`select distinct watch_id as id from obligation where watch_id > ${id}::uuid and ${lettersSql(scope)} order by watch_id`
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
