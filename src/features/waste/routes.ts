import { z } from 'zod'
import { chemistries } from '../../domain/stock/sizes.ts'
import { createOnce } from '../../http/creating.ts'
import { withEtag } from '../../http/editing.ts'
import { pageBy, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import type { Service } from '../../http/service.ts'
import { byId, dayOut, idOut, line, moneyOut } from '../../http/shapes.ts'
import { cost, pieces } from '../stock-entries/shapes.ts'
import { collectBox, listBoxes, openBox, putSpentIn, showBox, writeOffCells } from './waste.ts'

const contents = z.enum(['silver-oxide', 'alkaline', 'lithium', 'mercury', 'other'])
const milligrams = z.number().int().min(1).max(1_000_000_000)
const boxOut = z.object({
  id: idOut,
  version: z.number().int(),
  contents,
  label: z.string(),
  openedOn: dayOut,
  openedBy: z.string(),
  pieces: z.number().int(),
  weightMg: z.number().int(),
  collectedOn: dayOut.nullable(),
  collector: z.string().nullable(),
  licence: z.string().nullable(),
  slipNumber: z.string().nullable(),
  credit: moneyOut.nullable(),
  caution: z.string(),
})

export function wasteRoutes(app: Routes, service: Service): void {
  const tags = ['stock']
  const config = { roles: ['stock', 'manager'] as const }

  app.post(
    '/v1/waste-boxes',
    {
      config,
      schema: {
        tags,
        summary: 'Open a box for one kind of waste',
        body: z.strictObject({ contents, label: line(60) }),
        response: { 201: boxOut },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => openBox(doing, request.body)),
  )
  app.get(
    '/v1/waste-boxes',
    {
      config,
      schema: {
        tags,
        summary: 'Boxes, open and collected',
        querystring: z.strictObject(pageQuery),
        response: { 200: z.object({ items: z.array(boxOut) }) },
      },
    },
    (request, reply) =>
      pageBy(
        request,
        reply,
        (row) => row.id,
        (after, limit) => listBoxes(service.database.prisma, after, limit),
      ),
  )
  app.get(
    '/v1/waste-boxes/:id',
    { config, schema: { tags, summary: 'A box, its weight and its slip', params: byId, response: { 200: boxOut } } },
    async (request, reply) => withEtag(reply, await showBox(service.database.prisma, request.params.id)),
  )
  app.post(
    '/v1/waste-boxes/:id/collection',
    {
      config,
      schema: {
        tags,
        summary: 'Hand a box to the licensed collector; the slip closes it',
        params: byId,
        body: z.strictObject({
          collector: line(100),
          licence: line(60),
          slipNumber: line(60),
          credit: cost.optional(),
        }),
        response: { 201: boxOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        collectBox(doing, request.params.id, request.body, service.config.centre.currency),
      ),
  )
  app.post(
    '/v1/spent-cells',
    {
      config: { roles: ['counter', 'bench', 'stock', 'manager'] },
      schema: {
        tags,
        summary: 'Spent cells into the box of their kind; lithium with insulated poles, mercury apart',
        body: z.strictObject({
          chemistry: z.enum(chemistries),
          pieces,
          weightMg: milligrams,
          polesInsulated: z.boolean().optional(),
        }),
        response: { 201: boxOut },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => putSpentIn(doing, request.body)),
  )
  app.post(
    '/v1/cell-lots/:id/write-offs',
    {
      config,
      schema: {
        tags,
        summary: 'Out of the drawer by signature, weight into the box of its kind',
        params: byId,
        body: z.strictObject({
          pieces,
          reason: line(300),
          weightMg: milligrams.optional(),
          polesInsulated: z.boolean().optional(),
        }),
        response: {
          201: z.object({
            entryId: idOut,
            boxId: idOut,
            pieces: z.number().int(),
            cost: moneyOut,
            weightMg: z.number().int(),
            slip: z.literal('to follow'),
          }),
        },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => writeOffCells(doing, request.params.id, request.body)),
  )
}
