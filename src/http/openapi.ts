import swagger from '@fastify/swagger'
import swaggerUi from '@fastify/swagger-ui'
import type { FastifyInstance } from 'fastify'
import { jsonSchemaTransform, jsonSchemaTransformObject } from 'fastify-type-provider-zod'
import { z } from 'zod'
import { problemSchema } from './problems.ts'

const formMedia: Record<string, string> = { csv: 'text/csv', svg: 'image/svg+xml', pdf: 'application/pdf' }

const description = `What a watch service centre works on: who brought which watch, what is inside, what is due and why, the letters that tell the owner, the stock that ages.

Every fault is a problem as of RFC 9457. A POST that creates wants an \`Idempotency-Key\`, a quoted string; keys are kept for 24 hours. A PATCH wants \`If-Match\`. Lists come in pages: follow \`Link: <…>; rel="next"\`.`

export async function registerOpenapi(app: FastifyInstance): Promise<void> {
  await app.register(swagger, {
    openapi: {
      openapi: '3.1.0',
      info: { title: 'Mainplate', version: '1', description },
      components: {
        securitySchemes: {
          staffKey: { type: 'http', scheme: 'bearer', description: 'A staff key, shown once when a manager makes it.' },
        },
        schemas: { Problem: z.toJSONSchema(problemSchema, { io: 'output' }) as never },
      },
    },
    transform: (input) => {
      const { schema, url } = jsonSchemaTransform(input as never) as { schema: Record<string, unknown>; url: string }
      const roles = input.route.config?.roles
      const keyed = Array.isArray(roles)
      const problem = {
        description: 'A problem: what is wrong and what to do.',
        content: { 'application/problem+json': { schema: { $ref: '#/components/schemas/Problem' } } },
      }
      // a route that takes ?format= answers in each of them
      const formats = (schema.querystring as { properties?: { format?: { enum?: string[] } } } | undefined)?.properties
        ?.format?.enum
      const response = { ...(schema.response as Record<string, object>) }
      if (formats)
        response[200] = {
          description: 'In the form that was asked for',
          content: Object.fromEntries(
            formats.map((format) =>
              format === 'json'
                ? ['application/json', { schema: response[200] }]
                : [formMedia[format] ?? format, { schema: { type: 'string' } }],
            ),
          ),
        }
      return {
        url,
        schema: {
          ...schema,
          response: { ...response, '4XX': problem },
          security: keyed ? [{ staffKey: [] }] : [],
          'x-roles': roles,
        },
      }
    },
    transformObject: jsonSchemaTransformObject,
  })
  await app.register(swaggerUi, { routePrefix: '/docs', staticCSP: true, logLevel: 'silent' })
  app.get('/openapi.json', { config: { roles: 'public' }, schema: { hide: true } }, () => app.swagger())
}
