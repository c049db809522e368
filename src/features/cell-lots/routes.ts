import { z } from 'zod'
import { buckets } from '../../domain/stock/buckets.ts'
import { createOnce } from '../../http/creating.ts'
import { etagOf, expectedVersion, withEtag } from '../../http/editing.ts'
import { afterOf, page, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { act, type Service, signerOf, todayAt } from '../../http/service.ts'
import { byId, day, dayOut, line, partialDay } from '../../http/shapes.ts'
import { listEntries, recordPlainEntry } from '../stock-entries/entries.ts'
import { lotOut, shownLot } from '../stock-entries/lots.ts'
import {
  blockBody,
  celsius,
  cost,
  entryOut,
  flag,
  flagOf,
  lotChangeBody,
  pieces,
  place,
  plainEntryBody,
} from '../stock-entries/shapes.ts'
import { blockLot, changeLot, listCellLots, receiveCells, releaseLot, showCellLot } from './cell-lots.ts'

const newLot = z.strictObject({
  designation: line(20),
  lotNumber: line(40).optional(),
  supplier: line(80),
  receivedOn: day.optional(),
  pieces,
  unitCost: cost,
  bestBefore: partialDay.optional(),
  manufactured: partialDay.optional(),
  dateCode: line(12).optional(),
  dateCodeTable: line(60).optional(),
  capacityMah: z.number().min(0.1).max(100_000).optional(),
  storagePlace: place,
  maxCelsius: celsius.optional(),
  pack: z.enum(['sealed', 'opened']).default('sealed'),
})

export const cellLotOut = lotOut.extend({
  chemistry: z.string().nullable(),
  bestBefore: dayOut,
  capacityMah: z.number().nullable(),
  madeMonth: z.string().nullable(),
  dateCode: z.string().nullable(),
  dateCodeTable: z.string().nullable(),
  grade: z.enum(['full-life', 'short-life', 'not-to-be-fitted']),
  bucket: z.enum(buckets),
  lastFullLifeDay: dayOut,
  lastShortLifeDay: dayOut,
})

export function cellLotRoutes(app: Routes, service: Service): void {
  const tags = ['stock']
  const keeping = { roles: ['stock', 'manager'] as const }
  const reading = { roles: ['counter', 'bench', 'stock', 'manager'] as const }
  const { currency } = service.config.centre

  app.post(
    '/v1/cell-lots',
    {
      config: keeping,
      schema: { tags, summary: 'Receive a lot of cells', body: newLot, response: { 201: cellLotOut } },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => receiveCells(doing, request.body, currency)),
  )
  app.get(
    '/v1/cell-lots',
    {
      config: reading,
      schema: {
        tags,
        summary: 'Cell lots; listed=true are those to be written off',
        querystring: z.strictObject({
          ...pageQuery,
          designation: line(20).optional(),
          onShelf: flag,
          listed: flag,
          blocked: flag,
          place: place.optional(),
        }),
        response: { 200: z.object({ items: z.array(cellLotOut) }) },
      },
    },
    async (request, reply) => {
      const { designation, onShelf, listed, blocked, place: at, limit } = request.query
      const filter = {
        designation,
        onShelf: flagOf(onShelf),
        listed: flagOf(listed),
        blocked: flagOf(blocked),
        place: at,
      }
      const after = afterOf(request, 1)
      const rows = await listCellLots(
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
    '/v1/cell-lots/:id',
    {
      config: reading,
      schema: { tags, summary: 'A lot with its grade and its last days', params: byId, response: { 200: cellLotOut } },
    },
    async (request, reply) =>
      withEtag(reply, await showCellLot(service.database.prisma, request.params.id, todayAt(service))),
  )
  lotRoutes(app, service, 'cell', '/v1/cell-lots')
}

/** What can be done with a lot of any kind: its entries, its place, its block. */
export function lotRoutes(app: Routes, service: Service, what: 'cell' | 'gasket' | 'part', path: string): void {
  const tags = ['stock']
  const keeping = { roles: ['stock', 'manager'] as const }

  app.patch(
    `${path}/:id`,
    {
      config: keeping,
      schema: {
        tags,
        summary: 'Its place, the heat it saw, the opening of its pack',
        params: byId,
        body: lotChangeBody,
        response: { 200: lotOut },
      },
    },
    async (request, reply) => {
      const check = expectedVersion(request)
      const lot = await act(service, signerOf(request), (doing) =>
        changeLot(doing, what, request.params.id, request.body, check),
      )
      reply.header('etag', etagOf(lot.version))
      return shownLot(lot)
    },
  )
  app.get(
    `${path}/:id/entries`,
    {
      config: { roles: ['counter', 'bench', 'stock', 'manager'] },
      schema: {
        tags,
        summary: 'Every movement of its pieces',
        params: byId,
        querystring: z.strictObject(pageQuery),
        response: { 200: z.object({ items: z.array(entryOut) }) },
      },
    },
    async (request, reply) => {
      const after = afterOf(request, 1)
      const rows = await listEntries(
        service.database.prisma,
        what,
        request.params.id,
        after ? String(after[0]) : null,
        request.query.limit,
      )
      return page(request, reply, rows, (row) => [row.id])
    },
  )
  app.post(
    `${path}/:id/entries`,
    {
      config: { roles: ['bench', 'stock', 'manager'] },
      schema: {
        tags,
        summary: 'Back to the shelf, damaged, or back to the supplier',
        params: byId,
        body: plainEntryBody,
        response: { 201: entryOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => recordPlainEntry(doing, what, request.params.id, request.body)),
  )
  app.post(
    `${path}/:id/blocks`,
    {
      config: keeping,
      schema: { tags, summary: 'Block a lot at once', params: byId, body: blockBody, response: { 201: lotOut } },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => blockLot(doing, what, request.params.id, request.body)),
  )
  app.post(
    `${path}/:id/releases`,
    {
      config: { roles: ['manager'] },
      schema: {
        tags,
        summary: 'Take a block back',
        params: byId,
        body: z.strictObject({ note: line(300) }),
        response: { 201: lotOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => releaseLot(doing, what, request.params.id, request.body.note)),
  )
}
