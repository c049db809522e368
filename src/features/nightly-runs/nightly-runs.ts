import { type Database, type Db, dateOf, dayFrom } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { Refusal } from '../../domain/refusals.ts'
import type { Service, Signer } from '../../http/service.ts'
import { type RehearsedNight, rehearse } from '../notices/decide-night.ts'
import { JOB, type NightCounts, tickNightly } from './run.ts'

type Row = Awaited<ReturnType<Db['nightlyRun']['findMany']>>[number]

const shown = (row: Row) => ({
  date: dayFrom(row.localDate),
  state: row.state as 'running' | 'finished' | 'missed',
  by: row.byWhom,
  attempt: row.attempt,
  startedAt: row.startedAt.toISOString(),
  finishedAt: row.finishedAt?.toISOString() ?? null,
  seconds: row.finishedAt ? Math.round((row.finishedAt.getTime() - row.startedAt.getTime()) / 10) / 100 : null,
  counts: row.counts as Partial<NightCounts>,
})

export async function listRuns(db: Db, before: Day | null, limit: number) {
  const rows = await db.nightlyRun.findMany({
    where: { job: JOB, ...(before && { localDate: { lt: dateOf(before) } }) },
    orderBy: { localDate: 'desc' },
    take: limit + 1,
  })
  return rows.map(shown)
}

export async function getRun(db: Db, date: Day) {
  const row = await db.nightlyRun.findUnique({
    where: { job_localDate: { job: JOB, localDate: dateOf(date) } },
  })
  if (!row) throw new Refusal('not-found', { what: 'nightly run of', id: date })
  return shown(row)
}

/** What a night held back, item by item, and every reason why. */
export async function listWithheld(db: Db, date: Day, after: string | null, limit: number) {
  await getRun(db, date)
  const rows = await db.withheldItem.findMany({
    where: { runOn: dateOf(date), ...(after && { id: { gt: after } }) },
    orderBy: { id: 'asc' },
    take: limit + 1,
  })
  return rows.map((row) => ({
    id: row.id,
    ownerId: row.ownerId,
    watchId: row.watchId,
    kind: row.kind,
    cycle: row.cycle,
    stage: row.stage,
    reasons: row.reasons,
  }))
}

/** The nights to come as they would be if nothing more were told, in a transaction that cannot write. */
export function rehearseNights(database: Database, from: Day, nights: number): Promise<RehearsedNight[]> {
  return database.prisma.$transaction(
    async (tx) => {
      await tx.$executeRaw`set transaction read only`
      return rehearse(tx, from, nights)
    },
    { timeout: 300_000, isolationLevel: 'RepeatableRead' },
  )
}

// somebody waits for the answer: so long it helps with dates that are still to be reckoned anew, then it says so
const HELPS_MS = 10_000

/** A person asks for the run that is due, without waiting for the clock. */
export async function runNow(service: Service, who: Signer) {
  const first = { stop: AbortSignal.timeout(HELPS_MS), patienceMs: HELPS_MS }
  const ran = await tickNightly(service, { by: who.name, first })
  if (ran !== null) return getRun(service.database.prisma, ran)
  const last = await service.database.prisma.nightlyRun.findFirst({
    where: { job: JOB },
    orderBy: { localDate: 'desc' },
  })
  throw new Refusal('nightly-not-due', {
    running: last?.state === 'running',
    last: last ? dayFrom(last.localDate) : null,
  })
}
