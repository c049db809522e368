import { type ReReckoningOptions, runReReckonings } from '../features/re-reckonings/run.ts'
import type { Service } from '../http/service.ts'

/**
 * Changed house rules and guidance whose day has come: reckons anew the watches they touch. True where nothing is left,
 * neither here nor with another replica: only then do letters rest on the rules in force.
 */
export async function tickReReckonings(service: Service, options: ReReckoningOptions = {}): Promise<boolean> {
  const { finished, open } = await runReReckonings(service, options)
  if (finished > 0) service.log.info({ finished, open }, 're-reckoned after changed rules')
  return !open
}
