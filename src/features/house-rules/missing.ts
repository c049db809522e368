import type { FastifyInstance } from 'fastify'
import type { Sql } from '../../db/sql.ts'
import type { Day } from '../../domain/day.ts'
import { type LocalSettingKey, localSettingTable } from '../../domain/local-settings.ts'
import { Refusal } from '../../domain/refusals.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { isLocalSetting } from './house-rules.ts'

/** One task of the manager for each local setting that is missing; while it is open there is no second, and setting it closes it. */
export async function askForSetting(db: Sql, key: LocalSettingKey, today: Day): Promise<void> {
  const words = `Make the local setting ${key}: ${localSettingTable[key].words}. Without it, what leans on it stands still.`
  await db.$executeRaw`
    insert into task (kind, role, dedupe, words, due_on)
    values ('local-setting-missing', 'manager', ${`setting:${key}`}, ${words}, ${today}::date)
    on conflict (dedupe) where done_at is null do nothing`
}

/** A refusal for want of a local setting leaves nothing behind but the task to make it, outside the transaction it ended. */
export function askForMissingSettings(app: FastifyInstance, service: Service): void {
  app.addHook('onError', async (request, _reply, error) => {
    if (!(error instanceof Refusal)) return
    const { setting } = error.facts
    if (typeof setting !== 'string' || !isLocalSetting(setting)) return
    await askForSetting(service.database.prisma, setting, todayAt(service)).catch((fault: unknown) =>
      request.log.error({ err: fault }, 'the task for a missing setting could not be made'),
    )
  })
}
