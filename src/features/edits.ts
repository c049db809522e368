import { dateOf } from '../db/open.ts'
import type { Prisma } from '../generated/prisma/client.ts'
import type { Act } from '../http/service.ts'

/** Numbers of the database that are wider than those of JSON are counters far below where the difference shows. */
const plain = (_: string, value: unknown) => (typeof value === 'bigint' ? Number(value) : value)

/** Keeps what a record said before it is edited: old values, version, signer, day and reason. */
export async function keepBefore(
  { tx, today, who }: Act,
  record: 'owner' | 'watch' | 'calibre' | 'contact',
  before: { id: string; version: number },
  reason?: string,
): Promise<void> {
  await tx.edit.create({
    data: {
      record,
      recordId: before.id,
      version: before.version,
      before: JSON.parse(JSON.stringify(before, plain)) as Prisma.InputJsonValue,
      reason: reason ?? null,
      editedOn: dateOf(today),
      recordedBy: who.name,
    },
  })
}
