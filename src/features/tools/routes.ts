import { z } from 'zod'
import { type LimitName, limitBounds } from '../../domain/readings/limits.ts'
import { type ToolKind, toolKinds } from '../../domain/readings/tools.ts'
import { createOnce } from '../../http/creating.ts'
import type { Routes } from '../../http/routes.ts'
import { act, type Service, signerOf, todayAt } from '../../http/service.ts'
import { byId, day, dayOut, id, idOut, line } from '../../http/shapes.ts'
import { workedOut } from './computed.ts'
import {
  addBench,
  addCertificate,
  addCheck,
  addSkill,
  addTolerance,
  addTool,
  blockTool,
  doubtfulResults,
  getTool,
  listBenches,
  listTools,
} from './tools.ts'

const toolKind = z.enum(toolKinds as [ToolKind, ...ToolKind[]])
const skill = z.enum([
  'cells-and-seals',
  'quartz',
  'three-hand',
  'chronograph',
  'complication',
  'vintage',
  'case',
  'high-hazard',
  'counter',
  'final-check',
])
const toolOut = z.object({
  id: idOut,
  kind: z.string(),
  serial: z.string(),
  name: z.string(),
  months: z.number().int(),
  blockedWhy: z.string().nullable(),
  validUntil: dayOut.nullable(),
  inDate: z.boolean(),
  lastCheck: z.object({ on: dayOut, value: z.string(), passed: z.boolean(), by: z.string() }).nullable(),
  certificates: z.array(
    z.object({
      id: idOut,
      on: dayOut,
      asFound: z.string(),
      asLeft: z.string(),
      months: z.number().int(),
      byWhom: z.string(),
    }),
  ),
  doubtful: z.array(z.object({ from: dayOut.nullable(), to: dayOut })),
})
const resultOut = z.object({
  recordId: idOut,
  ticketId: idOut,
  number: z.string(),
  watchId: idOut,
  ownerId: idOut,
  on: dayOut,
  kind: z.string(),
  inHouse: z.boolean(),
  ratedBar: z.number().nullable(),
})
const limit = (name: LimitName) =>
  z
    .number()
    .min(limitBounds[name].min)
    .max(limitBounds[name].max)
    .nullable()
    .optional()
    .meta({ description: `${limitBounds[name].unit}, from ${limitBounds[name].min} to ${limitBounds[name].max}` })

