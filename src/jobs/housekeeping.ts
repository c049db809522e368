import type { Service } from '../http/service.ts'

/** Idempotency keys are kept this long, as the description of the API tells its callers. */
export const KEYS_KEPT_HOURS = 24

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
