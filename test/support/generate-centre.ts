import type pg from 'pg'
import type { Day } from '../../src/domain/day.ts'
import { generateHouse } from './generate-house.ts'

/**
 * A centre of any size straight into PostgreSQL, the same for the same numbers: owners, watches, their facts, past visits,
 * cell lots with their entries, and the obligations exactly as the reckoning makes them of those facts (a test reckons a sample of them again). Three kinds of
 * watch in equal parts: hand-wound without a water claim, quartz without, and a diver's used in water often.
 *
 * Nothing is due before `today`. The first `due` watches have their first letter day on `today`, each of another owner;
 * all others come later, spread evenly over the rest of their interval, a twentieth of them soon enough to ride along.
 */
export type CentreSize = { watches: number; due: number; today: Day; ownersPerWatch?: number }

/** RFC 9562, version 8: bits of our own, and those that say so. */
const uuidOf = (kind: string, n: string) =>
  `overlay(overlay(md5('${kind}' || ${n}) placing '8' from 13) placing 'a' from 17)::uuid`

export async function generateCentre(client: pg.Client | pg.PoolClient, size: CentreSize): Promise<void> {
  const { watches, due, today } = size
  // four watches in five have an owner of their own, the fifth shares the owner of the one before it
  const owner = 'case when n % 5 = 4 then n - 1 else n end'
  const day = (expression: string) => `(date '${today}' + (${expression})::int)`
  /** days from today to the watch's first letter day: 0 for the due ones */
  const away = `case when n < ${due} * 5 / 4 and n % 5 <> 4 then 0
    when hashint4(n) % 20 = 0 then 1 + abs(hashint4(n * 7)) % 25 else 40 + abs(hashint4(n * 13)) % case n % 3 when 0 then 1000 when 1 then 600 else 270 end end`
  await client.query('begin')
  await client.query(`set local synchronous_commit = off`)
  await client.query(`set local session_replication_role = replica`)
  await client.query(`create temporary table plan on commit drop as
    select n, n % 3 as sort, ${uuidOf('watch', 'n')} as watch_id, ${uuidOf('owner', owner)} as owner_id, ${day(away)} as first_letter
    from generate_series(0, ${watches - 1}) n`)
  await client.query(`insert into owner (id, name, language, search_name, created_at, created_by)
    select owner_id, 'Invented Owner ' || n, (array['en', 'de', 'fr', 'es', 'pt'])[1 + n % 5], 'invented owner ' || md5(n::text), timestamptz '2019-01-01' + n * interval '1 second', 'generator'
    from plan where n % 5 <> 4`)
  await client.query(`insert into contact (id, owner_id, means, value, search_value, created_by)
    select gen_random_uuid(), owner_id, 'e-mail', 'owner' || n || '@example.org', 'owner' || n || '@example.org', 'generator' from plan where n % 5 <> 4`)
  await client.query(`insert into notice_choice (id, owner_id, kind, choice, chosen_on, means, wording, recorded_by)
    select gen_random_uuid(), owner_id, kind, 'yes', '2019-01-01', 'counter', 'May we write to you?', 'generator'
    from plan, unnest(array['complete-service', 'water-check', 'cell-change']) kind where n % 5 <> 4`)
  await client.query(`insert into watch (id, maker, kind, claim_marked, claim_bar, first_seen, owner_id, owner_known_on, created_by)
    select watch_id, 'Halden', (array['hand-wound', 'quartz', 'self-winding'])[1 + sort], case when sort = 2 then 'rated' else 'none' end,
      case when sort = 2 then 20 end, '2015-01-01', owner_id, '2015-01-01', 'generator' from plan`)
  await client.query(`insert into ownership (id, watch_id, owner_id, from_day, learned, how, recorded_by)
    select gen_random_uuid(), watch_id, owner_id, '2015-01-01', '2015-01-01', 'booked in', 'generator' from plan`)
  await client.query(`insert into wear_statement (id, watch_id, owner_id, water, learned, source, recorded_by)
    select gen_random_uuid(), watch_id, owner_id, 'often', '2015-01-01', 'own-record', 'generator' from plan where sort = 2`)
  // hand-wound: sixty months, first letter sixty days before; cell: twenty-four and forty-five; water check: twelve and thirty
  const dueOf = { 0: 'first_letter + 60', 1: 'first_letter + 45', 2: 'first_letter + 30' } as const
  await client.query(`create temporary table base on commit drop as
    select plan.*, case sort when 0 then ${dueOf[0]} when 1 then ${dueOf[1]} else ${dueOf[2]} end as wanted from plan`)
  // a base exists for most days; where no month before has the day, the due day moves on by one or two
  await client.query(`create temporary table fact on commit drop as
    select base.*, (wanted - make_interval(months => case sort when 0 then 60 when 1 then 24 else 12 end))::date as main,
      case when sort = 0 then null else ('2026-06-01'::date + abs(hashint4(n * 3)) % 150)::date end as service from base`)
  await client.query(`insert into watch_event (id, watch_id, event, happened, source, learned, passed, recorded_by)
    select gen_random_uuid(), watch_id, 'complete-service', coalesce(service, main)::text, 'own-record', coalesce(service, main), null::boolean, 'generator' from fact
    where sort <> 2
    union all select gen_random_uuid(), watch_id, 'complete-service', least(service, main)::text, 'own-record', least(service, main), null, 'generator' from fact where sort = 2
    union all select gen_random_uuid(), watch_id, 'cell-fitted', main::text, 'own-record', main, null, 'generator' from fact where sort = 1
    union all select gen_random_uuid(), watch_id, 'water-test', main::text, 'own-record', main, true, 'generator' from fact where sort = 2`)
  await client.query(obligations(today))
  await generateHouse(client, watches, today)
  await client.query('commit')
  await client.query('analyze')
}

