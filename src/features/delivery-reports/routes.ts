import { z } from 'zod'
import { Refusal } from '../../domain/refusals.ts'
import type { Routes } from '../../http/routes.ts'
import { type Service, signerOf } from '../../http/service.ts'
import { idOut } from '../../http/shapes.ts'
import { takeReports } from './delivery-reports.ts'

const takenOut = z.object({
  noticeId: idOut.nullable(),
  action: z.string(),
  status: z.string(),
  address: z.enum(['good', 'suspect', 'suppressed']).nullable(),
  fresh: z.boolean(),
})

/** A mailbox file of a busy morning; a report is a few kilobytes. */
const LARGEST = 20 * 1024 * 1024
const handlerTimeout = 600_000

export function deliveryReportRoutes(app: Routes, service: Service): void {
  app.addContentTypeParser(
    ['message/rfc822', 'application/mbox'],
    { parseAs: 'buffer', bodyLimit: LARGEST },
    (_request, body, done) => done(null, body),
  )
  app.removeContentTypeParser('application/json')
  app.post(
    '/v1/delivery-reports',
    {
      config: { roles: ['counter', 'manager'] as const },
      bodyLimit: LARGEST,
      handlerTimeout,
      schema: {
        tags: ['letters'],
        summary:
          'Take delivery reports (RFC 3464): one message as message/rfc822, or a mailbox file as application/mbox; taking one twice changes nothing',
        response: {
          200: z.object({
            messages: z.number().int(),
            notReports: z.number().int(),
            foreign: z.number().int(),
            taken: z.array(takenOut),
          }),
        },
      },
    },
    (request) => {
      const { body } = request
      if (!Buffer.isBuffer(body))
        throw new Refusal('unsupported-media-type', { accepted: 'message/rfc822 or application/mbox' })
      return takeReports(service, signerOf(request), body)
    },
  )
}
