import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { promiseStanding, type Standing } from '../../domain/tickets/promise.ts'
import { Prisma } from '../../generated/prisma/client.ts'
import type { Act } from '../../http/service.ts'
import { addTaskOnce } from '../tasks/tasks.ts'
import { daysLate, type JobRow, reckonJobs } from './promise.ts'
import type { Loaded } from './snapshot.ts'

const taskOf = (ticketId: string, promisedOn: Day): string => `promise-late/${ticketId}/${promisedOn}`

export type PromisedJob = JobRow & {
  readonly promisedOn: Day
  readonly standing: Standing
  readonly readyOn: Day | null
  readonly daysLate: number | null
  readonly unknown: readonly string[]
}

/** Every watch that was promised and is not ready, with its date as it is reckoned today. */
export async function promisedJobs(db: Db, today: Day): Promise<PromisedJob[]> {
  const { house, jobs } = await reckonJobs(
    db,
    today,
    Prisma.sql`select id from ticket where ended is null and promised_on is not null and step <> 'ready'`,
    ({ promisedOn }) => promisedOn !== null,
  )
  return jobs.flatMap(({ job, reckoned }) =>
    job.promisedOn === null
      ? []
      : [
          {
            ...job,
            promisedOn: job.promisedOn,
            standing: promiseStanding(job.promisedOn, reckoned, today),
            readyOn: reckoned.readyOn,
            daysLate: daysLate(job, reckoned, house),
            unknown: reckoned.unknown,
          },
        ],
  )
}

/** An owner who must be told that a promise breaks is a task of the counter, once for each promise, before its day where it can be. */
export async function remindOfPromises(tx: Db, today: Day): Promise<void> {
  for (const { id, number, promisedOn, standing, readyOn, unknown, toldOn } of await promisedJobs(tx, today)) {
    if (toldOn !== null || (standing !== 'late' && standing !== 'broken')) continue
    const now = readyOn === null ? `no day can be said (not known is: ${unknown.join('; ')})` : `ready on ${readyOn}`
    await addTaskOnce(tx, {
      kind: 'promise-late',
      role: 'counter',
      dedupe: taskOf(id, promisedOn),
      words: `The watch of ticket ${number} was promised for ${promisedOn}; by what is on file now: ${now}. Tell the owner ${standing === 'late' ? 'before that day' : 'today'}, and record the new promise.`,
      dueOn: standing === 'late' ? promisedOn : today,
    })
  }
}

/** The owner was told, the watch is ready after all, or the promise is none any more: nothing is left to do. */
export async function closePromiseTask({ tx, now, who }: Act, { rows, snapshot }: Loaded, how: string): Promise<void> {
  const promisedOn = rows.ticket.promised_on as Day | null
  if (promisedOn === null) return
  await tx.task.updateMany({
    where: { dedupe: taskOf(snapshot.ticket.id, promisedOn), doneAt: null },
    data: { doneAt: now, doneBy: who.name, doneHow: how },
  })
}
