import { randomUUID } from 'node:crypto'
import { setTimeout as pause } from 'node:timers/promises'
import { inLanes } from '../../db/lanes.ts'
import type { Database } from '../../db/open.ts'
import { plainTransaction, type Sql } from '../../db/sql.ts'
import type { Day } from '../../domain/day.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { rulesInForce } from '../house-rules/house-rules.ts'
import { lockWatches, rewriteObligations } from '../obligations/rewrite.ts'
import { forgetForecasts } from '../reports/demand.ts'
import { countWatches, lettersSql, movesLetterDays, nextWatches, type Scope, scopeOf } from './scope.ts'

export type ReReckoningOptions = {
  /** watches reckoned in one transaction */
  batch?: number
  leaseSeconds?: number
  /** how long to wait for transactions begun before the change; then the next tick tries again */
  patienceMs?: number
  /** asks the run to come to an end after the batch it is at */
  stop?: AbortSignal | undefined
  /** called after each committed batch; tests stop a run here */
  afterBatch?: (() => void | Promise<void>) | undefined
}

// one lane reckons while PostgreSQL reads or writes for the other
const LANES = 2

type Claimed = {
  id: string
  fromDay: Day
  cursor: string
  done: number
  total: number | null
  settlesAt: number | null
  ruleKey: string | null
  calibreId: string | null
  maker: string | null
  model: string | null
}

/**
 * Goes through the changes whose day has come, oldest first, until none is to be had. Any number of replicas may call
 * this at once: a row is worked on by the one that holds its lease. `open` says that something is left, here or with
 * another replica: until then the dates on file are not all those of the rules in force.
 */
export async function runReReckonings(
  service: Service,
  options: ReReckoningOptions = {},
): Promise<{ finished: number; open: boolean }> {
  let finished = 0
  while (!options.stop?.aborted) {
    const claim = await claimNext(service, options)
    if (claim === null) break
    if (await carryOut(service, claim, options)) finished++
    else break
  }
  const { rows } = await service.database.pool.query<{ open: boolean }>(
    `select exists (select from re_reckoning where state <> 'finished' and from_day <= $1::date) as open`,
    [todayAt(service)],
  )
  return { finished, open: rows[0]?.open ?? false }
}

async function claimNext({ database, ...service }: Service, { leaseSeconds = 60 }: ReReckoningOptions) {
  const me = randomUUID()
  const { rows } = await database.pool.query<Claimed>(
    `with mine as (
       update re_reckoning set state = 'running', owner = $2, attempt = attempt + 1, started_at = coalesce(started_at, clock_timestamp()),
         lease_until = clock_timestamp() + make_interval(secs => $3),
         -- whoever had a transaction open before the change was committed may not have seen it: their end is waited for
         settles_at = coalesce(settles_at, pg_snapshot_xmax(pg_current_snapshot())::text::bigint)
       where id = (
         select id from re_reckoning
         where state <> 'finished' and from_day <= $1::date and (lease_until is null or lease_until < clock_timestamp())
         order by from_day, id limit 1 for update skip locked)
       returning *)
     select mine.id, mine.from_day as "fromDay", cursor, done, total, settles_at as "settlesAt", h.key as "ruleKey",
       coalesce(mine.calibre_id, g.calibre_id) as "calibreId", g.maker, g.model
     from mine left join house_rule h on h.id = house_rule_id left join guidance g on g.id = guidance_id`,
    [todayAt({ database, ...service }), me, leaseSeconds],
  )
  return rows[0] === undefined ? null : { ...rows[0], me }
}

class LeaseLost extends Error {}

