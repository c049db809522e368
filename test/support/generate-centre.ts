import type pg from 'pg'
import type { Day } from '../../src/domain/day.ts'
import { designationsOf, generateHouse } from './generate-house.ts'

/**
 * A centre of any size straight into PostgreSQL: owners, watches with calibres and what their makers say, their facts with
 * notes, strikes and half-known days, past visits, cell and gasket lots with their entries, and the obligations exactly as
 * the reckoning makes them of those facts (a test reckons them again). The same size, seed and day make the same rows to the
 * last column, ids and times of recording among them (another test compares two). Three sorts of watch in equal parts:
 * hand-wound without a water claim, quartz without, and a diver's used in water often.
 *
 * Nothing is due before `today`. The first `due` watches have their first letter day on `today`, each of another owner;
 * all others come later, spread evenly over the rest of their interval, a twentieth of them soon enough to ride along.
 */
export type CentreSize = { watches: number; due: number; today: Day; seed?: number }

/** Everything is made in one transaction that no trigger sees, with the functions and tables below in the session alone. */
export async function generateCentre(client: pg.Client | pg.PoolClient, size: CentreSize): Promise<void> {
  const { watches, today } = size
  await client.query('begin')
  await client.query(
    `set local synchronous_commit = off; set local session_replication_role = replica; set local timezone = 'UTC'; set local work_mem = '256MB'`,
  )
  await client.query(functions(size.seed ?? 1))
  await client.query(plan(size))
  await client.query(facts)
  await generateCalibres(client, watches)
  await generateBook(client)
  await generateFacts(client)
  await client.query(obligations(today))
  await generateHouse(client, watches, today)
  await client.query('commit')
  await client.query('analyze')
}

/**
 * Ids of people, watches and facts are scattered (RFC 9562, version 8: bits of our own, and those that say so), as a book
 * that grew over years is for whoever walks along it; ids of what is written in the order of recording are of version 7; of
 * very many beside one thing, they are its own but for the time in front.
 */
const functions = (seed: number) => `
  -- each such that the planner may put it in place: a number beside || without ::text would forbid it
  create function pg_temp.id_of(kind text, n bigint) returns uuid language sql immutable as $$
    select overlay(overlay(md5('${seed} ' || kind || ' ' || n::text) placing '8' from 13) placing 'a' from 17)::uuid $$;
  create function pg_temp.id_in_order(kind text, n bigint) returns uuid language sql immutable as $$
    select overlay(overlay(overlay(md5('${seed} ' || kind || ' ' || n::text) placing lpad(to_hex(1546300800000 + n), 12, '0') from 1) placing '7' from 13) placing 'a' from 17)::uuid $$;
  create function pg_temp.id_beside(of uuid, n bigint) returns uuid language sql immutable as $$
    select ('0' || to_hex(1546300800000 + n) || right(of::text, 22))::uuid $$;
  create function pg_temp.dice(of text, n bigint) returns int language sql immutable as $$
    select ('x' || left(md5('${seed} ' || of || ' ' || n::text), 7))::bit(28)::int $$`

/** One row a watch: what it is, whose, and in what months and from which first letter day its main obligation comes. */
function plan({ watches, due, today }: CentreSize): string {
  const designations = designationsOf(watches)
  return `
  create temporary table plan on commit drop as
  with numbered as (
    select n, n % 3 as sort, case when n % 5 = 4 then n - 1 else n end as o,
      -- four watches in five have an owner of their own, the fifth shares the owner of the one before it
      n < ${due} * 5 / 4 and n % 5 <> 4 as due, pg_temp.dice('away', n) as away, pg_temp.dice('soon', n) as soon, pg_temp.dice('odd', n) as odd
    from generate_series(0, ${watches - 1}) n),
  told as (
    select *,
      -- a cell lot and the watches its cells went into share a designation
      case when n / 3 % 3 <> 0 then case sort when 1 then (n / 12 + 1) % ${designations} else n / 9 % 20 end end as calibre,
      sort = 0 and not due and odd % 50 = 0 as noted,
      sort = 1 and odd % 20 = 0 as half_known,
      sort = 1 and odd % 20 = 1 as mistaken
    from numbered)
  select n, sort, due, calibre, noted, half_known, mistaken, pg_temp.id_of('watch', n) as watch_id, pg_temp.id_of('owner', o) as owner_id,
    case when noted then 'note' when sort = 0 and calibre < 5 or sort = 1 and calibre % 4 = 0 then 'maker' else 'usual' end as rule,
    case when noted then 48 when sort = 0 then case when calibre < 3 then 72 else 60 end
      when sort = 1 then case when calibre % 4 = 0 then 30 else 24 end else 12 end as months,
    date '${today}' + case when due then 0 when soon % 20 = 0 then 1 + away % 25 else 40 + away % (array[1000, 600, 270])[1 + sort] end as first_letter,
    date '${today}' - 177 + pg_temp.dice('service', n) % 150 as serviced
  from told`
}

/**
 * The day the main obligation counts from (`main`): hand-wound a complete service, first letter sixty days before; quartz a
 * cell, forty-five; diver's a water test, thirty. A base exists for most days; where no month before has the day, the due day
 * moves on by one or two.
 */
