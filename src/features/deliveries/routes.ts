import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import type { Routes } from '../../http/routes.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { day, dayOut, line } from '../../http/shapes.ts'
import { cellLotOut } from '../cell-lots/routes.ts'
import { celsius, cost, pieces, place } from '../stock-entries/shapes.ts'
import { readScan, receiveScanned } from './deliveries.ts'

// a scanner sends its separators as control characters, so this is no line of text
const scanned = z.string().min(1).max(400)

export function deliveryRoutes(app: Routes, service: Service): void {
  const tags = ['stock']
  const config = { roles: ['stock', 'manager'] as const }

  app.post(
    '/v1/deliveries/reading',
    {
      config,
      schema: {
        tags,
        summary: 'What a scanned pack says (GS1 element string); nothing is written',
        body: z.strictObject({ scanned }),
        response: {
          200: z.object({
            itemNumber: z.string().nullable(),
            lotNumber: z.string().nullable(),
            manufactured: dayOut.nullable(),
            bestBefore: dayOut.nullable(),
            count: z.number().int().nullable(),
            serial: z.string().nullable(),
            furtherId: z.string().nullable(),
            designation: z.string().nullable(),
            piecesInPack: z.number().int().nullable(),
          }),
        },
      },
    },
    (request) => readScan(service.database.prisma, request.body.scanned, todayAt(service)),
  )
  app.post(
    '/v1/deliveries',
    {
      config,
      schema: {
        tags,
        summary: 'Receive a scanned pack as a cell lot',
        body: z.strictObject({
          scanned,
          supplier: line(80),
          receivedOn: day.optional(),
          packs: pieces.max(1000).optional(),
          unitCost: cost,
          storagePlace: place,
          maxCelsius: celsius.optional(),
        }),
        response: { 201: cellLotOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        receiveScanned(doing, request.body, service.config.centre.currency),
      ),
  )
}
