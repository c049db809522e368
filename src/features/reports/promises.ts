import { z } from 'zod'
import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { tellingOrder } from '../../domain/tickets/promise.ts'
import { dayOut, idOut } from '../../http/shapes.ts'
import { promisedJobs } from '../tickets/promise-task.ts'

export const promiseRow = z.object({
  id: idOut,
  number: z.string(),
  watch: z.string(),
  ownerName: z.string(),
  step: z.string(),
  promisedOn: dayOut,
  readyOn: dayOut.nullable().meta({ description: 'reckoned today; null where something is not known' }),
  daysLate: z.number().int().nullable().meta({ description: 'working days past the promise; null where not known' }),
  standing: z.enum(['broken', 'late', 'not-known', 'kept']).meta({
    description: 'broken: its day has passed; late: it will be passed; not-known: no date can be reckoned',
  }),
  toldOn: dayOut
    .nullable()
    .meta({ description: 'the last day since the promise on which the owner was told of a delay' }),
  because: z.string().meta({ description: 'what is not known; empty where a date is reckoned' }),
})

/** Every watch that was promised and is not ready, whom to tell first before the others. */
export async function promisesOn(db: Db, today: Day): Promise<z.output<typeof promiseRow>[]> {
  const jobs = await promisedJobs(db, today)
  const names = await db.$queryRaw<{ id: string; watch: string; ownerName: string }[]>`
    select t.id, concat_ws(' ', w.maker, w.model) as watch, o.name as "ownerName" from ticket t join watch w on w.id = t.watch_id join owner o on o.id = t.owner_id
    where t.id = any(${jobs.map(({ id }) => id)}::uuid[])`
  const named = new Map(names.map((row) => [row.id, row]))
  return jobs
    .map((job) => [tellingOrder(job), job] as const)
    .sort(([a], [b]) => (a < b ? -1 : 1))
    .map(([, { id, number, step, promisedOn, readyOn, daysLate, standing, toldOn, unknown }]) => ({
      id,
      number,
      watch: named.get(id)!.watch,
      ownerName: named.get(id)!.ownerName,
      step,
      promisedOn,
      readyOn,
      daysLate,
      standing,
      toldOn,
      because: unknown.join('; '),
    }))
}
