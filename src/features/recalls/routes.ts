import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import { pageBy, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { act, type Service, signerOf, todayAt } from '../../http/service.ts'
import { byId, day, dayOut, id, idOut, line, prose } from '../../http/shapes.ts'
import { whats } from '../stock-entries/lots.ts'
import { desk } from '../tickets/desk.ts'
import { openFreeChange } from './free-change.ts'
import { closeRecall, listRecalls, noteWatch, openRecall } from './recalls.ts'
import { reaches, showRecall } from './showing.ts'
import { tellOwners } from './telling.ts'

const whole = z.number().int()
const terms = {
  received: whole,
  shelf: whole,
  outAtBench: whole,
  fitted: whole,
  soldLoose: whole,
  damaged: whole,
  returnedToSupplier: whole,
  writtenOff: whole,
  countedDifference: whole,
  unaccounted: whole,
}
const watchOut = z.object({
  watchId: idOut,
  certainty: z.enum(['fitted', 'possible']),
  pieces: whole,
  state: z.enum(['to-tell', 'letter-queued', 'tell-at-next-sight', 'told', 'settled']),
  note: z.string().nullable(),
  ticketId: idOut.nullable(),
  noticeId: idOut.nullable(),
  letter: z.string().nullable(),
  maker: z.string(),
  model: z.string().nullable(),
  serialEnd: z.string().nullable(),
  ownerId: idOut.nullable(),
  reach: z.enum(reaches),
  byMail: z.boolean(),
})
const recallOut = z.object({
  id: idOut,
  on: dayOut,
  itemId: idOut,
  what: z.enum(whats),
  name: z.string(),
  supplier: z.string(),
  lotNumber: z.string().nullable(),
  from: dayOut.nullable(),
  to: dayOut.nullable(),
  reason: z.string(),
  openedOn: dayOut,
  openedBy: z.string(),
  closedOn: dayOut.nullable(),
  closingNote: z.string().nullable(),
  mass: z.object({
    lots: z.array(z.object({ lotId: idOut, lotNumber: z.string().nullable(), receivedOn: dayOut, ...terms })),
    sum: z.object(terms),
    balances: z.boolean(),
  }),
  reserved: z.array(
    z.object({
      reservationId: idOut,
      lotId: idOut,
      ticketId: idOut.nullable(),
      watchId: idOut.nullable(),
      pieces: whole,
    }),
  ),
  atBench: z.array(z.object({ lotId: idOut, ticketId: idOut.nullable(), watchId: idOut.nullable(), pieces: whole })),
  fitted: z.object({
    pieces: whole,
    watches: z.array(watchOut),
    reachable: whole,
    inHouse: whole,
    ownersToWriteTo: whole,
    tellAtNextSight: whole,
  }),
  takenOutSince: z.array(z.object({ watchId: idOut, pieces: whole })),
  possible: z.array(watchOut),
  progress: z.object({ all: whole, settled: whole, open: whole }),
})

export function recallRoutes(app: Routes, service: Service): void {
  const tags = ['stock']
  const config = { roles: ['stock', 'manager'] as const }

  app.post(
    '/v1/recalls',
    {
      config,
      schema: {
        tags,
        summary:
          'Recall a lot of cells, gaskets or parts: blocks it at once and finds every watch that holds its pieces',
        body: z.strictObject({
          designation: line(20).optional(),
          kindId: id.optional(),
          partId: id.optional(),
          supplier: line(80),
          lotNumber: line(40).optional(),
          from: day.optional(),
          to: day.optional(),
          reason: line(300),
        }),
        response: { 201: recallOut },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => openRecall(doing, request.body)),
  )
  app.get(
    '/v1/recalls',
    {
      config: { roles: ['counter', 'bench', 'stock', 'manager'] },
      schema: {
        tags,
        summary: 'Recalls',
        querystring: z.strictObject(pageQuery),
        response: {
          200: z.object({
            items: z.array(
              z.object({
                id: idOut,
                what: z.enum(whats),
                name: z.string(),
                supplier: z.string(),
                lotNumber: z.string().nullable(),
                openedOn: dayOut,
                closedOn: dayOut.nullable(),
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
        (after, limit) => listRecalls(service.database.prisma, after, limit),
      ),
  )
  app.get(
    '/v1/recalls/:id',
    {
      config: { roles: ['counter', 'stock', 'manager'] },
      schema: {
        tags,
        summary: 'A recall: mass balance, shelf, watches and owners, progress',
        params: byId,
        response: { 200: recallOut },
      },
    },
    (request) => showRecall(service.database.prisma, request.params.id, todayAt(service)),
  )
  app.post(
    '/v1/recalls/:id/watches/:watchId/progress',
    {
      config: { roles: ['counter', 'stock', 'manager'] },
      schema: {
        tags,
        summary: 'Note where a watch of the recall stands',
        params: z.strictObject({ id, watchId: id }),
        body: z.strictObject({
          state: z.enum(['to-tell', 'tell-at-next-sight', 'told', 'settled']),
          note: line(300).optional(),
        }),
        response: { 200: recallOut },
      },
    },
    (request) =>
      act(service, signerOf(request), (doing) =>
        noteWatch(doing, request.params.id, request.params.watchId, request.body),
      ),
  )
  app.post(
    '/v1/recalls/:id/letters',
    {
      config,
      schema: {
        tags,
        summary:
          'Tell the owners: a letter to each who has a mail address, else a task for the counter; nobody is written to twice',
        params: byId,
        response: { 201: z.object({ queued: whole, recall: recallOut }) },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => tellOwners(doing, request.params.id)),
  )
  app.post(
    '/v1/recalls/:id/watches/:watchId/tickets',
    {
      config: { roles: ['counter', 'manager'] },
      schema: {
        tags,
        summary: 'Book the watch in for its free change; of one in the house the open ticket is noted',
        params: z.strictObject({ id, watchId: id }),
        body: z.strictObject({ place: line(60).default('counter'), broughtBy: line(120).optional() }),
        response: { 201: z.object({ ticketId: idOut, recall: recallOut }) },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        openFreeChange(
          desk(service, doing),
          request.params.id,
          request.params.watchId,
          request.body,
          service.config.centre.country,
        ),
      ),
  )
  app.post(
    '/v1/recalls/:id/closing',
    {
      config: { roles: ['manager'] },
      schema: {
        tags,
        summary: 'Close a recall with a note to the supplier',
        params: byId,
        body: z.strictObject({ note: prose(2000) }),
        response: { 201: recallOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => closeRecall(doing, request.params.id, request.body.note)),
  )
}
