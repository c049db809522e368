import { type Db, dayFrom } from '../../db/open.ts'
import type { Sql } from '../../db/sql.ts'
import type { Day } from '../../domain/day.ts'
import { Refusal } from '../../domain/refusals.ts'
import type { Act, Role } from '../../http/service.ts'

/** What people have to do: calls, missing settings, addresses that failed. Any feature makes them; here they are listed and closed. */

type Row = NonNullable<Awaited<ReturnType<Db['task']['findUnique']>>>

const shown = (row: Row) => ({
  id: row.id,
  kind: row.kind,
  role: row.role,
  words: row.words,
  ownerId: row.ownerId,
  watchId: row.watchId,
  noticeId: row.noticeId,
  dueOn: dayFrom(row.dueOn),
  madeAt: row.madeAt.toISOString(),
  doneAt: row.doneAt?.toISOString() ?? null,
  doneBy: row.doneBy,
  doneHow: row.doneHow,
})

export async function listTasks(
  db: Db,
  filter: { role?: string | undefined; kind?: string | undefined; watchId?: string | undefined; done: boolean },
  after: readonly string[] | null,
  limit: number,
) {
  const rows = await db.task.findMany({
    where: {
      ...(filter.role && { role: filter.role }),
      ...(filter.kind && { kind: filter.kind }),
      ...(filter.watchId && { watchId: filter.watchId }),
      doneAt: filter.done ? { not: null } : null,
      ...(after && {
        OR: [
          { dueOn: { gt: new Date(`${after[0]}T00:00:00Z`) } },
          { dueOn: new Date(`${after[0]}T00:00:00Z`), id: { gt: String(after[1]) } },
        ],
      }),
    },
    orderBy: [{ dueOn: 'asc' }, { id: 'asc' }],
    take: limit + 1,
  })
  return rows.map(shown)
}

export type NewTask = {
  kind: string
  role: Role
  /** names the one thing to do */
  dedupe: string
  words: string
  dueOn: Day
}

/** A task that is made once: closed by somebody it does not come again, however often the night looks. */
export async function addTaskOnce(tx: Sql, { kind, role, dedupe, words, dueOn }: NewTask): Promise<void> {
  await tx.$executeRaw`
    insert into task (kind, role, dedupe, words, due_on)
    select ${kind}, ${role}, ${dedupe}, ${words}, ${dueOn}::date
    where not exists (select from task where dedupe = ${dedupe})
    on conflict (dedupe) where done_at is null do nothing`
}

/** Done, and how; a task is closed once. One statement, so that of two people who close it the first is on record. */
export async function closeTask({ tx, now, who }: Act, id: string, how: string) {
  const { count } = await tx.task.updateMany({
    where: { id, doneAt: null },
    data: { doneAt: now, doneBy: who.name, doneHow: how },
  })
  const row = await tx.task.findUnique({ where: { id } })
  if (!row) throw new Refusal('not-found', { what: 'task', id })
  if (count === 0) throw new Refusal('task-done', { by: row.doneBy })
  return shown(row)
}
