import { z } from 'zod'
import { positions } from '../../domain/readings/bounds.ts'
import { pressureUnits } from '../../domain/readings/pressure.ts'
import { movementConditions, signs, watchKinds } from '../../domain/reckoning/facts.ts'
import { type GasketMaterial, gasketMaterials } from '../../domain/stock/gaskets.ts'
import { sealConditions } from '../../domain/tickets/snapshot.ts'
import { createOnce } from '../../http/creating.ts'
import type { Routes } from '../../http/routes.ts'
import type { Service } from '../../http/service.ts'
import { dayOut, id, idOut, line, partialDay, prose } from '../../http/shapes.ts'
import { desk, happened, ticketParam } from '../tickets/desk.ts'
import { view } from '../tickets/picture-routes.ts'
import { recordOperation } from './operations.ts'
import { recordQuartz, recordTiming, recordWaterTest } from './readings.ts'
import { strikeRecord } from './strikes.ts'
import { closeCase, fitMovement, openCase, recordCellFitting, removeCell, replaceSeals } from './work.ts'

const doneOut = z.object({
  id: idOut,
  ids: z.array(idOut).optional(),
  step: z.string(),
  water: z.object({ state: z.string(), why: z.string() }),
})
const measured = (unit: string) =>
  z.strictObject({
    value: z.number().min(-1_000_000).max(1_000_000),
    unit: z
      .string()
      .max(12)
      .meta({ examples: [unit] }),
  })
const lot = { lot: id.optional(), lotUnknownBecause: line(200).optional() }
const sealMaterial = z
  .enum(Object.keys(gasketMaterials) as [GasketMaterial, ...GasketMaterial[]])
  .meta({ description: 'of a seal whose lot is not known; else the lot says it' })
const hundredths = z.number().multipleOf(0.01)
const lotNamed = (value: { lot?: string | undefined; lotUnknownBecause?: string | undefined }) =>
  (value.lot === undefined) !== (value.lotUnknownBecause === undefined)
const lotMissing = {
  path: ['lot'],
  error: 'name the lot, or say in lotUnknownBecause why it is not known; one of the two',
}

const readingOut = z.object({
  id: idOut,
  values: z.record(z.string(), z.number().nullable()),
  crown: z
    .enum(['up', 'down', 'left', 'right'])
    .nullable()
    .meta({ description: 'where the crown points, at three o’clock, in the position; null where the watch lies' }),
  liftAngle: z.number().nullable().meta({ description: 'degrees, by which the amplitude was measured or worked out' }),
  liftAngleAssumed: z.boolean(),
  predictedMonths: z
    .number()
    .nullable()
    .meta({ description: 'life of the cell: capacity (given, else that of the cell on file) by consumption' }),
  ratePerYear: z.number().nullable().meta({ description: 's/year, of thermocompensated quartz' }),
  queries: z.array(z.string()),
  toolInDate: z.boolean(),
  tolerances: z.string(),
  judgedBy: z.object({ houseClass: z.string(), fromDay: dayOut.nullable() }),
  verdicts: z.array(z.object({ what: z.string(), value: z.number(), within: z.boolean(), words: z.string() })),
  gate: z.object({ state: z.string(), why: z.string() }),
})

