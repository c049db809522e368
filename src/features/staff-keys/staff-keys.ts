import { v7 as uuidv7 } from 'uuid'
import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { Refusal } from '../../domain/refusals.ts'
import type { Created } from '../../http/creating.ts'
import { hashOfSecret, keyText, newSecret } from '../../http/guard.ts'
import { type Act, instantOf, type Role } from '../../http/service.ts'

type KeyRow = Awaited<ReturnType<Db['staffKey']['findMany']>>[number]

const shown = (row: KeyRow) => ({
  id: row.id,
  name: row.name,
  role: row.role as Role,
  createdAt: row.createdAt.toISOString(),
  createdBy: row.createdBy,
  expiresAt: row.expiresAt?.toISOString() ?? null,
  revokedAt: row.revokedAt?.toISOString() ?? null,
  revokedBy: row.revokedBy,
})

type NewKey = { name: string; role: Role; expiresOn?: Day | undefined }

/** The key itself stands in this answer and nowhere else: a repetition of the request is answered without it. */
export async function addStaffKey({ tx, who, zone }: Act, input: NewKey): Promise<Created> {
  const id = uuidv7()
  const secret = newSecret()
  const row = await tx.staffKey.create({
    data: {
      id,
      name: input.name,
      role: input.role,
      secretHash: new Uint8Array(hashOfSecret(secret)),
      createdBy: who.name,
      expiresAt: input.expiresOn ? instantOf(input.expiresOn, '00:00', zone) : null,
    },
  })
  return {
    location: `/v1/staff-keys/${id}`,
    body: { ...shown(row), key: keyText(id, secret) },
    stored: { ...shown(row), key: null },
  }
}

export async function listStaffKeys(db: Db, after: readonly string[] | null, limit: number) {
  const rows = await db.staffKey.findMany({
    where: after ? { id: { gt: String(after[0]) } } : {},
    orderBy: { id: 'asc' },
    take: limit + 1,
  })
  return rows.map(shown)
}

export async function getStaffKey(db: Db, id: string) {
  const row = await db.staffKey.findUnique({ where: { id } })
  if (!row) throw new Refusal('not-found', { what: 'staff key', id })
  return shown(row)
}

export async function revokeStaffKey({ tx, who, now }: Act, id: string) {
  const row = await tx.staffKey.findUnique({ where: { id } })
  if (!row) throw new Refusal('not-found', { what: 'staff key', id })
  if (row.revokedAt) return shown(row)
  // two managers revoking each other at once must not leave the house without a key: the rows of all manager keys are locked
  const managers = await tx.$queryRaw<{ id: string }[]>`
    select id from staff_key where role = 'manager' and revoked_at is null and (expires_at is null or expires_at > ${now}) order by id for update`
  if (row.role === 'manager' && managers.every((key) => key.id === id)) throw new Refusal('manager-key-last')
  return shown(await tx.staffKey.update({ where: { id }, data: { revokedAt: now, revokedBy: who.name } }))
}

/** The key from the environment that lets a new house in: taken only while there is no key at all. */
export async function takeFirstManagerKey(db: Db, key: string): Promise<boolean> {
  const [, id, secret] = /^mp_([0-9a-f]{32})_(.+)$/.exec(key) ?? []
  const made = await db.$executeRaw`
    insert into staff_key (id, name, role, secret_hash, created_by)
    select ${id}::text::uuid, 'first manager', 'manager', ${new Uint8Array(hashOfSecret(secret ?? ''))}, 'FIRST_MANAGER_KEY'
    where not exists (select 1 from staff_key) on conflict do nothing`
  return made === 1
}
