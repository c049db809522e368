import { createHash, randomBytes, timingSafeEqual } from 'node:crypto'
import type { FastifyInstance, FastifyRequest } from 'fastify'
import { Refusal } from '../domain/refusals.ts'
import type { Role, Service, Signer } from './service.ts'

/**
 * Staff keys: `mp_<id>_<secret>`, 32 random bytes, stored as SHA-256 (a fast hash is enough for a secret that cannot be
 * guessed), shown once. A key is looked up at every request, so that a revoked one is refused at once.
 */
const SHAPE = /^Bearer mp_([0-9a-f]{32})_([A-Za-z0-9_-]{32,128})$/

export const hashOfSecret = (secret: string): Buffer => createHash('sha256').update(secret).digest()
export const newSecret = (): string => randomBytes(32).toString('base64url')
export const keyText = (id: string, secret: string): string => `mp_${id.replaceAll('-', '')}_${secret}`

const FAILURES = 20
const WINDOW_MS = 60_000

/** Failed keys per address, apart from the general limit: guessing is slowed down, work is not. */
function failureCounter() {
  const failures = new Map<string, { count: number; until: number }>()
  return {
    blockedFor(address: string, now: number): number {
      const entry = failures.get(address)
      return entry && entry.until > now && entry.count >= FAILURES ? Math.ceil((entry.until - now) / 1000) : 0
    },
    count(address: string, now: number): void {
      const entry = failures.get(address)
      if (entry && entry.until > now) entry.count += 1
      else failures.set(address, { count: 1, until: now + WINDOW_MS })
      if (failures.size > 10_000) for (const [key, { until }] of failures) if (until <= now) failures.delete(key)
    },
  }
}

type KeyRow = { id: string; name: string; role: Role; secret_hash: Buffer; ended: boolean }

export function registerGuard(app: FastifyInstance, service: Service): void {
  const failures = failureCounter()

  async function signer(request: FastifyRequest): Promise<Signer> {
    const header = request.headers.authorization
    if (header === undefined) throw new Refusal('key-missing')
    const now = service.clock.now().getTime()
    const parts = SHAPE.exec(header)
    const { rows } = parts
      ? await service.database.pool.query<KeyRow>({
          name: 'staff-key',
          text: `select id, name, role, secret_hash, revoked_at is not null or coalesce(expires_at <= $2, false) as ended from staff_key where id = $1::uuid`,
          values: [parts[1], service.clock.now()],
        })
      : { rows: [] }
    const row = rows[0]
    const given = hashOfSecret(parts?.[2] ?? '')
    if (!row || !timingSafeEqual(row.secret_hash, given) || row.ended) {
      // a good key passes from any address: a whole house shares one, and must not be locked out by one broken client
      const wait = failures.blockedFor(request.ip, now)
      failures.count(request.ip, now)
      throw wait > 0 ? new Refusal('too-many-requests', { seconds: wait }) : new Refusal('key-refused')
    }
    return { keyId: row.id, name: row.name, role: row.role }
  }

  app.decorateRequest('signer', undefined)
  app.addHook('onRoute', (route) => {
    // the pages that show the API come from a library that knows no roles
    if (route.url.startsWith('/docs')) route.config = { ...route.config, roles: 'public' }
    if (route.config?.roles === undefined)
      throw new Error(`the route ${route.method} ${route.url} does not state its roles`)
  })
  app.addHook('onRequest', async (request) => {
    const allowed = request.routeOptions.config.roles
    if (request.is404 || allowed === undefined || allowed === 'public' || allowed === 'owner-link') return
    const who = await signer(request)
    if (!allowed.includes(who.role as Role)) throw new Refusal('role-refused', { roles: [...allowed], role: who.role })
    request.signer = who
  })
}