export function workRoutes(app: Routes, service: Service): void {
  const tags = ['work']
  const config = { roles: ['bench', 'manager'] as const }

  app.post(
    '/v1/tickets/:ticket/operations',
    {
      config,
      schema: {
        tags,
        summary: 'Record an operation done, or strike an agreed line out with a reason',
        params: ticketParam,
        body: z.strictObject({
          line: id.nullable().optional(),
          state: z.enum(['done', 'struck']),
          what: line(200).optional(),
          reason: prose(300).optional(),
          from: happened,
          to: happened,
          minutes: z.number().int().min(0).max(10_000).optional(),
          bench: id.optional(),
          tools: z.array(id).max(20).optional(),
          finding: prose(2000).optional(),
          remarks: prose(2000).optional(),
          oils: z
            .array(z.union([line(80), z.strictObject({ kind: line(80), lot: line(60).optional() })]))
            .max(20)
            .optional(),
          magnetismBefore: line(40).optional(),
          magnetismAfter: line(40).optional(),
          cures: z
            .array(z.enum(signs))
            .max(14)
            .optional()
            .meta({ description: 'signs taken away without a service, as by demagnetising: they no longer count' }),
          oldParts: z
            .array(z.strictObject({ bag: line(30), words: line(200), leftBy: line(120).optional() }))
            .min(1)
            .max(30)
            .optional()
            .meta({
              description: 'taken out and bagged; returned at the hand-over unless somebody entitled leaves them',
            }),
        }),
        response: { 201: doneOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        recordOperation(desk(service, doing), request.params.ticket, request.body),
      ),
  )
  app.post(
    '/v1/tickets/:ticket/openings',
    {
      config,
      schema: {
        tags,
        summary: 'Record that the case was opened; from then on it needs closing and testing',
        params: ticketParam,
        body: z.strictObject({
          reason: prose(300),
          inventory: z
            .array(z.strictObject({ part: line(80), words: line(200), number: line(60).optional() }))
            .min(1)
            .max(60)
            .optional()
            .meta({ description: 'what was found inside, part by part; it has pictures' }),
          pictures: z.array(z.strictObject({ id, view })).min(1).max(40).optional(),
          at: happened,
        }),
        response: { 201: doneOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        openCase(desk(service, doing), request.params.ticket, request.body),
      ),
  )
  app.post(
    '/v1/tickets/:ticket/closings',
    {
      config,
      schema: {
        tags,
        summary: 'Record that the case was closed',
        params: ticketParam,
        body: z.strictObject({
          torqueNcm: z.number().min(0).max(2000).optional(),
          back: z.enum(['press', 'screw', 'screwed-plate']).optional().meta({ description: 'how the case back holds' }),
          words: prose(300).optional(),
          at: happened,
        }),
        response: { 201: doneOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        closeCase(desk(service, doing), request.params.ticket, request.body),
      ),
  )
  app.post(
    '/v1/tickets/:ticket/seal-replacements',
    {
      config,
      schema: {
        tags,
        summary: 'Record new gaskets by position, each with its lot or why it is not known',
        params: ticketParam,
        body: z.strictObject({
          seals: z
            .array(
              z
                .strictObject({
                  position: line(40),
                  material: sealMaterial.optional(),
                  innerMm: hundredths.min(0.6).max(45).optional(),
                  cordMm: hundredths.min(0.25).max(2.5).optional(),
                  profile: line(40).optional(),
                  conditionSeen: z.enum(sealConditions).optional(),
                  greasedWith: line(60).optional(),
                  ...lot,
                })
                .refine(lotNamed, lotMissing),
            )
            .min(1)
            .max(20),
          at: happened,
        }),
        response: { 201: doneOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        replaceSeals(desk(service, doing), request.params.ticket, request.body),
      ),
  )
  app.post(
    '/v1/tickets/:ticket/cell-fittings',
    {
      config,
      schema: {
        tags,
        summary: 'Fit a cell from its lot, graded on the day; or record one whose lot is not known',
        params: ticketParam,
        body: z
          .strictObject({
            designation: line(20),
            pieces: z.number().int().min(1).max(4).default(1),
            bestBefore: partialDay.optional(),
            capacityMah: z.number().min(0.000001).max(1_000_000).optional(),
            consumptionReading: id.optional(),
            ...lot,
            at: happened,
          })
          .refine(lotNamed, lotMissing),
        response: { 201: doneOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        recordCellFitting(desk(service, doing), request.params.ticket, request.body),
      ),
  )
  app.post(
    '/v1/tickets/:ticket/cell-removals',
    {
      config,
      schema: {
        tags,
        summary: 'Record that the cell was taken out',
        params: ticketParam,
        body: z.strictObject({ words: prose(300).optional(), leaking: z.boolean().default(false), at: happened }),
        response: { 201: doneOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        removeCell(desk(service, doing), request.params.ticket, request.body),
      ),
  )
  app.post(
    '/v1/tickets/:ticket/movement-replacements',
    {
      config,
      schema: {
        tags,
        summary: 'Record another movement in the case; from today its own rules count',
        params: ticketParam,
        body: z.strictObject({
          calibreId: id,
          kind: z.enum(watchKinds).optional(),
          serial: line(60).optional(),
          condition: z.enum(movementConditions),
        }),
        response: { 201: doneOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        fitMovement(desk(service, doing), request.params.ticket, request.body),
      ),
  )
  app.post(
    '/v1/tickets/:ticket/timing-readings',
    {
      config,
      schema: {
        tags,
        summary:
          'Record a reading of one position at one wind state, each value with its unit; or the beat period and lift time it is worked out from',
        params: ticketParam,
        body: z.strictObject({
          position: z.enum(positions),
          wind: z.enum(['full', 'after-24', 'other']),
          hoursSinceWound: measured('h').optional(),
          rate: measured('s/d').optional(),
          amplitude: measured('°').optional(),
          beatError: measured('ms')
            .extend({ convention: z.enum(['half', 'full']) })
            .optional(),
          beatPeriodSeconds: z.number().min(0.01).max(2).optional(),
          liftTimeSeconds: z.number().min(0.0001).max(1).optional(),
          liftAngle: z.number().min(0).max(360).optional(),
          liftAngleAssumed: z.boolean().optional(),
          integrationTime: measured('s').optional(),
          temperature: measured('C').optional(),
          tool: id,
          at: happened,
        }),
        response: { 201: readingOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        recordTiming(desk(service, doing), request.params.ticket, request.body),
      ),
  )
  app.post(
    '/v1/tickets/:ticket/quartz-readings',
    {
      config,
      schema: {
        tags,
        summary: 'Record a quartz reading; a rate is measured over whole inhibition periods',
        params: ticketParam,
        body: z.strictObject({
          rate: measured('s/month').optional().meta({ description: 's/month; s/d and s/year are taken as well' }),
          measuringTime: measured('s').optional(),
          inhibitionPeriod: z.number().int().min(1).max(3600).optional(),
          consumption: measured('uA').optional(),
          consumptionInReset: measured('uA').optional(),
          lowerWorkingVoltage: measured('V').optional(),
          cellVoltageOpen: measured('V').optional(),
          cellVoltageUnderLoad: measured('V').optional(),
          loadKiloohm: z.number().min(0.01).max(1000).optional(),
          coilResistance: measured('kohm').optional(),
          coilInsulated: z.boolean().optional().meta({ description: 'no way from the coil to ground' }),
          pulseInterval: measured('s').optional(),
          pulseWidth: measured('ms').optional(),
          testDrivePassed: z.boolean().optional(),
          capacityMah: z.number().min(0.1).max(1000).optional(),
          tool: id,
          at: happened,
        }),
        response: { 201: readingOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        recordQuartz(desk(service, doing), request.params.ticket, request.body),
      ),
  )
  app.post(
    '/v1/tickets/:ticket/water-tests',
    {
      config,
      schema: {
        tags,
        summary: 'Record a water test: dry before wet, within the claim; it speaks of its day and pressure only',
        params: ticketParam,
        body: z.strictObject({
          test: z.enum(['vacuum-dry', 'overpressure-dry', 'overpressure-wet', 'immersion', 'condensation']),
          bar: z.number().min(-1000).max(1000).optional(),
          pressure: z
            .strictObject({ value: z.number().min(-10_000).max(10_000), unit: z.enum(pressureUnits) })
            .optional()
            .describe('as the tester shows it, in place of bar; both are kept'),
          seconds: z.number().int().min(0).max(100_000).optional(),
          deformationMicrometres: z.number().min(-10_000).max(10_000).optional(),
          leakMicrogramsPerMinute: z.number().min(0).max(1_000_000).optional(),
          settledMinutes: z.number().int().min(0).max(10_000).optional(),
          condensation: z
            .strictObject({ plateC: z.number(), minutes: z.number(), dropC: z.number(), fogInside: z.boolean() })
            .optional(),
          strapOff: z.boolean().optional().describe('a strap of leather lies in its bag; asked before water'),
          seen: z.enum(['passed', 'failed']),
          tool: id.optional(),
          at: happened,
        }),
        response: {
          201: z.object({
            id: idOut,
            passed: z.boolean(),
            because: z.array(z.string()),
            counts: z.boolean(),
            shortcomings: z.array(z.string()),
            openAtOnce: z.boolean(),
            toolInDate: z.boolean().nullable(),
            usualBar: z.number().nullable(),
            step: z.string(),
            gate: z.object({ state: z.string(), why: z.string(), opens: z.array(z.string()) }),
          }),
        },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        recordWaterTest(desk(service, doing), request.params.ticket, request.body),
      ),
  )
  app.post(
    '/v1/tickets/:ticket/strikes',
    {
      config: { roles: ['counter', 'bench', 'manager'] },
      schema: {
        tags,
        summary: 'Strike a mistaken record; it stays on file, and what it told the reckoning is struck with it',
        params: ticketParam,
        body: z.strictObject({ record: id, reason: prose(300) }),
        response: { 201: doneOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        strikeRecord(desk(service, doing), request.params.ticket, request.body),
      ),
  )
}
