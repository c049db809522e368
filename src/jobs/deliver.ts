import { openHandingOver, type StillAllowed } from '../features/notices/handing-over.ts'
import type { Service } from '../http/service.ts'

/**
 * One round of handing letters over: what is queued goes, until nothing is left, the relay is out of reach, or `stop`.
 * Replicas run their own rounds; rows are claimed, so they share the work. On `stop` the letters on the line are
 * finished and the rest is given back.
 */
export async function deliverLetters(service: Service, stillAllowed: StillAllowed, stop?: AbortSignal): Promise<void> {
  const handingOver = openHandingOver(service, stillAllowed)
  try {
    const counts = await handingOver.round(stop)
    if (Object.values(counts).some((count) => count > 0)) service.log.info({ ...counts }, 'letters handed over')
  } finally {
    await handingOver.close()
  }
}
