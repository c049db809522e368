import type { HandingOver } from '../features/notices/handing-over.ts'
import type { Service } from '../http/service.ts'

/**
 * The hand-over of letters as a job: a round when it is told, never two at once in one process. Replicas run their own;
 * rows are claimed, so they share the work. `stop` lets what is on the line be finished and gives the rest back.
 */
export function deliverJob(service: Service, handingOver: HandingOver) {
  const stopping = new AbortController()
  let running: Promise<void> | undefined

  async function once(): Promise<void> {
    const counts = await handingOver.round(stopping.signal)
    if (Object.values(counts).some((count) => count > 0)) service.log.info({ ...counts }, 'letters handed over')
  }

  return {
    name: 'deliver',
    run(): Promise<void> {
      if (stopping.signal.aborted) return Promise.resolve()
      running ??= once().finally(() => {
        running = undefined
      })
      return running
    },
    async stop(): Promise<void> {
      stopping.abort()
      await running?.catch(() => {})
      await handingOver.close()
    },
  }
}
