import { z } from 'zod'
import { claimMarks, movementConditions, watchKinds } from '../../domain/reckoning/facts.ts'
import { createOnce } from '../../http/creating.ts'
import { expectedVersion, withEtag } from '../../http/editing.ts'
import { afterOf, page, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { act, type Service, signerOf, todayAt } from '../../http/service.ts'
import {
  byId,
  day,
  dayOut,
  id,
  idOut,
  instantOut,
  line,
  partialDay,
  partialDayOut,
  prose,
  source,
} from '../../http/shapes.ts'
import { summaryOut } from '../facts/shapes.ts'
import {
  addWatch,
  changeOwner,
  editWatch,
  getWatch,
  historyOf,
  recordHazard,
  replaceMovement,
  searchWatches,
} from './watches.ts'

const luminous = z.enum([
  'none',
  'photoluminescent',
  'tritium-paint',
  'tritium-tube',
  'promethium',
  'radium',
  'unknown-old',
  'unknown',
])
export const watchState = z.enum([
  'in-use',
  'stored-running',
  'stored-cell-removed',
  'displayed',
  'lost',
  'stolen',
  'disposed',
  'beyond-repair',
])
export const hazardKind = z.enum([
  'radium',
  'maybe-radium',
  'tritium',
  'promethium',
  'leaking-cell',
  'water-inside',
  'acrylic-crystal',
  'brittle-seals',
  'mercury-cell',
  'lithium-cell',
  'other',
])
const waterClaim = z
  .strictObject({ marked: z.enum(claimMarks), bar: z.number().min(0.000001).max(125).optional() })
  .refine((claim) => claim.bar === undefined || claim.marked === 'rated', {
    path: ['bar'],
    error: 'belongs only to a rated claim',
  })
const fields = {
  maker: line(80),
  model: line(80).nullable().optional(),
  reference: line(60).nullable().optional(),
  serial: line(60).nullable().optional(),
  knownDuplicate: z.boolean().optional(),
  ownMark: line(60).nullable().optional(),
  description: line(200).nullable().optional(),
  kind: z.enum(watchKinds),
  display: line(40).nullable().optional(),
  waterClaim: waterClaim.optional(),
  caseMaterial: line(60).nullable().optional(),
  diameterMm: z.number().min(8).max(70).nullable().optional(),
  crystal: z.enum(['acrylic', 'mineral', 'sapphire', 'unknown']).optional(),
  luminous: luminous.optional(),
  thicknessMm: z.number().min(2).max(25).nullable().optional(),
  lugWidthMm: z.number().min(6).max(30).nullable().optional(),
  crystalHeld: z.enum(['press-fit', 'gasket', 'glued', 'tension-ring', 'unknown']).nullable().optional(),
  made: partialDay.nullable().optional(),
  sold: partialDay.nullable().optional(),
  doNot: z.array(line(120)).max(20).optional(),
}
export const watchBody = z.strictObject({
  ...fields,
  firstSeen: day.optional(),
  ownerId: id.optional(),
  calibreId: id.optional(),
  movementSerial: line(60).optional(),
})

const text = z.string().nullable()
const watchRow = {
  id: idOut,
  version: z.number().int(),
  maker: z.string(),
  model: text,
  reference: text,
  serial: text,
  knownDuplicate: z.boolean(),
  ownMark: text,
  description: text,
  kind: z.string(),
  display: text,
  waterClaim: z.object({ marked: z.string(), bar: z.number().nullable() }),
  caseMaterial: text,
  diameterMm: z.number().nullable(),
  crystal: z.string(),
  luminous: z.string(),
  thicknessMm: z.number().nullable(),
  lugWidthMm: z.number().nullable(),
  crystalHeld: text,
  made: text,
  sold: text,
  firstSeen: dayOut,
  state: z.string(),
  stateSince: dayOut.nullable(),
  doNot: z.array(z.string()),
  ownerId: idOut.nullable(),
  inHouse: z.boolean(),
}
const watchOut = z.object({
  ...watchRow,
  movement: z.object({ id: idOut, calibreId: idOut, serial: text, fromDay: dayOut }).nullable(),
  hazards: z.array(z.object({ id: idOut, kind: z.string(), note: text, confirmedBy: text, seenOn: dayOut })),
  waterNow: z
    .object({
      state: z.enum(['not-claimed', 'claimed-untested', 'passed', 'failed', 'withdrawn']),
      on: partialDayOut.nullable(),
      bar: z.number().nullable(),
      words: z.string(),
    })
    .meta({ description: 'may it go into water: by a test with its date and pressure, never by the dial' }),
  ...summaryOut,
})

const signed = {
  id: idOut,
  recordedAt: instantOut,
  recordedBy: z.string(),
  struck: z.object({ reason: z.string(), by: z.string(), on: dayOut, replacedBy: idOut.nullable() }).nullable(),
}
export const historyOut = z.object({
  events: z.array(
    z.object({
      ...signed,
      event: z.string(),
      on: z.string(),
      source: z.string(),
      learned: dayOut,
      condition: text,
      passed: z.boolean().nullable(),
      bar: z.number().nullable(),
      sign: text,
      bestBefore: text,
      capacityMah: z.number().nullable(),
      consumptionMicroamps: z.number().nullable(),
      note: text,
    }),
  ),
  wear: z.array(
    z.object({
      ...signed,
      ownerId: idOut.nullable(),
      daily: z.string(),
      vibration: z.string(),
      heat: z.string(),
      cold: z.string(),
      water: z.string(),
      salt: z.string(),
      chlorine: z.string(),
      hotWater: z.string(),
      magnets: z.string(),
      learned: dayOut,
      source: z.string(),
    }),
  ),
  notes: z.array(
    z.object({ ...signed, obligation: z.string(), months: z.number().int(), on: dayOut, reason: z.string() }),
  ),
  ownerships: z.array(
    z.object({ ...signed, ownerId: idOut.nullable(), from: dayOut, learned: dayOut, how: z.string() }),
  ),
})

export function watchRoutes(app: Routes, service: Service): void {
  const config = { roles: ['counter', 'bench', 'manager'] as const }
  const everybody = { roles: ['counter', 'bench', 'stock', 'manager'] as const }
  const db = service.database.prisma
  const tags = ['watches']

  app.post(
    '/v1/watches',
    { config, schema: { tags, summary: 'Put a watch on file', body: watchBody, response: { 201: watchOut } } },
    (request, reply) => createOnce(service, request, reply, (doing) => addWatch(doing, request.body)),
  )
  app.get(
    '/v1/watches',
    {
      config: everybody,
      schema: {
        tags,
        summary: 'Find watches by serial (spaces, dashes, O/0 and I/1 do not matter), maker and model, or owner',
        querystring: z.strictObject({
          ...pageQuery,
          serial: line(60).optional(),
          maker: line(80).optional(),
          model: line(80).optional(),
          ownerId: id.optional(),
        }),
        response: { 200: z.object({ items: z.array(z.object(watchRow)) }) },
      },
    },
    async (request, reply) =>
      page(
        request,
        reply,
        await searchWatches(db, request.query, afterOf(request, 'id'), request.query.limit),
        (row) => [row.id],
      ),
  )
  app.get(
    '/v1/watches/:id',
    {
      config: everybody,
      schema: {
        tags,
        summary: 'One watch, with what is inside and what is due',
        params: byId,
        response: { 200: watchOut },
      },
    },
    async (request, reply) => withEtag(reply, await getWatch(db, request.params.id, todayAt(service))),
  )
  app.patch(
    '/v1/watches/:id',
    {
      config,
      schema: {
        tags,
        summary: 'Mend a watch’s record; its dates are reckoned again',
        params: byId,
        body: z.strictObject({
          ...fields,
          maker: line(80).optional(),
          kind: z.enum(watchKinds).optional(),
          state: watchState.optional(),
          stateSince: day.optional(),
          reason: line(300).optional(),
        }),
        response: { 200: watchOut },
      },
    },
    async (request, reply) => {
      const expected = expectedVersion(request)
      return withEtag(
        reply,
        await act(service, signerOf(request), (doing) => editWatch(doing, request.params.id, expected, request.body)),
      )
    },
  )
  app.get(
    '/v1/watches/:id/history',
    {
      config: everybody,
      schema: {
        tags,
        summary: 'Every fact on file of a watch, struck ones too',
        params: byId,
        response: { 200: historyOut },
      },
    },
    async (request) => {
      await getWatch(db, request.params.id, todayAt(service))
      return historyOf(db, request.params.id)
    },
  )
  app.post(
    '/v1/watches/:id/ownerships',
    {
      config,
      schema: {
        tags,
        summary: 'The watch has another owner; null where nobody knows whom',
        params: byId,
        body: z.strictObject({ ownerId: id.nullable(), from: day, how: line(200) }),
        response: { 201: watchOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => changeOwner(doing, request.params.id, request.body)),
  )
  app.post(
    '/v1/watches/:id/movements',
    {
      config: { roles: ['bench', 'manager'] as const },
      schema: {
        tags,
        summary: 'Another movement was fitted',
        params: byId,
        body: z.strictObject({
          calibreId: id,
          kind: z.enum(watchKinds).optional(),
          serial: line(60).optional(),
          on: day,
          condition: z.enum(movementConditions),
          source,
        }),
        response: { 201: watchOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => replaceMovement(doing, request.params.id, request.body)),
  )
  app.post(
    '/v1/watches/:id/hazards',
    {
      config,
      schema: {
        tags,
        summary: 'A hazard seen in or on the watch',
        params: byId,
        body: z.strictObject({ kind: hazardKind, note: prose(500).optional(), confirmedBy: line(80).optional() }),
        response: { 201: watchOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => recordHazard(doing, request.params.id, request.body)),
  )
}