export function toolRoutes(app: Routes, service: Service): void {
  const tags = ['tools and settings']
  const everybody = { roles: ['counter', 'bench', 'stock', 'manager'] as const }
  const manager = { roles: ['manager'] as const }
  const { prisma } = service.database

  app.post(
    '/v1/tools',
    {
      config: manager,
      schema: {
        tags,
        summary: 'Enter a tool whose results open gates',
        body: z.strictObject({
          kind: toolKind,
          serial: line(60),
          name: line(80),
          months: z
            .number()
            .int()
            .min(1)
            .max(240)
            .optional()
            .meta({ description: 'from one certificate to the next; left out, those of its kind by the house table' }),
        }),
        response: { 201: toolOut },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => addTool(doing, request.body)),
  )
  app.get(
    '/v1/tools',
    {
      config: everybody,
      schema: {
        tags,
        summary: 'Tools, in calibration until when',
        response: { 200: z.object({ items: z.array(toolOut) }) },
      },
    },
    async () => ({
      items: await listTools(prisma, todayAt(service)),
    }),
  )
  app.get(
    '/v1/tools/:id',
    {
      config: everybody,
      schema: { tags, summary: 'A tool with its certificates', params: byId, response: { 200: toolOut } },
    },
    (request) => getTool(prisma, request.params.id, todayAt(service)),
  )
  app.post(
    '/v1/tools/:id/certificates',
    {
      config: manager,
      schema: {
        tags,
        summary:
          'Enter a certificate; one found out of tolerance answers with every doubtful result since the last good one',
        params: byId,
        body: z.strictObject({
          on: day,
          asFound: z.enum(['in-tolerance', 'out-of-tolerance', 'not-stated']),
          asLeft: z.enum(['in-tolerance', 'out-of-tolerance']),
          months: z.number().int().min(1).max(240).optional(),
          byWhom: line(120),
        }),
        response: { 201: z.object({ id: idOut, tool: toolOut, doubtfulResults: z.array(resultOut) }) },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => addCertificate(doing, request.params.id, request.body)),
  )
  app.post(
    '/v1/tools/:id/daily-checks',
    {
      config: { roles: ['bench', 'manager'] },
      schema: {
        tags,
        summary: 'Record the daily check of a tool; from a failed one to the next that passed its results open no gate',
        params: byId,
        body: z.strictObject({
          value: line(80).meta({ description: 'what it showed, with its unit' }),
          passed: z.boolean(),
        }),
        response: { 201: z.object({ id: idOut, tool: toolOut }) },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => addCheck(doing, request.params.id, request.body)),
  )
  app.get(
    '/v1/tools/:id/doubtful-results',
    {
      config: manager,
      schema: {
        tags,
        summary: 'The look-back: results in doubt, watches still in the house first',
        params: byId,
        response: { 200: z.object({ items: z.array(resultOut) }) },
      },
    },
    async (request) => ({ items: await doubtfulResults(prisma, request.params.id, todayAt(service)) }),
  )
  app.post(
    '/v1/tools/:id/block',
    {
      config: everybody,
      schema: {
        tags,
        summary: 'Block a tool: its results open no gate',
        params: byId,
        body: z.strictObject({ why: line(200) }),
        response: { 200: toolOut },
      },
    },
    (request) => act(service, signerOf(request), (doing) => blockTool(doing, request.params.id, request.body.why)),
  )
  app.post(
    '/v1/tools/:id/release',
    { config: manager, schema: { tags, summary: 'Release a blocked tool', params: byId, response: { 200: toolOut } } },
    (request) => act(service, signerOf(request), (doing) => blockTool(doing, request.params.id, null)),
  )
  app.post(
    '/v1/benches',
    {
      config: manager,
      schema: {
        tags,
        summary: 'Enter a bench with its skills',
        body: z.strictObject({ name: line(60), skills: z.array(skill).max(10) }),
        response: { 201: z.object({ id: idOut, name: z.string(), skills: z.array(z.string()) }) },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => addBench(doing, request.body)),
  )
  app.get(
    '/v1/benches',
    {
      config: everybody,
      schema: {
        tags,
        summary: 'Benches and their skills',
        response: {
          200: z.object({ items: z.array(z.object({ id: idOut, name: z.string(), skills: z.array(z.string()) })) }),
        },
      },
    },
    async () => ({ items: await listBenches(prisma) }),
  )
  app.post(
    '/v1/staff-skills',
    {
      config: manager,
      schema: {
        tags,
        summary: 'Say what somebody may do, may do under eye, or may check; the latest word counts',
        body: z.strictObject({
          staffKeyId: id,
          skill,
          level: z.enum(['may-do', 'under-eye', 'may-check', 'none']),
          fromDay: day.optional(),
        }),
        response: {
          201: z.object({ id: idOut, staffKeyId: idOut, skill: z.string(), level: z.string(), fromDay: dayOut }),
        },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => addSkill(doing, request.body)),
  )
  app.post(
    '/v1/calibres/:id/tolerances',
    {
      config: { roles: ['bench', 'manager'] },
      schema: {
        tags,
        summary: "Enter the maker's tolerances for a calibre; where he is silent the house class counts",
        params: byId,
        body: z.strictObject({
          limits: z.strictObject({
            meanMin: limit('meanMin'),
            meanMax: limit('meanMax'),
            spreadMax: limit('spreadMax'),
            amplitudeFlatMin: limit('amplitudeFlatMin'),
            amplitudeFlatMax: limit('amplitudeFlatMax'),
            amplitudeUprightMin: limit('amplitudeUprightMin'),
            amplitudeUprightMax: limit('amplitudeUprightMax'),
            amplitudeAfter24Min: limit('amplitudeAfter24Min'),
            amplitudeMax: limit('amplitudeMax'),
            beatErrorMax: limit('beatErrorMax'),
            runDownMax: limit('runDownMax'),
            rateMin: limit('rateMin'),
            rateMax: limit('rateMax'),
            yearlyRateMax: limit('yearlyRateMax').meta({
              description: 's/year, from 0 to 999, either way: how thermocompensated quartz is told',
            }),
          }),
          sourcePaper: line(200),
        }),
        response: {
          201: z.object({
            id: idOut,
            calibreId: idOut,
            limits: z.record(z.string(), z.number().nullable()),
            sourcePaper: z.string(),
          }),
        },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => addTolerance(doing, request.params.id, request.body)),
  )
  const number = z.number()
  app.post(
    '/v1/computed-readings',
    {
      config: everybody,
      schema: {
        tags,
        summary:
          'Work out rate, amplitude and beat error from what an instrument hears, and judge a fifteen-day programme; nothing is recorded',
        body: z.strictObject({
          beatsPerHour: z.number().int().min(3600).max(1_000_000).optional(),
          beatPeriodSeconds: number.min(0.001).max(2).optional(),
          liftAngle: number.min(30).max(70).optional(),
          liftTimeSeconds: number.min(0.0001).max(1).optional(),
          ticTocMs: number.min(1).max(2000).optional(),
          tocTicMs: number.min(1).max(2000).optional(),
          dailyRates: z.array(number.min(-999).max(999).nullable()).length(15).optional(),
          category: z.enum(['larger', 'smaller']).default('larger'),
        }),
        response: {
          200: z.object({
            rate: number.nullable().meta({ description: 's/d, + gaining' }),
            ppm: number.nullable().meta({ description: 'the same rate in parts per million' }),
            amplitude: number.nullable(),
            beatError: z.object({ half: number, full: number }).nullable(),
            programme: z
              .object({
                standing: z.string(),
                values: z.record(z.string(), number).optional(),
                outside: z.array(z.string()).readonly().optional(),
                missingDays: z.array(number).readonly().optional(),
              })
              .nullable(),
          }),
        },
      },
    },
    ({ body }) => workedOut(body),
  )
}
