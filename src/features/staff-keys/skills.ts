import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'

export type SkillRow = {
  id: string
  staffKeyId: string
  name: string
  role: string
  skill: string
  level: string
  fromDay: string
  counts: boolean
  recordedAt: Date
  by: string
}

export type SkillFilter = {
  staffKeyId?: string | undefined
  skill?: string | undefined
  level?: string | undefined
  counts?: boolean | undefined
}

/**
 * What was said of who may do or check what, the oldest word first. Of the words on one skill of one person the newest
 * of a day that has come counts; a revoked or expired key may do nothing.
 */
export async function listSkills(
  db: Db,
  filter: SkillFilter,
  at: { today: Day; now: Date },
  after: string | null,
  limit: number,
) {
  const rows = await db.$queryRaw<SkillRow[]>`
    select * from (
      select s.id, s.staff_key_id as "staffKeyId", k.name, k.role, s.skill, s.level, s.from_day::text as "fromDay", s.recorded_at as "recordedAt", s.recorded_by as by,
        s.from_day <= ${at.today}::date and (k.revoked_at is null or k.revoked_at > ${at.now}) and (k.expires_at is null or k.expires_at > ${at.now})
          and not exists (select from staff_skill l where l.staff_key_id = s.staff_key_id and l.skill = s.skill and (l.from_day, l.id) > (s.from_day, s.id)
            and l.from_day <= ${at.today}::date) as counts
      from staff_skill s join staff_key k on k.id = s.staff_key_id
      where (${filter.staffKeyId ?? null}::uuid is null or s.staff_key_id = ${filter.staffKeyId ?? null}::uuid)
        and (${filter.skill ?? null}::text is null or s.skill = ${filter.skill ?? null})
        and (${filter.level ?? null}::text is null or s.level = ${filter.level ?? null})
        and (${after}::uuid is null or s.id > ${after}::uuid)) x
    where ${filter.counts ?? null}::boolean is null or counts = ${filter.counts ?? null}::boolean
    order by id limit ${limit + 1}`
  return rows.map((row) => ({ ...row, recordedAt: row.recordedAt.toISOString() }))
}
