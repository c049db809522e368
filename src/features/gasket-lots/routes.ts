import { z } from 'zod'
import { type GasketMaterial, gasketMaterials } from '../../domain/stock/gaskets.ts'
import { createOnce } from '../../http/creating.ts'
import { withEtag } from '../../http/editing.ts'
import { pageBy, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { byId, day, dayOut, id, idOut, line } from '../../http/shapes.ts'
import { summaryOut } from '../facts/shapes.ts'
import { kindRoutes } from '../stock-entries/kind-routes.ts'
import { lotRoutes } from '../stock-entries/lot-routes.ts'
import { lotOut } from '../stock-entries/lots.ts'
import { celsius, delivered, flag, flagOf, forSomething, pieces, someFor, whom } from '../stock-entries/shapes.ts'
import {
  addGasketKind,
  findGasketKind,
  fitGasket,
  inspectGaskets,
  issueGaskets,
  listGasketKinds,
  listGasketLots,
  receiveGaskets,
  showGasketLot,
  shownKind,
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
const newKind = z.strictObject({
  name: line(60),
  innerMm: z.number().min(0.6).max(45).multipleOf(0.01).optional(),
  cordMm: z.number().min(0.25).max(2.5).multipleOf(0.01).optional(),
  profile: line(60).optional(),
  material,
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

  kindRoutes(
    app,
    service,
    '/v1/gasket-kinds',
    ['Enter a gasket: one size in one material', 'Gaskets on file'],
    { body: newKind, out: kindOut },
    {
      add: addGasketKind,
      list: listGasketKinds,
      one: { summary: 'A gasket on file', read: async (db, id) => shownKind(await findGasketKind(db, id)) },
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
          ...delivered,
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
      const filter = { kindId, onShelf: flagOf(onShelf), past: flagOf(past) }
      return pageBy(
        request,
        reply,
        (row) => row.id,
        (after) => listGasketLots(service.database.prisma, filter, after, limit, todayAt(service)),
      )
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
    '/v1/gasket-issues',
    {
      config: { roles: ['bench', 'stock', 'manager'] },
      schema: {
        tags,
        summary: 'Take gaskets: first to expire first',
        body: z.strictObject({ kindId: id, pieces: pieces.max(50), ...forSomething }).refine(someFor, whom),
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