const facts = `
  create temporary table fact on commit drop as
  select based.*, case sort when 0 then main when 1 then serviced else least(serviced, main) end as service,
    case when half_known then date_trunc('month', serviced)::date end as half_known_from
  from (select plan.*, (first_letter + (array[60, 45, 30])[1 + sort] - make_interval(months => months))::date as main from plan) based;
  analyze plan; analyze fact`

const makers = `(array['Halden', 'Quenvar', 'Brisselhof', 'Tolmarre', 'Nimbrell', 'Velquort', 'Skarrowby', 'Dunmerle'])`
const recorded = (day: string) => `(${day})::timestamp at time zone 'UTC' + interval '12 hours'`

/** Twenty calibres each of hand-wound and self-winding, one of quartz for every cell designation; some makers have said something. */
async function generateCalibres(client: pg.Client | pg.PoolClient, watches: number): Promise<void> {
  await client.query(`create temporary table made_calibre on commit drop as
    select sort, c, pg_temp.id_of('calibre', sort * 1000 + c) as id from generate_series(0, 2) sort, generate_series(0, 199) c
    where c < case sort when 1 then ${designationsOf(watches)} else 20 end`)
  await client.query(`insert into calibre (id, name, energy, beats_per_hour, jewels, lift_angle_degrees, power_reserve_hours, consumption_max_microamps, cell_designation, cell_count, created_at, created_by)
    select id, 'Invented ' || (array['H', 'Q', 'S'])[1 + sort] || lpad(c::text, 3, '0'), case sort when 1 then 'primary-cell' else 'none' end,
      case sort when 0 then 21600 when 2 then case when c < 4 then 36000 else 28800 end end, case when sort <> 1 then 17 + c % 10 end, case when sort <> 1 then 50 + c % 4 end,
      case when sort <> 1 then 40 + c end, case sort when 1 then 1.2 + c % 10 / 10.0 end, case sort when 1 then 'INVENTED' || lpad((c + 1)::text, 3, '0') end,
      case sort when 1 then 1 else 0 end, ${recorded("date '2014-01-01'")}, 'generator'
    from made_calibre`)
  await client.query(`insert into guidance (id, calibre_id, obligation, months, up_to_months, in_force_from, learned, source_paper, recorded_at, recorded_by)
    select pg_temp.id_of('guidance', sort * 1000 + c), id, case sort when 0 then 'complete-service' else 'cell-change' end,
      case sort when 0 then case when c < 3 then 72 else 60 end else 30 end, case when sort = 0 and c >= 3 then 84 end, '2014-01-01', '2014-01-01', 'an invented paper',
      ${recorded("date '2014-01-01'")}, 'generator'
    from made_calibre where sort = 0 and c < 5 or sort = 1 and c % 4 = 0`)
}

async function generateBook(client: pg.Client | pg.PoolClient): Promise<void> {
  await client.query(`insert into owner (id, name, language, search_name, created_at, created_by)
    select owner_id, 'Invented Owner ' || n, (array['en', 'de', 'fr', 'es', 'pt'])[1 + n % 5], 'invented owner ' || md5(n::text), timestamptz '2019-01-01 00:00Z' + n * interval '1 second', 'generator'
    from plan where n % 5 <> 4`)
  await client.query(`insert into contact (id, owner_id, means, value, search_value, created_at, created_by)
    select pg_temp.id_of('contact', n), owner_id, 'e-mail', 'owner' || n || '@example.org', 'owner' || n || '@example.org', timestamptz '2019-01-01 00:00Z' + n * interval '1 second', 'generator'
    from plan where n % 5 <> 4`)
  await client.query(`insert into notice_choice (id, owner_id, kind, choice, chosen_on, means, wording, recorded_at, recorded_by, personal_salt)
    select pg_temp.id_of('choice of ' || kind, n), owner_id, kind, 'yes', '2019-01-01', 'counter', 'May we write to you?', timestamptz '2019-01-01 00:00Z' + n * interval '1 second', 'generator', pg_temp.id_of('salt of ' || kind, n)
    from plan, unnest(array['complete-service', 'water-check', 'cell-change']) with ordinality k (kind, at) where n % 5 <> 4`)
  await client.query(`insert into watch (id, maker, model, serial, search_serial, kind, claim_marked, claim_bar, first_seen, owner_id, owner_known_on, created_at, created_by)
    select watch_id, ${makers}[1 + n / 3 % 8], 'Model ' || n / 24 % 120, 'G ' || lpad(n::text, 8, '0'), 'G' || lpad(n::text, 8, '0'),
      (array['hand-wound', 'quartz', 'self-winding'])[1 + sort], case when sort = 2 then 'rated' else 'none' end,
      case when sort = 2 then 20 end, '2015-01-01', owner_id, '2015-01-01', ${recorded("date '2015-01-01'")}, 'generator' from plan`)
  await client.query(`insert into ownership (id, watch_id, owner_id, from_day, learned, how, recorded_at, recorded_by)
    select pg_temp.id_of('ownership', n), watch_id, owner_id, '2015-01-01', '2015-01-01', 'booked in', ${recorded("date '2015-01-01'")}, 'generator' from plan`)
  await client.query(`insert into movement (id, watch_id, calibre_id, serial, from_day, learned, recorded_at, recorded_by)
    select pg_temp.id_of('movement', n), watch_id, made_calibre.id, 'M' || n, '2015-01-01', '2015-01-01', ${recorded("date '2015-01-01'")}, 'generator'
    from plan join made_calibre on made_calibre.sort = plan.sort and c = calibre`)
  await client.query(`insert into wear_statement (id, watch_id, owner_id, water, learned, source, recorded_at, recorded_by)
    select pg_temp.id_of('wear', n), watch_id, owner_id, 'often', '2015-01-01', 'own-record', ${recorded("date '2015-01-01'")}, 'generator' from plan where sort = 2`)
}

