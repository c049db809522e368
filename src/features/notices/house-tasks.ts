import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import type { Role } from '../../http/service.ts'

/** Something a person has to do about a letter. `dedupe` names the one thing: while such a task is open there is no second. */
export type LetterTask = {
  kind:
    | 'bad-address'
    | 'mail-returned'
    | 'letter-refused'
    | 'letter-in-doubt'
    | 'proposed-day'
    | 'owner-answer'
    | 'recall-tell'
    | 'recall-change'
    | 'recall-letters'
    | 'ready-tell'
  role: Role
  dedupe: string
  words: string
  ownerId?: string | null
  watchId?: string | null
  noticeId?: string | null
}

export async function addLetterTask(tx: Db, today: Day, task: LetterTask): Promise<void> {
  await tx.$executeRaw`
    insert into task (kind, role, dedupe, owner_id, watch_id, notice_id, words, due_on)
    values (${task.kind}, ${task.role}, ${task.dedupe}, ${task.ownerId ?? null}::uuid, ${task.watchId ?? null}::uuid,
      ${task.noticeId ?? null}::uuid, ${task.words}, ${today}::date)
    on conflict (dedupe) where done_at is null do nothing`
}
