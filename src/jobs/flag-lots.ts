import { type Database, transaction } from '../db/open.ts'
import type { Day } from '../domain/day.ts'
import { remindOfRecalls } from '../features/recalls/telling.ts'
import { type Flagged, flagLots, refreshForecasts } from '../features/stock-summaries/flagging.ts'
import { remindOfLots } from '../features/stock-summaries/last-days.ts'
import { remindOfPromises } from '../features/tickets/promise-task.ts'
import { remindOfTools } from '../features/tools/tools.ts'
import type { Service } from '../http/service.ts'
import { datesDue } from './nightly.ts'

const JOB = 'flag-lots'

/** Every night: lots into their buckets, one summary for the manager, reminders of recalls, tools, lots and promises, and forecasts that have grown old. */
export async function run({
  db,
  today,
  currency,
}: {
  db: Database
  today: Day
  currency: string
}): Promise<Flagged & { forecasts: number }> {
  const flagged = await flagLots(db, today, currency)
  await transaction(db, async (tx) => {
    await remindOfRecalls(tx, today)
    await remindOfTools(tx, today)
    await remindOfLots(tx, today)
    await remindOfPromises(tx, today)
  })
  return { ...flagged, forecasts: await refreshForecasts(db, today) }
}

/**
 * One tick: runs the newest date whose hour has come, unless it is on file as done. Flagging is one transaction and
 * repeating it changes nothing, so a replica that comes at the same moment does no harm. Null where nothing was to do.
 */
export async function tickFlagLots({ database, config, clock }: Service): Promise<Day | null> {
  const day = datesDue(clock.now(), config.centre.timeZone, config.jobs.nightlyAt, null).at(-1) as Day
  const done = await database.pool.query('select from nightly_run where job = $1 and local_date = $2', [JOB, day])
  if (done.rowCount) {
    // a changed rule may have made forecasts old since the night
    await refreshForecasts(database, day)
    return null
  }
  const counts = await run({ db: database, today: day, currency: config.centre.currency })
  await database.pool.query(
    `insert into nightly_run (job, local_date, state, finished_at, counts) values ($1, $2, 'finished', clock_timestamp(), $3)
     on conflict (job, local_date) do nothing`,
    [JOB, day, counts],
  )
  return day
}