async function generateFacts(client: pg.Client | pg.PoolClient): Promise<void> {
  const event = (
    kind: string,
    name: string,
    day: string,
    passed: string,
    where: string,
    happened = `(${day})::text`,
  ) => `
    select pg_temp.id_of('${name}', n) as id, n, watch_id, '${kind}' as event, ${happened} as happened, ${day} as learned, ${passed} as passed from fact where ${where}`
  await client.query(`insert into watch_event (id, watch_id, event, happened, source, learned, passed, recorded_at, recorded_by)
    select id, watch_id, event, happened, 'own-record', learned, passed, ${recorded('learned')}, 'generator' from (
      ${event('complete-service', 'service', 'service', 'null::boolean', 'true', `case when half_known then to_char(service, 'YYYY-MM') else service::text end`)}
      union all ${event('cell-fitted', 'cell', 'main', 'null', 'sort = 1')}
      union all ${event('cell-fitted', 'mistake', 'main + 10', 'null', 'mistaken')}
      union all ${event('water-test', 'test', 'main', 'true', 'sort = 2')}) e`)
  await client.query(`insert into strike (fact_id, fact_table, watch_id, reason, learned, recorded_at, recorded_by)
    select pg_temp.id_of('mistake', n), 'watch_event', watch_id, 'another watch was meant', main + 11, ${recorded('main + 11')}, 'generator' from fact where mistaken`)
  await client.query(`insert into watchmaker_note (id, watch_id, obligation, months, noted_on, reason, recorded_at, recorded_by)
    select pg_temp.id_of('note', n), watch_id, 'complete-service', months, main + 30, 'the oil had spread', ${recorded('main + 30')}, 'generator' from fact where noted`)
}

/** The rows the reckoning makes of these facts, in SQL, for these three sorts of watch alone. */
const obligations = (today: Day) => `
  with due as (
    select n, watch_id, 'complete-service' as kind, case sort when 0 then rule when 1 then 'quartz' else case when calibre < 4 then 'high-beat' else 'usual' end end as rule,
      coalesce(half_known_from, service) as base_on, service as base_until,
      case sort when 0 then months when 1 then 84 else case when calibre < 4 then 36 else 60 end end as months, 60 as lead, 61 as overdue, 12 as stop, 60 as letter from fact
    union all select n, watch_id, 'cell-change', rule, main, main, months, 45, 31, 6, 45 from fact where sort = 1
    union all select n, watch_id, 'water-check', 'hard-use', main, main, 12, 30, 15, 6, 30 from fact where sort = 2
    union all select n, watch_id, 'seals', 'water-use', service, service, 48, 30, 15, 6, null from fact where sort = 2),
  dated as (select due.*, (base_on + make_interval(months => months))::date as d from due),
  stood as (
    select n, watch_id, kind, null as because, rule, base_on, 'own-record' as base_from, base_until, 'due-day' as notices_by, months, d as due_on, d as notices_due_on, d - lead as coming_up_from,
      d + overdue as overdue_from, (d + make_interval(months => stop))::date as stop_on, 'base:' || base_on as cycle, d - letter as next_notice_on,
      case when d - lead >= date '${today}' then d - lead when d >= date '${today}' then d else d + overdue end as reconsider_on
    from dated
    union all
    select n, watch_id, kind, case kind when 'cell-change' then 'no-cell' else 'no-claim' end, null, null, null, null, null, null, null, null, null, null, null, null, null, null
    from fact, unnest(case sort when 0 then array['water-check', 'cell-change', 'seals'] when 1 then array['water-check', 'seals'] else array['cell-change'] end) kind)
  insert into obligation (watch_id, kind, because, rule, base_on, base_from, base_until, notices_by, months, due_on, notices_due_on, coming_up_from, overdue_from, stop_on,
    cycle, next_notice_on, reconsider_on, reckoned_on, reckoned_at)
  select watch_id, kind, because, rule, base_on, base_from, base_until, notices_by, months, due_on, notices_due_on, coming_up_from, overdue_from, stop_on,
    cycle, next_notice_on, reconsider_on, date '${today}' - 1, ${recorded(`date '${today}' - 1`)}
  from stood`

export const exampleSize = (watches: number, due: number): CentreSize => ({ watches, due, today: '2026-11-25' as Day })
