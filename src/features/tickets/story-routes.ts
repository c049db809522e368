import { z } from 'zod'
import type { Routes } from '../../http/routes.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { byId, idOut, instantOut } from '../../http/shapes.ts'
import { storyOf } from './story.ts'
import { storyPdf } from './story-pdf.ts'

const storyOut = z.object({
  watchId: idOut,
  watch: z.string(),
  serial: z.string().nullable(),
  kind: z.string(),
  entries: z.array(
    z.object({
      at: instantOut,
      on: z.string(),
      learned: instantOut,
      ticket: z.string().nullable(),
      what: z.string(),
      words: z.string(),
      by: z.string(),
      record: idOut,
      struck: z.string().nullable(),
    }),
  ),
  fingerprint: z.string(),
})

export function storyRoutes(app: Routes, service: Service): void {
  app.get(
    '/v1/watches/:id/story',
    {
      config: { roles: ['counter', 'bench', 'manager'] },
      schema: {
        tags: ['tickets'],
        summary:
          'The whole story of a watch in order of time: every ticket, fact, gate, override and signer; also as application/pdf',
        params: byId,
        response: { 200: storyOut },
      },
    },
    async (request, reply) => {
      const story = await storyOf(service.database.prisma, request.params.id)
      if (!/\bapplication\/pdf\b/.test(request.headers.accept ?? '')) return story
      const paper = await storyPdf(story, service.config.centre.name, todayAt(service))
      return reply
        .type('application/pdf')
        .header('content-disposition', 'inline; filename="story.pdf"')
        .serializer((bytes) => bytes as string)
        .send(paper as never)
    },
  )
}
