import { sealHistory } from '../db/history.ts'
import { carryOutPostponed, keeperOf, postponedErasures } from '../features/persons/erasure.ts'
import { act, type Service, type Signer } from '../http/service.ts'

/** Idempotency keys are kept this long, as the description of the API tells its callers. */
const KEYS_KEPT_HOURS = 24

/**
 * Forgets idempotency keys that are past their time. In small steps, each of which passes over rows somebody is just
 * using, so that no request waits for it.
 */
export async function forgetOldKeys({ database, clock }: Pick<Service, 'database' | 'clock'>): Promise<number> {
  const before = new Date(clock.now().getTime() - KEYS_KEPT_HOURS * 3_600_000)
  let forgotten = 0
  for (;;) {
    const { rowCount } = await database.pool.query(
      `delete from idempotency_key where ctid = any(array(
         select ctid from idempotency_key where created_at < $1 order by created_at limit 1000 for update skip locked))`,
      [before],
    )
    forgotten += rowCount ?? 0
    if ((rowCount ?? 0) < 1000) return forgotten
  }
}

const byItself: Signer = { keyId: null, name: 'housekeeping', role: 'service' }

/**
 * What is tidied by itself, each part safe at any moment and in any number of replicas: old idempotency keys, persons who
 * wait to be forgotten, and the history that is sealed. The head of the chain goes to the log, which is kept elsewhere:
 * a chain that was made anew as a whole would not hold it. A part that fails leaves the others to be done, and one person
 * does not keep another waiting: each is forgotten in a transaction of their own.
 */
export async function tickHousekeeping(service: Service): Promise<void> {
  const { database, clock, log } = service
  let failures = 0
  const part = async <T>(name: string, work: () => Promise<T>): Promise<T | null> => {
    try {
      return await work()
    } catch (err) {
      failures += 1
      log.error({ err, part: name }, 'a part of the housekeeping failed')
      return null
    }
  }
  const keys = await part('keys', () => forgetOldKeys(service))
  const keeper = keeperOf(service)
  let persons = 0
  for (const id of (await part('erasures', () => postponedErasures(database.prisma))) ?? [])
    if (await part(`erasure ${id}`, () => act(service, byItself, (doing) => carryOutPostponed(doing, id, keeper))))
      persons += 1
  const sealed = await part('history', () => sealHistory(database.pool, clock.now()))
  const head = sealed?.head && `${sealed.head.number}:${sealed.head.hash}`
  log.info({ keys, persons, rows: sealed?.rows, head }, 'housekeeping done')
  if (failures > 0) throw new Error(`${failures} parts of the housekeeping failed`)
}
