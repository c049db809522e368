import multipart from '@fastify/multipart'
import type { FastifyRequest } from 'fastify'
import { z } from 'zod'
import { Refusal } from '../../domain/refusals.ts'
import { createOnce } from '../../http/creating.ts'
import type { Routes } from '../../http/routes.ts'
import { type Service, signerOf } from '../../http/service.ts'
import { byId, id, idOut } from '../../http/shapes.ts'
import { desk, happened, ticketParam } from './desk.ts'
import {
  addPictures,
  describePicture,
  findPicture,
  keepPicture,
  MOST,
  PICTURE_BYTES,
  type Picture,
  readPicture,
} from './pictures.ts'

export const view = z.enum(['dial', 'back', 'crown-side', 'opposite-side', 'lugs', 'clasp', 'inside-bracelet', 'other'])
const uploadOut = z.object({
  id: idOut,
  sha256: z.string(),
  mediaType: z.string(),
  bytes: z.number().int(),
  width: z.number().int(),
  height: z.number().int(),
})

/** A name that tries to leave its folder, or hides a character; nothing is ever stored under a sender's name. */
const trick = /[/\\]|\.\.|\p{Cc}/u

async function uploaded(request: FastifyRequest): Promise<Picture> {
  const parts: { filename: string; content: Buffer }[] = []
  try {
    for await (const part of request.parts({ preservePath: true })) {
      if (part.type !== 'file')
        throw new Refusal('picture-refused', {
          why: `the part "${part.fieldname.slice(0, 40)}" is not a file; send one file and nothing else`,
        })
      const content = await part.toBuffer()
      parts.push({ filename: part.filename, content })
    }
  } catch (error) {
    const { code } = error as { code?: string }
    if (code === 'FST_REQ_FILE_TOO_LARGE') throw new Refusal('body-too-large', { most: MOST })
    if (code === 'FST_FILES_LIMIT' || code === 'FST_PARTS_LIMIT' || code === 'FST_FIELDS_LIMIT')
      throw new Refusal('picture-refused', { why: 'send one file and nothing else' })
    if (code === 'FST_INVALID_MULTIPART_CONTENT_TYPE')
      throw new Refusal('unsupported-media-type', { accepted: 'multipart/form-data with one file' })
    if (error instanceof Refusal) throw error
    throw new Refusal('picture-refused', { why: 'the form could not be read to its end' })
  }
  const [part] = parts
  if (!part) throw new Refusal('picture-refused', { why: 'there is no file in the form' })
  if (trick.test(part.filename ?? ''))
    throw new Refusal('picture-refused', { why: 'its name has a path or a hidden character; send a plain file name' })
  return readPicture(part.content)
}

export async function pictureRoutes(app: Routes, service: Service): Promise<void> {
  const tags = ['pictures']
  const folder = service.config.dataFolder
  const staff = { roles: ['counter', 'bench', 'manager'] as const }
  await app.register(multipart, {
    limits: { files: 1, fields: 0, parts: 1, fileSize: PICTURE_BYTES, headerPairs: 20 },
    throwFileSizeLimit: true,
  })

  app.post(
    '/v1/pictures',
    {
      config: staff,
      bodyLimit: PICTURE_BYTES + 65_536,
      schema: {
        tags,
        summary:
          'Upload one picture (JPEG, PNG or WebP, at most 12 MiB) as multipart/form-data; then name its id when booking in or under a ticket',
        consumes: ['multipart/form-data'],
        response: { 201: uploadOut },
      },
    },
    async (request, reply) => {
      // read and judged before the transaction: a slow sender holds no connection, and the key covers the content itself
      const picture = await uploaded(request)
      request.body = { sha256: picture.sha256 } as never
      await createOnce(service, request, reply, (doing) => keepPicture(desk(service, doing), folder, picture))
    },
  )
  app.get(
    '/v1/pictures/:id',
    {
      config: staff,
      schema: {
        tags,
        summary: 'An uploaded picture: its size and hash, and the ticket it was put to',
        params: byId,
        response: { 200: uploadOut.extend({ ticketId: idOut.nullable(), view: z.string().nullable() }) },
      },
    },
    (request) => describePicture(service.database.prisma, request.params.id),
  )
  app.post(
    '/v1/tickets/:ticket/pictures',
    {
      config: staff,
      schema: {
        tags,
        summary: 'Put uploaded pictures to a ticket, each with its fixed view',
        params: ticketParam,
        body: z.strictObject({
          pictures: z.array(z.strictObject({ id, view })).min(1).max(40),
          stage: z.enum(['booking-in', 'look', 'bench', 'final-check']).default('booking-in'),
          at: happened,
        }),
        response: { 201: z.object({ ids: z.array(idOut) }) },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        addPictures(desk(service, doing), request.params.ticket, request.body),
      ),
  )
  app.get(
    '/v1/tickets/:ticket/pictures/:picture',
    {
      config: { roles: ['counter', 'bench', 'stock', 'manager'] },
      schema: {
        tags,
        summary: 'A picture of this ticket',
        params: ticketParam.extend({ picture: id }),
        produces: ['image/jpeg', 'image/png', 'image/webp'],
      },
    },
    async (request, reply) => {
      signerOf(request)
      const found = await findPicture(service.database.prisma, folder, request.params.ticket, request.params.picture)
      return reply
        .type(found.mediaType)
        .header('content-length', found.bytes)
        .header('x-content-type-options', 'nosniff')
        .send(found.stream)
    },
  )
}
