import { Gauge, type Registry } from 'prom-client'
import { type Service, todayAt } from '../../http/service.ts'

type Reading = { metric: string; label: string; value: number | null }

/** What the manager's IT watches: one statement, over partial indexes and short tables, asked at most every ten seconds. */
const statement = `
  select 'nightly_age_seconds' as metric, job as label, extract(epoch from now() - max(finished_at))::float8 as value
    from nightly_run where state = 'finished' group by job
${['queued', 'held', 'claimed', 'handing-over', 'in-doubt', 'failed']
  // one by one, since each has its own partial index
  .map((state) => `  union all select 'notices', '${state}', count(*) from notice where state = '${state}'`)
  .join('\n')}
  union all select 'oldest_queued_notice_seconds', '', coalesce(extract(epoch from now() - min(made_at)), 0) from notice where state = 'queued'
  union all select 'tickets_open', '', count(*) from ticket where ended is null
  union all select 'tickets_past_their_date', next_actor, count(*) from ticket where ended is null and next_by < $1::date group by next_actor
  union all select 'lots_on_shelf', bucket, count(*) from stock_lot where shelf > 0 and bucket is not null group by bucket
  union all select 'lot_pieces', bucket, sum(shelf) from stock_lot where shelf > 0 and bucket is not null group by bucket
  union all select 'tasks_past_their_date', role, count(*) from task where done_at is null and due_on < $1::date group by role
  union all select 'erasures_waiting', '', count(*) from erasure where state = 'postponed'
  union all select 'erasures_past_their_answer', '', count(*) from erasure where state = 'postponed' and answer_by < $1::date
  union all select 'history_sealed_age_seconds', '', extract(epoch from now() - max(sealed_at)) from history_batch`

const told: Record<string, { help: string; label?: string }> = {
  nightly_age_seconds: { help: 'Since the last finished run of a nightly job', label: 'job' },
  notices: { help: 'Notices that are not at their end, and failed ones', label: 'state' },
  oldest_queued_notice_seconds: { help: 'Age of the oldest notice that waits to be handed over' },
  tickets_open: { help: 'Tickets that are open' },
  tickets_past_their_date: { help: 'Open tickets whose next step is overdue, by who is to take it', label: 'actor' },
  lots_on_shelf: { help: 'Lots on the shelf by how near their last day of fitting is', label: 'bucket' },
  lot_pieces: { help: 'Pieces on the shelf by how near their last day of fitting is', label: 'bucket' },
  tasks_past_their_date: { help: 'Open tasks that are overdue', label: 'role' },
  erasures_waiting: { help: 'Persons who asked to be forgotten and wait for something open' },
  erasures_past_their_answer: { help: 'Of these, past the month in which they are to be answered' },
  history_sealed_age_seconds: { help: 'Since history was last sealed into the chain' },
}
const KEPT_MS = 10_000

export function registerGauges(registry: Registry, service: Service): void {
  let kept: { at: number; readings: Promise<Reading[]> } | null = null
  const readings = (): Promise<Reading[]> => {
    const at = performance.now()
    if (!kept || at - kept.at > KEPT_MS) {
      const asked = service.database.pool.query<Reading>(statement, [todayAt(service)])
      // a database that does not answer shows in readyz; the other metrics still do
      kept = { at, readings: asked.then(({ rows }) => rows).catch(() => []) }
    }
    return kept.readings
  }
  for (const [name, { help, label }] of Object.entries(told))
    new Gauge({
      name,
      help,
      labelNames: label ? [label] : [],
      registers: [registry],
      async collect() {
        this.reset()
        for (const reading of await readings()) {
          if (reading.metric !== name || reading.value === null) continue
          if (label) this.set({ [label]: reading.label }, Number(reading.value))
          else this.set(Number(reading.value))
        }
      },
    })
}