async function carryOut(
  service: Service,
  claim: Claimed & { me: string },
  options: ReReckoningOptions,
): Promise<boolean> {
  const { database } = service
  const { batch = 250, leaseSeconds = 60 } = options
  try {
    if (!(await settled(service, claim.settlesAt ?? 0, options.patienceMs ?? 30_000))) return giveBack(service, claim)
    const today = todayAt(service)
    const scope = scopeOf(claim, today, (await rulesInForce(database.prisma, today)).rules)
    if (claim.total === null) {
      const total = await countWatches(database.prisma, scope)
      await database.pool.query('update re_reckoning set total = $3 where id = $1 and owner = $2', [
        claim.id,
        claim.me,
        total,
      ])
    }
    const stopped = () => options.stop?.aborted ?? false
    const progress = progressFrom(claim.done)
    await inLanes(LANES, batches(database, scope, claim.cursor, batch, stopped), async (one) => {
      await plainTransaction(database, async (tx) => {
        // locked before the facts are read: what is recorded meanwhile waits, and reckons after this with its own facts
        await lockWatches(tx, one.ids)
        const moved = await reckonAnew(tx, scope, one.ids, todayAt(service))
        const { done, last } = progress.with(one)
        const held = await tx.$executeRaw`
          update re_reckoning set cursor = greatest(cursor, ${last}::uuid), done = greatest(done, ${done}::int), moved = moved + ${moved},
            lease_until = clock_timestamp() + make_interval(secs => ${leaseSeconds}::float8)
          where id = ${claim.id}::uuid and owner = ${claim.me}::uuid and state = 'running'`
        if (held === 0) throw new LeaseLost()
      })
      progress.keep(one)
      await options.afterBatch?.()
    })
    if (stopped()) return giveBack(service, claim)
    await plainTransaction(database, async (tx) => {
      const [row] = await tx.$queryRaw<{ moved: number }[]>`
        update re_reckoning set state = 'finished', finished_at = clock_timestamp(), lease_until = null, done = ${progress.done()}, total = ${progress.done()}
        where id = ${claim.id}::uuid and owner = ${claim.me}::uuid and state = 'running' returning moved`
      if (row === undefined) throw new LeaseLost()
      // made of the dates before
      if (row.moved > 0 && scope.of !== 'letters') await forgetForecasts(tx)
    })
    return true
  } catch (error) {
    if (error instanceof LeaseLost) {
      service.log.warn({ reReckoning: claim.id }, 'a re-reckoning was taken over by another replica')
      return false
    }
    await giveBack(service, claim).catch(() => {})
    throw error
  }
}

type Batch = { n: number; ids: string[] }

/** The watches touched, in the order of their ids, so many at a time. */
async function* batches(
  { prisma }: Database,
  scope: Scope,
  cursor: string,
  size: number,
  stopped: () => boolean,
): AsyncGenerator<Batch, void> {
  for (let n = 0, after: string | undefined = cursor; after !== undefined && !stopped(); n++) {
    const ids = await nextWatches(prisma, scope, after, size)
    if (ids.length > 0) yield { n, ids }
    after = ids.length < size ? undefined : ids.at(-1)
  }
}

/**
 * How far the batches have come without a gap: the cursor passes no batch that another lane has not committed, and a
 * batch that is done again after a kill is counted once.
 */
function progressFrom(done: number) {
  const committed = new Map<number, Batch>()
  let passed = { next: 0, done, last: null as string | null }
  const onwards = (also?: Batch) => {
    let { next, done, last } = passed
    for (;;) {
      const one = also?.n === next ? also : committed.get(next)
      if (!one) return { next, done, last }
      done += one.ids.length
      last = one.ids.at(-1) ?? last
      next++
    }
  }
  return {
    with: onwards,
    keep: (batch: Batch) => {
      committed.set(batch.n, batch)
      passed = onwards()
      for (const n of committed.keys()) if (n < passed.next) committed.delete(n)
    },
    done: () => passed.done,
  }
}

async function reckonAnew(tx: Sql, scope: Scope, ids: readonly string[], today: Day): Promise<number> {
  if (ids.length === 0) return 0
  if (scope.of === 'letters')
    return tx.$executeRaw`
      update obligation set next_notice_on = ${today}::date
      where watch_id = any(${[...ids]}::uuid[]) and ${lettersSql(scope)} and (next_notice_on is null or next_notice_on > ${today}::date)`
  // read after the locks: no older rule than the newest committed one
  const inForce = await rulesInForce(tx, today)
  return (await rewriteObligations(tx, ids, today, { inForce, lettersAnew: movesLetterDays(scope) })).moved
}

/** Waits until every transaction that was open when the change became visible has ended. */
async function settled({ database }: Service, settlesAt: number, patienceMs: number): Promise<boolean> {
  for (let waited = 0; ; waited += 50) {
    const { rows } = await database.pool.query<{ oldest: number }>(
      'select pg_snapshot_xmin(pg_current_snapshot())::text::bigint as oldest',
    )
    if ((rows[0]?.oldest ?? 0) >= settlesAt) return true
    if (waited >= patienceMs) return false
    await pause(50)
  }
}

async function giveBack({ database }: Service, claim: Claimed & { me: string }): Promise<false> {
  await database.pool.query('update re_reckoning set lease_until = null where id = $1 and owner = $2', [
    claim.id,
    claim.me,
  ])
  return false
}
