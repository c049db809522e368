import { z } from 'zod'
import { type GasketMaterial, gasketMaterials } from '../../domain/stock/gaskets.ts'
import { createOnce } from '../../http/creating.ts'
import { withEtag } from '../../http/editing.ts'
import { afterOf, page, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { byId, day, dayOut, id, idOut, line } from '../../http/shapes.ts'
import { lotRoutes } from '../cell-lots/routes.ts'
import { summaryOut } from '../facts/shapes.ts'
import { lotOut } from '../stock-entries/lots.ts'
import { celsius, cost, costOut, flag, flagOf, pieces, place } from '../stock-entries/shapes.ts'
import { writeOffOthers } from '../waste/waste.ts'
import {
  addGasketKind,
  fitGasket,
  inspectGaskets,
  issueGaskets,
  listGasketKinds,
  listGasketLots,
  receiveGaskets,
  showGasketLot,
} from './gasket-lots.ts'

const materials = Object.keys(gasketMaterials) as [GasketMaterial, ...GasketMaterial[]]
const material = z.enum(materials)
const kindOut = z.object({
  id: idOut,
  name: z.string(),
  innerMm: z.number().nullable(),
  cordMm: z.number().nullable(),
  profile: z.string().nullable(),
  material,
  group: z.string(),
})
const gasketLotOut = lotOut.extend({
  material,
  group: z.string(),
  cureQuarter: z.string().nullable(),
  storageEnd: dayOut.nullable(),
  mayBeFitted: z.boolean(),
})
const wholeOut = gasketLotOut.extend({
  initialEnd: dayOut.nullable(),
  extendedEnd: dayOut.nullable(),
  extended: z.boolean(),
  inspections: z.array(
    z.object({
      id: idOut,
      on: dayOut,
      purpose: z.string(),
      passed: z.boolean(),
      finding: z.string(),
      recordedBy: z.string(),
    }),
  ),
})

export function gasketLotRoutes(app: Routes, service: Service): void {
  const tags = ['stock']
  const keeping = { roles: ['stock', 'manager'] as const }
  const reading = { roles: ['counter', 'bench', 'stock', 'manager'] as const }
  const { currency } = service.config.centre

  app.post(
    '/v1/gasket-kinds',
    {
      config: keeping,
      schema: {
        tags,
        summary: 'Enter a gasket: one size in one material',
        body: z.strictObject({
          name: line(60),
          innerMm: z.number().min(0.6).max(45).multipleOf(0.01).optional(),
          cordMm: z.number().min(0.25).max(2.5).multipleOf(0.01).optional(),
          profile: line(60).optional(),
          material,
        }),
        response: { 201: kindOut },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => addGasketKind(doing, request.body)),
  )
  app.get(
    '/v1/gasket-kinds',
    {
      config: reading,
      schema: {
        tags,
        summary: 'Gaskets on file',
        querystring: z.strictObject(pageQuery),
        response: { 200: z.object({ items: z.array(kindOut) }) },
      },
    },
    async (request, reply) => {
      const after = afterOf(request, 1)
      const rows = await listGasketKinds(service.database.prisma, after ? String(after[0]) : null, request.query.limit)
      return page(request, reply, rows, (row) => [row.name])
    },
  )
  app.post(
    '/v1/gasket-lots',
    {
      config: keeping,
      schema: {
        tags,
        summary: 'Receive a lot of gaskets; the end of storage life is reckoned from the quarter of cure',
        body: z.strictObject({
          kindId: id,
          cureQuarter: line(6).optional(),
          lotNumber: line(40).optional(),
          supplier: line(80),
          receivedOn: day.optional(),
          pieces,
          unitCost: cost,
          storagePlace: place,
          maxCelsius: celsius.optional(),
        }),
        response: { 201: wholeOut },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => receiveGaskets(doing, request.body, currency)),
  )
  app.get(
    '/v1/gasket-lots',
    {
      config: reading,
      schema: {
        tags,
        summary: 'Gasket lots; past=true are those past their storage life',
        querystring: z.strictObject({ ...pageQuery, kindId: id.optional(), onShelf: flag, past: flag }),
        response: { 200: z.object({ items: z.array(gasketLotOut) }) },
      },
    },
    async (request, reply) => {
      const { kindId, onShelf, past, limit } = request.query
      const after = afterOf(request, 1)
      const filter = { kindId, onShelf: flagOf(onShelf), past: flagOf(past) }
      const rows = await listGasketLots(
        service.database.prisma,
        filter,
        after ? String(after[0]) : null,
        limit,
        todayAt(service),
      )
      return page(request, reply, rows, (row) => [row.id])
    },
  )
  app.get(
    '/v1/gasket-lots/:id',
    {
      config: reading,
      schema: {
        tags,
        summary: 'A lot with its storage life and inspections',
        params: byId,
        response: { 200: wholeOut },
      },
    },
    async (request, reply) =>
      withEtag(reply, await showGasketLot(service.database.prisma, request.params.id, todayAt(service))),
  )
  app.post(
    '/v1/gasket-lots/:id/inspections',
    {
      config: { roles: ['bench', 'stock', 'manager'] },
      schema: {
        tags,
        summary: 'Record an inspection: the one extension, or the release of a lot stored hot or in sunlight',
        params: byId,
        body: z.strictObject({
          on: day.optional(),
          purpose: z.enum(['extension', 'release']),
          passed: z.boolean(),
          finding: line(300),
        }),
        response: { 201: wholeOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => inspectGaskets(doing, request.params.id, request.body)),
  )
  app.post(
    '/v1/gasket-lots/:id/write-offs',
    {
      config: keeping,
      schema: {
        tags,
        summary: 'Out of the drawer',
        params: byId,
        body: z.strictObject({ pieces, reason: line(300) }),
        response: { 201: z.object({ entryId: idOut, pieces: z.number().int(), cost: costOut }) },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => writeOffOthers(doing, 'gasket', request.params.id, request.body)),
  )
  app.post(
    '/v1/gasket-issues',
    {
      config: { roles: ['bench', 'stock', 'manager'] },
      schema: {
        tags,
        summary: 'Take gaskets: first to expire first',
        body: z
          .strictObject({ kindId: id, pieces: pieces.max(50), watchId: id.optional(), ticketId: id.optional() })
          .refine((body) => body.watchId !== undefined || body.ticketId !== undefined, {
            path: ['watchId'],
            error: 'is needed, or a ticketId',
          }),
        response: {
          201: z.object({
            gaskets: z.array(
              z.object({ entryId: idOut, lotId: idOut, pieces: z.number().int(), storageEnd: dayOut.nullable() }),
            ),
          }),
        },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => issueGaskets(doing, request.body)),
  )
  app.post(
    '/v1/gasket-fittings',
    {
      config: { roles: ['bench', 'manager'] },
      schema: {
        tags,
        summary: 'Fit gaskets that are out at the bench; the seals of the watch count from that day',
        body: z.strictObject({
          watchId: id,
          ticketId: id.optional(),
          on: day.optional(),
          gaskets: z
            .array(z.strictObject({ lotId: id, pieces: pieces.max(20), position: line(40) }))
            .min(1)
            .max(20),
        }),
        response: { 201: z.object({ eventId: idOut, entryIds: z.array(idOut), ...summaryOut }) },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => fitGasket(doing, request.body)),
  )
  lotRoutes(app, service, 'gasket', '/v1/gasket-lots')
}
