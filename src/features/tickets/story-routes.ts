import { z } from 'zod'
import type { Routes } from '../../http/routes.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { byId, dayOut, idOut, instantOut, partialDayOut } from '../../http/shapes.ts'
import { storyOf } from './story.ts'
import { storyPdf } from './story-pdf.ts'

const storyOut = z.object({
  watchId: idOut,
  watch: z.string(),
  serial: z.string().nullable(),
  kind: z.string(),
  zone: z.string().meta({ description: 'the time zone of the centre, by which days are told' }),
  entries: z.array(
    z.object({
      at: instantOut.meta({
        description: 'when it happened; where only a day, month or year is known, its beginning at the centre',
      }),
      on: partialDayOut.meta({ description: 'the day it happened, as far as it is known' }),
      learned: instantOut.meta({ description: 'when it was written down' }),
      recordedOn: dayOut.meta({ description: "the centre's day on which it was written down" }),
      ticket: z.string().nullable(),
      what: z.string(),
      words: z.string(),
      by: z.string(),
      record: idOut,
      struck: z.string().nullable().meta({ description: 'why it was struck; it no longer counts' }),
      struckBy: z.string().nullable(),
    }),
  ),
  cautions: z.array(z.string()),
  fingerprint: z.string(),
})

export function storyRoutes(app: Routes, service: Service): void {
  app.get(
    '/v1/watches/:id/story',
    {
      config: { roles: ['counter', 'bench', 'stock', 'manager'] },
      schema: {
        tags: ['tickets'],
        summary:
          'The whole story of a watch in order of the time it happened: every ticket, fact, gate, override and signer; also as application/pdf',
        params: byId,
        response: { 200: storyOut },
      },
    },
    async (request, reply) => {
      const story = await storyOf(service.database.prisma, request.params.id, service.config.centre.timeZone)
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
