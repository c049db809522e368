import { z } from 'zod'
import { buckets } from '../../domain/stock/buckets.ts'
import { createOnce } from '../../http/creating.ts'
import { withEtag } from '../../http/editing.ts'
import { pageBy, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { byId, dayOut, line, partialDay } from '../../http/shapes.ts'
import { lotRoutes } from '../stock-entries/lot-routes.ts'
import { lotOut } from '../stock-entries/lots.ts'
import { celsius, delivered, flag, flagOf, place } from '../stock-entries/shapes.ts'
import { listCellLots, receiveCells, showCellLot } from './cell-lots.ts'

const newLot = z.strictObject({
  designation: line(20),
  ...delivered,
  bestBefore: partialDay.optional(),
  manufactured: partialDay.optional(),
  dateCode: line(12).optional(),
  dateCodeTable: line(60).optional(),
  capacityMah: z.number().min(0.1).max(100_000).optional(),
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
      return pageBy(
        request,
        reply,
        (row) => row.id,
        (after) => listCellLots(service.database.prisma, filter, after, limit, todayAt(service)),
      )
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
