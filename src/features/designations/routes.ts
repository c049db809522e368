import { z } from 'zod'
import { dateCodeLayouts } from '../../domain/stock/date-codes.ts'
import { cellSizes, chemistries, systems } from '../../domain/stock/sizes.ts'
import { createOnce } from '../../http/creating.ts'
import { expectedVersion, withEtag } from '../../http/editing.ts'
import type { Routes } from '../../http/routes.ts'
import { act, type Service, signerOf } from '../../http/service.ts'
import { byId, dayOut, id, idOut, line } from '../../http/shapes.ts'
import { kindRoutes } from '../stock-entries/kind-routes.ts'
import { pieces } from '../stock-entries/shapes.ts'
import {
  addDateCodeTable,
  addDesignation,
  addItemNumber,
  approveSubstitute,
  changeDesignation,
  listDateCodeTables,
  listDesignations,
  showDesignation,
  withdrawSubstitute,
} from './designations.ts'

const millimetres = z.number().min(0.5).max(100)
const months = z.number().int().min(1).max(240)
const numbers = {
  volts: z.number().min(0.1).max(10).optional(),
  diameterMm: millimetres.optional(),
  heightMm: millimetres.optional(),
  capacityMah: z.number().min(0.1).max(100_000).optional(),
  weightMg: z.number().int().min(1).max(1_000_000).optional(),
  wasteFee: z.number().int().min(0).max(1_000_000).optional(),
  ageingMonths: months.optional(),
  shelfLifeMonths: months.optional(),
  leadWeeks: z.number().int().min(1).max(52).optional(),
}
const drain = z.enum(['low', 'high', 'unknown'])

const designationOut = z.object({
  id: idOut,
  version: z.number().int(),
  name: z.string(),
  written: z.string(),
  chemistry: z.enum(chemistries),
  volts: z.number().nullable(),
  drain,
  diameterMm: z.number().nullable(),
  heightMm: z.number().nullable(),
  capacityMah: z.number().nullable(),
  weightMg: z.number().nullable(),
  wasteFee: z.number().nullable(),
  ageingMonths: z.number().nullable(),
  shelfLifeMonths: z.number().nullable(),
  leadWeeks: z.number().nullable(),
})
const substituteOut = z.object({
  id: idOut,
  designationId: idOut,
  name: z.string(),
  place: z.number().int(),
  reason: z.string(),
  approvedBy: z.string(),
  approvedOn: dayOut,
})
const wholeOut = designationOut.extend({
  substitutes: z.array(substituteOut),
  itemNumbers: z.array(z.object({ number: z.string(), pieces: z.number().int() })),
})
const tableOut = z.object({
  name: z.string(),
  layout: z.string(),
  monthSigns: z.string().nullable(),
  source: z.string(),
})

export function designationRoutes(app: Routes, service: Service): void {
  const tags = ['stock']
  const keeping = { roles: ['stock', 'manager'] as const }
  const reading = { roles: ['counter', 'bench', 'stock', 'manager'] as const }

  kindRoutes(
    app,
    service,
    '/v1/designations',
    [
      'Enter a cell designation by the size code; dimensions come from the size table or the pack',
      'Designations on file',
    ],
    {
      body: z.strictObject({ designation: line(20), chemistry: z.enum(chemistries).optional(), drain, ...numbers }),
      out: designationOut,
    },
    { add: addDesignation, list: listDesignations },
  )
  app.get(
    '/v1/designations/:id',
    {
      config: reading,
      schema: {
        tags,
        summary: 'A designation with its substitutes and item numbers',
        params: byId,
        response: { 200: wholeOut },
      },
    },
    async (request, reply) => withEtag(reply, await showDesignation(service.database.prisma, request.params.id)),
  )
  app.patch(
    '/v1/designations/:id',
    {
      config: keeping,
      schema: {
        tags,
        summary: 'Mend a designation',
        params: byId,
        body: z.strictObject({ drain: drain.optional(), ...numbers }),
        response: { 200: designationOut },
      },
    },
    async (request, reply) => {
      const check = expectedVersion(request)
      return withEtag(
        reply,
        await act(service, signerOf(request), (doing) =>
          changeDesignation(doing, request.params.id, request.body, check),
        ),
      )
    },
  )
  app.post(
    '/v1/designations/:id/substitutes',
    {
      config: { roles: ['bench', 'manager'] },
      schema: {
        tags,
        summary: 'A watchmaker approves a substitute, one way, after those approved before',
        params: byId,
        body: z.strictObject({ designation: line(20), reason: line(300) }),
        response: { 201: wholeOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => approveSubstitute(doing, request.params.id, request.body)),
  )
  app.post(
    '/v1/designations/:id/substitutes/:substituteId/withdrawal',
    {
      config: { roles: ['bench', 'manager'] },
      schema: {
        tags,
        summary: 'Withdraw an approval',
        params: z.strictObject({ id, substituteId: id }),
        response: { 200: wholeOut },
      },
    },
    (request) =>
      act(service, signerOf(request), (doing) =>
        withdrawSubstitute(doing, request.params.id, request.params.substituteId),
      ),
  )
  app.post(
    '/v1/designations/:id/item-numbers',
    {
      config: keeping,
      schema: {
        tags,
        summary: 'The number under the bars of a pack (GS1, 14 digits) and how many pieces it holds',
        params: byId,
        body: z.strictObject({ number: z.string().regex(/^\d{14}$/, { error: 'must be 14 digits' }), pieces }),
        response: { 201: wholeOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => addItemNumber(doing, request.params.id, request.body)),
  )
  app.get(
    '/v1/cell-sizes',
    {
      config: reading,
      schema: {
        tags,
        summary: 'The table of known sizes and systems; reference data, never computed from the code',
        response: {
          200: z.object({
            systems: z.array(z.object({ letter: z.string(), chemistry: z.string(), volts: z.string() })),
            sizes: z.array(
              z.object({
                size: z.string(),
                also: z.string().nullable(),
                diameterMm: z.string(),
                heightMm: z.string(),
                usualMah: z.record(z.string(), z.string()).nullable(),
                source: z.string(),
              }),
            ),
          }),
        },
      },
    },
    () => ({
      systems: Object.entries(systems).map(([letter, system]) => ({ letter, ...system })),
      sizes: cellSizes.map((size) => ({ ...size, also: size.also ?? null, usualMah: size.usualMah ?? null })),
    }),
  )
  app.post(
    '/v1/date-code-tables',
    {
      config: keeping,
      schema: {
        tags,
        summary: 'Enter a table that reads a maker’s date code',
        body: z.strictObject({
          name: line(60),
          layout: z.enum(dateCodeLayouts),
          monthSigns: z
            .string()
            .length(12)
            .regex(/^[\x21-\x7e]+$/)
            .optional(),
          source: line(200),
        }),
        response: { 201: tableOut },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => addDateCodeTable(doing, request.body)),
  )
  app.get(
    '/v1/date-code-tables',
    {
      config: reading,
      schema: {
        tags,
        summary: 'Tables that read date codes',
        response: { 200: z.object({ items: z.array(tableOut) }) },
      },
    },
    () => listDateCodeTables(service.database.prisma),
  )
}
