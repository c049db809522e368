import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import { etagOf, expectedVersion } from '../../http/editing.ts'
import { pageBy, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { act, type Service, signerOf } from '../../http/service.ts'
import { byId, idOut, line, moneyOut } from '../../http/shapes.ts'
import { writeOffOthers } from '../waste/waste.ts'
import { listEntries, recordPlainEntry } from './entries.ts'
import { blockLot, changeLot, releaseLot } from './keeping.ts'
import { lotOut, shownLot, type What } from './lots.ts'
import { blockBody, entryOut, lotChangeBody, pieces, plainEntryBody } from './shapes.ts'

/** What can be done with a lot of any kind: its entries, its place, its block. */
export function lotRoutes(app: Routes, service: Service, what: What, path: string): void {
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
    (request, reply) =>
      pageBy(
        request,
        reply,
        (row) => row.id,
        (after, limit) => listEntries(service.database.prisma, what, request.params.id, after, limit),
      ),
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
  // cells go into a box of their own, with their weight
  if (what === 'cell') return
  app.post(
    `${path}/:id/write-offs`,
    {
      config: keeping,
      schema: {
        tags,
        summary: 'Out of the drawer',
        params: byId,
        body: z.strictObject({ pieces, reason: line(300) }),
        response: { 201: z.object({ entryId: idOut, pieces: z.number().int(), cost: moneyOut }) },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => writeOffOthers(doing, what, request.params.id, request.body)),
  )
}
