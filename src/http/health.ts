import type { FastifyInstance } from 'fastify'
import { collectDefaultMetrics, Gauge, Histogram, Registry } from 'prom-client'
import { z } from 'zod'
import { Refusal } from '../domain/refusals.ts'
import type { Service } from './service.ts'

/** Liveness says the process turns; readiness asks the database. Metrics are for the manager's IT. */
export function registerHealth(app: FastifyInstance, service: Service): Registry {
  const registry = new Registry()
  collectDefaultMetrics({ register: registry })
  const duration = new Histogram({
    name: 'http_request_duration_seconds',
    help: 'Time to answer, by route, method and status',
    labelNames: ['route', 'method', 'status'],
    buckets: [0.005, 0.01, 0.02, 0.05, 0.1, 0.25, 0.5, 1, 5],
    registers: [registry],
  })
  new Gauge({
    name: 'database_connections',
    help: 'Connections of the pool by use',
    labelNames: ['use'],
    registers: [registry],
    collect() {
      const { pool } = service.database
      this.set({ use: 'idle' }, pool.idleCount)
      this.set({ use: 'busy' }, pool.totalCount - pool.idleCount)
      this.set({ use: 'waited-for' }, pool.waitingCount)
    },
  })
  app.addHook('onResponse', async (request, reply) => {
    const route = request.routeOptions.url ?? 'none'
    duration.observe({ route, method: request.method, status: String(reply.statusCode) }, reply.elapsedTime / 1000)
  })

  let closing = false
  app.addHook('preClose', async () => {
    closing = true
  })
  const answer = z.object({ status: z.literal('ok') })
  const schema = (summary: string) => ({ tags: ['service'], summary, response: { 200: answer } })
  app.get('/livez', { config: { roles: 'public' }, schema: schema('Is the process alive') }, () => ({
    status: 'ok' as const,
  }))
  app.get(
    '/readyz',
    { config: { roles: 'public' }, schema: schema('Can it answer: the database is asked') },
    async () => {
      if (closing) throw new Refusal('service-busy')
      await service.database.pool.query('select 1').catch(() => {
        throw new Refusal('service-busy')
      })
      return { status: 'ok' as const }
    },
  )
  app.get(
    '/metrics',
    {
      config: { roles: 'public' },
      schema: {
        tags: ['service'],
        summary: 'Metrics in the Prometheus text format',
        response: { 200: { description: 'Metrics', content: { 'text/plain': { schema: z.string() } } } },
      },
    },
    async (_request, reply) => reply.type(registry.contentType).send(await registry.metrics()),
  )
  return registry
}
