import { randomUUID } from 'node:crypto'
import { inLanes } from '../../db/lanes.ts'
import { plainTransaction, type Sql } from '../../db/sql.ts'
import { addDays, type Day } from '../../domain/day.ts'
import { isQuietDay } from '../../domain/notices/notice-rules.ts'
import { Refusal } from '../../domain/refusals.ts'
import { dayAt, instantOf, type Service, todayAt } from '../../http/service.ts'
import { rulesInForce } from '../house-rules/house-rules.ts'
import type { Booked } from '../notices/decide-book.ts'
import { decideBatch, duePages, passEdges, reckonStale, wakeGuarantees } from '../notices/decide-night.ts'
import { type ReReckoningOptions, runReReckonings } from '../re-reckonings/run.ts'

export const JOB = 'nightly'
/** missed dates further back than this are not booked one by one; the log says so */
const FURTHEST_BACK = 60

export type NightCounts = Booked & { reckoned: number; looked: number; quiet: boolean }

const noCounts: NightCounts = {
  quiet: false,
  reckoned: 0,
  looked: 0,
  letters: 0,
  items: 0,
  skipped: 0,
  withheld: 0,
  reasons: {},
}

export type NightOptions = {
  /** who asked: the clock, or a person */
  by?: string
  /** watches reckoned, or items looked at, in one transaction */
  batch?: number
  leaseSeconds?: number
  /** how long, at most, it first lends a hand with dates still to be reckoned anew by changed rules */
  first?: Pick<ReReckoningOptions, 'stop' | 'patienceMs'>
  /** called after each committed batch; tests stop a run here */
  afterBatch?: (() => void | Promise<void>) | undefined
}

/**
 * The local dates whose hour has come and that are not on file, oldest first. The date is the key, not the instant: a
 * hour in the spring gap comes with the offset before it (02:30 at 03:30), one in the repeated hour once. A date that the zone
 * leaves out altogether is no date there.
 */
export function datesDue(now: Date, zone: string, at: string, last: Day | null): Day[] {
  let newest = dayAt(now, zone)
  if (last !== null && newest <= last) return []
  while (!hasCome(newest, now, zone, at)) newest = addDays(newest, -1)
  if (last === null) return [newest]
  const dates: Day[] = []
  for (let day = addDays(last, 1); day <= newest; day = addDays(day, 1)) if (exists(day, zone)) dates.push(day)
  return dates
}

const hasCome = (day: Day, now: Date, zone: string, at: string) => exists(day, zone) && instantOf(day, at, zone) <= now
const exists = (day: Day, zone: string) => dayAt(instantOf(day, '12:00', zone), zone) === day

/**
 * One tick of the clock: books the dates that were missed, in order, and runs the newest. Any number of replicas may tick
 * at once; the row (job, local date) decides who runs. Returns the date this call ran, or null.
 */
export async function tickNightly(service: Service, options: NightOptions = {}): Promise<Day | null> {
  const { database, config } = service
  const { rows } = await database.pool.query<{ last: Day | null; running: boolean | null }>(
    `select max(local_date) filter (where state <> 'running')::text as last,
       bool_or(state = 'running' and lease_until >= clock_timestamp()) as running
     from nightly_run where job = $1`,
    [JOB],
  )
  if (rows[0]?.running) return null
  const zone = config.centre.timeZone
  const due = datesDue(service.clock.now(), zone, config.jobs.nightlyAt, rows[0]?.last ?? null)
  const newest = due.at(-1)
  if (newest === undefined) return null
  const missed = due.slice(0, -1)
  if (missed.length > FURTHEST_BACK)
    service.log.error(
      { from: missed[0], to: missed.at(-1) },
      'the nightly run has not run for a long time; only the last dates are booked as missed',
    )
  const booked = await bookMissed(service, missed.slice(-FURTHEST_BACK))
  if (booked.length > 0)
    service.log.warn({ dates: booked }, 'nightly dates missed; letters are decided once, on the newest date')
  return (await runNight(service, newest, options)) === null ? null : newest
}

/** Dates that passed without a run, in order; one that somebody began and never finished counts as missed, too. */
async function bookMissed({ database }: Service, dates: readonly Day[]): Promise<Day[]> {
  const booked: Day[] = []
  for (const date of dates) {
    const { rowCount } = await database.pool.query(
      `insert into nightly_run (job, local_date, state, finished_at) values ($1, $2, 'missed', clock_timestamp())
       on conflict (job, local_date) do update set state = 'missed', finished_at = clock_timestamp(), owner = null, lease_until = null
       where nightly_run.state = 'running' and nightly_run.lease_until < clock_timestamp()`,
      [JOB, date],
    )
    if (rowCount) booked.push(date)
  }
  return booked
}

/** What one transaction adds to the counts of its date. */
type More = { booked?: Booked; looked?: number; reckoned?: number }

// one lane decides while PostgreSQL reads or writes for the other; a third had nothing left to gain on two cores
const LANES = 2

