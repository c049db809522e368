import type { Database } from '../db/open.ts'
import type { Day } from '../domain/day.ts'
import { type Flagged, flagLots, refreshForecasts } from '../features/stock-summaries/flagging.ts'

/** Every night: lots into their buckets, one summary for the manager, and forecasts that have grown old. */
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
  return { ...flagged, forecasts: await refreshForecasts(db, today) }
}