/** The rows the reckoning makes of these facts, in SQL, for these three kinds of watch alone. */
const obligations = (today: Day) => `
  with due as (
    select watch_id, 'complete-service' as kind, case sort when 1 then 'quartz' else 'usual' end as rule,
      case sort when 0 then main when 1 then service else least(service, main) end as base_on, case sort when 1 then 84 else 60 end as months,
      60 as lead, 61 as overdue, 12 as stop, 60 as letter from fact
    union all select watch_id, 'cell-change', 'usual', main, 24, 45, 31, 6, 45 from fact where sort = 1
    union all select watch_id, 'water-check', 'hard-use', main, 12, 30, 15, 6, 30 from fact where sort = 2
    union all select watch_id, 'seals', 'water-use', least(service, main), 48, 30, 15, 6, null from fact where sort = 2),
  dated as (select due.*, (base_on + make_interval(months => months))::date as d from due)
  insert into obligation (watch_id, kind, because, rule, base_on, base_from, base_until, notices_by, months, due_on, notices_due_on, coming_up_from, overdue_from, stop_on,
    cycle, next_notice_on, reconsider_on, reckoned_on)
  select watch_id, kind, null, rule, base_on, 'own-record', base_on, 'due-day', months, d, d, d - lead, d + overdue, (d + make_interval(months => stop))::date,
    'base:' || base_on, d - letter, case when d - lead >= date '${today}' then d - lead when d >= date '${today}' then d else d + overdue end, date '${today}' - 1
  from dated
  union all
  select watch_id, kind, case kind when 'cell-change' then 'no-cell' else 'no-claim' end, null, null, null, null, null, null, null, null, null, null, null, null, null, null, date '${today}' - 1
  from fact, unnest(case sort when 0 then array['water-check', 'cell-change', 'seals'] when 1 then array['water-check', 'seals'] else array['cell-change'] end) kind`

export const exampleSize = (watches: number, due: number): CentreSize => ({ watches, due, today: '2026-11-25' as Day })
