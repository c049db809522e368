import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import type { Routes } from '../../http/routes.ts'
import { act, type Service, signerOf } from '../../http/service.ts'
import { byId, day, dayOut, id, idOut, line } from '../../http/shapes.ts'
import { summaryOut } from '../facts/shapes.ts'
import { forSomething, pieces, someFor, whom } from '../stock-entries/shapes.ts'
import { fitCell } from './fit.ts'
import { issueCells, issueReserved, releaseReservation, reserveCells, sellLoose } from './issue.ts'

const wants = z
  .array(z.strictObject({ designation: line(20), pieces: pieces.max(20) }))
  .min(1)
  .max(4)
const shortLife = z.strictObject({
  ownerTold: z.literal(true, { error: 'must be true: the owner is told before a short-life cell is fitted' }),
  note: line(300),
})
const grade = z.enum(['full-life', 'short-life'])
const takenOut = z.object({
  cells: z.array(
    z.object({
      entryId: idOut,
      lotId: idOut,
      itemId: idOut,
      wantedId: idOut,
      pieces: z.number().int(),
      bestBefore: dayOut,
      grade,
      nextChangeOn: dayOut.nullable(),
    }),
  ),
})
export function cellMovingRoutes(app: Routes, service: Service): void {
  const tags = ['stock']
  const giving = { roles: ['counter', 'bench', 'stock', 'manager'] as const }

  app.post(
    '/v1/cell-issues',
    {
      config: giving,
      schema: {
        tags,
        summary: 'Take cells for a watch: first to expire first among those that live long enough, all from one lot',
        body: z
          .strictObject({
            ...forSomething,
            wants: wants.optional(),
            intervalMonths: z.number().int().min(1).max(240).optional(),
            shortLife: shortLife.optional(),
          })
          .refine(someFor, whom),
        response: { 201: takenOut },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => issueCells(doing, request.body)),
  )
  app.post(
    '/v1/loose-sales',
    {
      config: { roles: ['counter', 'stock', 'manager'] },
      schema: {
        tags,
        summary: 'Sell loose cells in their child-safe pack, with the warning given',
        body: z.strictObject({
          designation: line(20),
          pieces: pieces.max(100),
          childSafePack: z.literal(true, { error: 'must be true: no loose cell leaves without its child-safe pack' }),
          warningGiven: z.literal(true, {
            error: 'must be true: a swallowed cell burns within about two hours; say so',
          }),
          note: line(300).optional(),
        }),
        response: { 201: takenOut },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => sellLoose(doing, request.body)),
  )
  app.post(
    '/v1/cell-reservations',
    {
      config: giving,
      schema: {
        tags,
        summary: 'Keep cells for a planned fitting day; they stay on the shelf and are no longer available',
        body: z
          .strictObject({ ...forSomething, plannedOn: day, wants: wants.optional(), shortLife: shortLife.optional() })
          .refine(someFor, whom),
        response: {
          201: z.object({
            plannedOn: dayOut,
            reservations: z.array(
              z.object({
                id: idOut,
                lotId: idOut,
                wantedId: idOut,
                pieces: z.number().int(),
                grade,
                bestBefore: dayOut,
              }),
            ),
          }),
        },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => reserveCells(doing, request.body)),
  )
  app.post(
    '/v1/cell-reservations/:id/issue',
    {
      config: giving,
      schema: {
        tags,
        summary: 'Take what was reserved; it is graded and tested for a block afresh',
        params: byId,
        body: z.strictObject({ shortLife: shortLife.optional() }),
        response: { 201: takenOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => issueReserved(doing, request.params.id, request.body.shortLife)),
  )
  app.post(
    '/v1/cell-reservations/:id/release',
    {
      config: giving,
      schema: {
        tags,
        summary: 'Give reserved pieces free again',
        params: byId,
        response: { 200: z.object({ id: idOut, state: z.literal('released') }) },
      },
    },
    (request) => act(service, signerOf(request), (doing) => releaseReservation(doing, request.params.id)),
  )
  app.post(
    '/v1/cell-fittings',
    {
      config: { roles: ['bench', 'manager'] },
      schema: {
        tags,
        summary: 'Fit cells that are out at the bench; the watch’s next change is reckoned at once',
        body: z.strictObject({
          watchId: id,
          ticketId: id.optional(),
          on: day.optional(),
          cells: z
            .array(z.strictObject({ lotId: id, pieces: pieces.max(20) }))
            .min(1)
            .max(4),
          consumptionMicroamps: z.number().min(0.000001).max(1_000_000).optional(),
          shortLife: shortLife.optional(),
        }),
        response: {
          201: z.object({
            eventId: idOut,
            entryIds: z.array(idOut),
            grades: z.array(grade),
            lifeMonths: z.number().int().nullable(),
            ...summaryOut,
          }),
        },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => fitCell(doing, request.body)),
  )
}
