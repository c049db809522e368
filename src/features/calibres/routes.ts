import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import { expectedVersion, withEtag } from '../../http/editing.ts'
import { afterOf, page, pageBy, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { act, type Service, signerOf } from '../../http/service.ts'
import { byId, idOut, instantOut, line } from '../../http/shapes.ts'
import { addCalibre, editCalibre, getCalibre, listCalibres } from './calibres.ts'
import { listTolerances } from './tolerances.ts'

const energy = z.enum(['primary-cell', 'rechargeable', 'none', 'unknown'])
const fields = {
  beatsPerHour: z
    .number()
    .int()
    .min(3600)
    .max(1_000_000)
    .nullable()
    .optional()
    .meta({ description: 'A/h, two to an oscillation: 28,800 is 4 Hz' }),
  jewels: z.number().int().min(0).max(200).nullable().optional(),
  diameterMm: z.number().min(5).max(60).nullable().optional(),
  diameterLignes: z
    .number()
    .min(2.25)
    .max(26.5)
    .optional()
    .meta({ description: 'in place of diameterMm; kept in mm, to the hundredth' }),
  liftAngleDegrees: z.number().min(30).max(70).nullable().optional(),
  powerReserveHours: z.number().int().min(24).max(240).nullable().optional(),
  frequencyHertz: z.number().int().min(1).max(10_000_000).nullable().optional(),
  inhibitionPeriodSeconds: z.number().int().min(1).max(3600).nullable().optional(),
  motorPulseSeconds: z.number().int().min(1).max(60).nullable().optional(),
  consumptionMaxMicroamps: z.number().min(0.2).max(20).nullable().optional(),
  consumptionWithModuleMaxMicroamps: z
    .number()
    .min(0.2)
    .max(20)
    .nullable()
    .optional()
    .meta({ description: 'with its chronograph module driven; without: consumptionMaxMicroamps' }),
  coilResistanceMinKiloohm: z.number().min(0.5).max(5).nullable().optional(),
  coilResistanceMaxKiloohm: z.number().min(0.5).max(5).nullable().optional(),
  workingVoltageMax: z.number().min(1.1).max(2.8).nullable().optional(),
  cellDesignation: line(20).nullable().optional(),
  cellCount: z.number().int().min(0).max(4).optional(),
  thermocompensated: z.boolean().optional(),
  endOfLifeSign: line(80).nullable().optional(),
}
const calibreBody = z.strictObject({ name: line(80), energy, ...fields })
const nullable = z.number().nullable()
const calibreOut = z.object({
  id: idOut,
  version: z.number().int(),
  name: z.string(),
  energy: z.string(),
  beatsPerHour: nullable,
  hertz: nullable,
  jewels: nullable,
  diameterMm: nullable,
  diameterLignes: nullable,
  liftAngleDegrees: nullable,
  powerReserveHours: nullable,
  frequencyHertz: nullable,
  inhibitionPeriodSeconds: nullable,
  motorPulseSeconds: nullable,
  consumptionMaxMicroamps: nullable,
  consumptionWithModuleMaxMicroamps: nullable,
  coilResistanceMinKiloohm: nullable,
  coilResistanceMaxKiloohm: nullable,
  workingVoltageMax: nullable,
  cellDesignation: z.string().nullable(),
  cellCount: z.number().int(),
  thermocompensated: z.boolean(),
  endOfLifeSign: z.string().nullable(),
})

export function calibreRoutes(app: Routes, service: Service): void {
  const config = { roles: ['bench', 'stock', 'manager'] as const }
  const everybody = { roles: ['counter', 'bench', 'stock', 'manager'] as const }
  const tags = ['calibres']

  app.post(
    '/v1/calibres',
    { config, schema: { tags, summary: 'Put a calibre on file', body: calibreBody, response: { 201: calibreOut } } },
    (request, reply) => createOnce(service, request, reply, (doing) => addCalibre(doing, request.body)),
  )
  app.get(
    '/v1/calibres',
    {
      config: everybody,
      schema: {
        tags,
        summary: 'Calibres by name',
        querystring: z.strictObject({ ...pageQuery, search: line(80).optional() }),
        response: { 200: z.object({ items: z.array(calibreOut) }) },
      },
    },
    async (request, reply) => {
      const rows = await listCalibres(
        service.database.prisma,
        request.query.search,
        afterOf(request, 'name'),
        request.query.limit,
      )
      return page(request, reply, rows, (row) => [row.name])
    },
  )
  app.get(
    '/v1/calibres/:id',
    { config: everybody, schema: { tags, summary: 'One calibre', params: byId, response: { 200: calibreOut } } },
    async (request, reply) => withEtag(reply, await getCalibre(service.database.prisma, request.params.id)),
  )
  app.patch(
    '/v1/calibres/:id',
    {
      config,
      schema: {
        tags,
        summary: 'Mend a calibre; the watches it is in are reckoned again',
        params: byId,
        body: z.strictObject({ name: line(80).optional(), energy: energy.optional(), ...fields }),
        response: { 200: calibreOut },
      },
    },
    async (request, reply) => {
      const expected = expectedVersion(request)
      return withEtag(
        reply,
        await act(service, signerOf(request), (doing) => editCalibre(doing, request.params.id, expected, request.body)),
      )
    },
  )
  app.get(
    '/v1/calibres/:id/tolerances',
    {
      config: everybody,
      schema: {
        tags,
        summary: "The maker's tolerances for a calibre, the oldest first; the newest counts",
        params: byId,
        querystring: z.strictObject(pageQuery),
        response: {
          200: z.object({
            items: z.array(
              z.object({
                id: idOut,
                limits: z
                  .record(z.string(), nullable)
                  .meta({ description: 'rates in s/d (quartz: s/month), amplitudes in degrees, beat error in ms' }),
                sourcePaper: z.string(),
                counts: z.boolean().meta({ description: 'the newest: readings are judged by this one' }),
                recordedAt: instantOut,
                by: z.string(),
              }),
            ),
          }),
        },
      },
    },
    (request, reply) =>
      pageBy(
        request,
        reply,
        (row) => row.id,
        (after, limit) => listTolerances(service.database.prisma, request.params.id, after, limit),
      ),
  )
}