/**
 * Runs one date, batch by batch, each batch one transaction that also carries the lease and the counts on: killed
 * anywhere, another goes on where this one stopped. Null where the date is somebody else's, finished or missed.
 * Letters rest on the rules in force, so whoever asks for it, it begins only when every date that changed rules touch
 * has been reckoned anew: it carries that out first, and refuses where it is not done in the time given.
 */
export async function runNight(service: Service, day: Day, options: NightOptions = {}): Promise<NightCounts | null> {
  const { database } = service
  const batch = options.batch ?? 1000
  await runReReckonings(service, options.first)
  const claim = await claimNight(service, day, options)
  if (claim === null) return null

  const step = async <T extends More>(work: (tx: Sql) => Promise<T>): Promise<T> => {
    const more = await plainTransaction(database, async (tx) => {
      const done = await work(tx)
      await claim.carryOn(tx, done)
      return done
    })
    await options.afterBatch?.()
    return more
  }

  try {
    const inForce = await rulesInForce(database.prisma, day)
    await step(async (tx) => {
      await passEdges(tx, day)
      return {}
    })
    for (let left = true; left; )
      left = (await step(async (tx) => ({ reckoned: await reckonStale(tx, day, inForce, batch) }))).reckoned > 0
    const { guaranteeOwnLetter, guaranteeLeadDays } = inForce.notices.rules
    if (guaranteeOwnLetter === 1)
      await step(async (tx) => {
        await wakeGuarantees(tx, day, guaranteeLeadDays)
        return {}
      })
    const quiet = isQuietDay(day, inForce.notices.rules)
    if (!quiet)
      await inLanes(LANES, duePages(database.pool, day, batch), (watchIds) =>
        step((tx) => decideBatch(tx, day, inForce, watchIds)),
      )
    const counts = await claim.finish(quiet)
    service.log.info({ day, ...counts }, 'nightly run finished')
    return counts
  } catch (error) {
    if (!(error instanceof LeaseLost)) throw error
    service.log.warn({ day }, 'the nightly run was taken over by another replica')
    return null
  }
}

class LeaseLost extends Error {}

/** The row of the date, held by a lease on the database's clock; null where it is not to be had. */
async function claimNight(service: Service, day: Day, { by = 'clock', leaseSeconds = 120 }: NightOptions) {
  const { database } = service
  const me = randomUUID()
  const today = todayAt(service)
  const { rows } = await database.pool.query<{ claimed: boolean; waits: boolean; done: number; total: number | null }>(
    `with waits_for as (
       select done, total from re_reckoning where state <> 'finished' and from_day <= greatest($2::date, $7::date) order by from_day, id limit 1),
     mine as (
       insert into nightly_run (job, local_date, owner, lease_until, by_whom, counts)
       select $1, $2, $3, clock_timestamp() + make_interval(secs => $4), $5, $6::jsonb where not exists (select from waits_for)
       on conflict (job, local_date) do update set owner = excluded.owner, lease_until = excluded.lease_until,
         attempt = nightly_run.attempt + 1
       where nightly_run.state = 'running' and nightly_run.lease_until < clock_timestamp()
       returning local_date)
     select exists (select from mine) as claimed, waits_for.done is not null as waits, waits_for.done, waits_for.total
     from (select) one left join waits_for on true`,
    [JOB, day, me, leaseSeconds, by, JSON.stringify(noCounts), today],
  )
  const { claimed, waits, done, total } = rows[0] ?? { claimed: false, waits: false }
  if (waits) throw new Refusal('night-waits', { done, total })
  if (!claimed) return null
  return {
    // added up in the row, which is locked from here to the commit: two lanes lose nothing of each other
    carryOn: async (tx: Sql, { booked, looked = 0, reckoned = 0 }: More) => {
      const { reasons, ...numbers } = { ...booked, looked, reckoned }
      const held = await tx.$executeRaw`
        update nightly_run set counts = counts
            || (select jsonb_object_agg(key, coalesce((counts ->> key)::int, 0) + value::int) from jsonb_each_text(${JSON.stringify(numbers)}::jsonb))
            || jsonb_build_object('reasons', (
              select coalesce(jsonb_object_agg(key, n), '{}') from (
                select key, sum(value::int) as n from (
                  select * from jsonb_each_text(counts -> 'reasons') union all select * from jsonb_each_text(${JSON.stringify(reasons ?? {})}::jsonb)) each
                group by key) summed)),
          lease_until = clock_timestamp() + make_interval(secs => ${leaseSeconds}::float8)
        where job = ${JOB} and local_date = ${day}::date and owner = ${me}::uuid and state = 'running'`
      if (held === 0) throw new LeaseLost()
    },
    finish: async (quiet: boolean) => {
      const { rows } = await database.pool.query<{ counts: NightCounts }>(
        `update nightly_run set state = 'finished', finished_at = clock_timestamp(), lease_until = null,
           counts = counts || jsonb_build_object('quiet', $4::boolean)
         where job = $1 and local_date = $2 and owner = $3 and state = 'running' returning counts`,
        [JOB, day, me, quiet],
      )
      if (rows[0] === undefined) throw new LeaseLost()
      return rows[0].counts
    },
  }
}
