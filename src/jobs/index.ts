import { type ScheduledTask, schedule } from 'node-cron'
import { Refusal } from '../domain/refusals.ts'
import { stillAllowed } from '../features/notices/decide-again.ts'
import type { Service } from '../http/service.ts'
import { deliverLetters } from './deliver.ts'
import { tickDeliveryReports } from './delivery-reports.ts'
import { tickFlagLots } from './flag-lots.ts'
import { tickHousekeeping } from './housekeeping.ts'
import { tickNightly } from './nightly.ts'
import { tickReReckonings } from './re-reckon.ts'

/** Something the service does by itself. `run` is safe at any moment, in any number of replicas: the database decides. */
export type Job = {
  name: string
  /** cron words in UTC, which knows no change of clocks */
  every: string
  /** `stop` asks what takes long to come to an end */
  run: (service: Service, stop: AbortSignal) => Promise<unknown>
}

/** The list of jobs. The clock only ticks; a tick that is late or missed is made good by the next one. */
export const jobs: readonly Job[] = [
  { name: 're-reckon', every: '* * * * *', run: (service, stop) => tickReReckonings(service, { stop }) },
  {
    name: 'nightly',
    every: '*/10 * * * *',
    run: (service, stop) =>
      tickNightly(service, { first: { stop } }).catch((error) => {
        if (!(error instanceof Refusal && error.code === 'night-waits')) throw error
        service.log.info('the nightly run waits for dates that are being reckoned anew; its next tick asks again')
      }),
  },
  { name: 'flag-lots', every: '*/10 * * * *', run: tickFlagLots },
  { name: 'deliver', every: '* * * * *', run: (service, stop) => deliverLetters(service, stillAllowed, stop) },
  { name: 'delivery-reports', every: '* * * * *', run: tickDeliveryReports },
  { name: 'housekeeping', every: '17 * * * *', run: tickHousekeeping },
]

export type Jobs = { stop: () => Promise<void> }

/** Ticks every job once now and then by its schedule, never one job twice at a time; `stop` waits for what runs. */
export function startJobs(service: Service): Jobs {
  const running = new Map<string, Promise<unknown>>()
  const stopping = new AbortController()
  const tick = (job: Job): Promise<unknown> => {
    const already = running.get(job.name)
    if (already) return already
    const work = job
      .run(service, stopping.signal)
      .catch((err) => service.log.error({ err, job: job.name }, 'a job failed; its next tick tries again'))
      .finally(() => running.delete(job.name))
    running.set(job.name, work)
    return work
  }
  const tasks: ScheduledTask[] = jobs.map((job) =>
    schedule(job.every, () => tick(job), { name: job.name, timezone: 'UTC', noOverlap: true }),
  )
  for (const job of jobs) void tick(job)
  return {
    stop: async () => {
      stopping.abort()
      await Promise.all(tasks.map((task) => task.destroy()))
      await Promise.all(running.values())
    },
  }
}
