import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import type { Routes } from '../../http/routes.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { day, dayOut, idOut, instantOut, line } from '../../http/shapes.ts'
import { changeHouseRule, setLocalSetting } from './change.ts'
import { listHouseRules, listLocalSettings } from './house-rules.ts'

const ruleValue = z
  .union([z.number(), z.record(z.string(), z.unknown())])
  .meta({ description: 'a whole number; where the unit is "table", an object as its "shape" says' })
const ruleOut = z.object({
  key: z.string(),
  value: ruleValue,
  default: ruleValue,
  min: z.number().nullable(),
  max: z.number().nullable(),
  unit: z.string(),
  words: z.string(),
  shape: z.string().optional(),
  source: z.string().optional(),
  values: z.array(
    z.object({
      id: idOut,
      value: ruleValue,
      fromDay: dayOut,
      reason: z.string(),
      recordedAt: instantOut,
      recordedBy: z.string(),
    }),
  ),
})

/** What a change sets going; few watches are reckoned at once, many by the job: GET /v1/re-reckonings/{id} tells how far. */
export const startedOut = z.object({ id: idOut, fromDay: dayOut, watchesAtOnce: z.number().int().nullable() })

export function houseRuleRoutes(app: Routes, service: Service): void {
  const tags = ['house rules']
  app.get(
    '/v1/house-rules',
    {
      config: { roles: ['counter', 'bench', 'stock', 'manager'] as const },
      schema: {
        tags,
        summary: 'Every number and table the centre may change: value, default, bounds, unit, and its dated values',
        querystring: z.strictObject({ on: day.optional() }),
        response: { 200: z.object({ items: z.array(ruleOut) }) },
      },
    },
    async (request) => ({ items: await listHouseRules(service.database.prisma, request.query.on ?? todayAt(service)) }),
  )
  app.post(
    '/v1/house-rules',
    {
      config: { roles: ['manager'] as const },
      schema: {
        tags,
        summary: 'A new value from a day on; the past is not rewritten',
        body: z.strictObject({ key: line(60), value: ruleValue, fromDay: day, reason: line(300) }),
        response: {
          201: z.object({
            id: idOut,
            key: z.string(),
            value: ruleValue,
            fromDay: dayOut,
            reason: z.string(),
            recordedBy: z.string(),
            reReckoning: startedOut.nullable().meta({ description: 'null where the number touches no watch' }),
          }),
        },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => changeHouseRule(doing, request.body)),
  )

  const settingValue = z.unknown().meta({ description: 'as the "shape" of the setting says' })
  app.get(
    '/v1/local-settings',
    {
      config: { roles: ['counter', 'bench', 'stock', 'manager'] as const },
      schema: {
        tags,
        summary:
          'What only the place can say: law, cover, tax, hours; "stopsHere" marks what is missing and stops the work',
        querystring: z.strictObject({ on: day.optional() }),
        response: {
          200: z.object({
            items: z.array(
              z.object({
                key: z.string(),
                value: settingValue,
                words: z.string(),
                shape: z.string(),
                missing: z.enum(['stop', 'default']),
                stopsHere: z.boolean(),
                values: z.array(
                  z.object({ value: settingValue, fromDay: dayOut, reason: z.string(), recordedBy: z.string() }),
                ),
              }),
            ),
          }),
        },
      },
    },
    async (request) => ({
      items: await listLocalSettings(service.database.prisma, request.query.on ?? todayAt(service)),
    }),
  )
  app.post(
    '/v1/local-settings',
    {
      config: { roles: ['manager'] as const },
      schema: {
        tags,
        summary: 'Say what only the place can say, from a day on; the past keeps what it had',
        body: z.strictObject({ key: line(60), value: settingValue, fromDay: day, reason: line(300) }),
        response: {
          201: z.object({
            id: idOut,
            key: z.string(),
            value: settingValue,
            fromDay: dayOut,
            reason: z.string(),
            recordedBy: z.string(),
          }),
        },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        setLocalSetting(doing, { ...request.body, value: request.body.value ?? null }),
      ),
  )
}
