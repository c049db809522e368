import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import type { Routes } from '../../http/routes.ts'
import type { Service } from '../../http/service.ts'
import { byId, id, idOut, prose } from '../../http/shapes.ts'
import { recordEvent, recordNote, recordWear } from './facts.ts'
import { eventBody, noteBody, recordedOut, summaryOut, wearBody } from './shapes.ts'
import { strikeFact } from './strikes.ts'

export function factRoutes(app: Routes, service: Service): void {
  const config = { roles: ['counter', 'bench', 'manager'] as const }
  const schema = { tags: ['facts'], params: byId }

  app.post(
    '/v1/watches/:id/events',
    {
      config,
      schema: {
        ...schema,
        summary: 'Record what happened to a watch; its dates change at once',
        body: eventBody,
        response: { 201: recordedOut },
      },
    },
    (request, reply) => createOnce(service, request, reply, (act) => recordEvent(act, request.params.id, request.body)),
  )
  app.post(
    '/v1/watches/:id/wear',
    {
      config,
      schema: {
        ...schema,
        summary: 'Record how the present owner wears it',
        body: wearBody,
        response: { 201: recordedOut },
      },
    },
    (request, reply) => createOnce(service, request, reply, (act) => recordWear(act, request.params.id, request.body)),
  )
  app.post(
    '/v1/watches/:id/notes',
    {
      config: { roles: ['bench', 'manager'] as const },
      schema: {
        ...schema,
        summary: 'A watchmaker’s note: bring this one back sooner',
        body: noteBody,
        response: { 201: recordedOut },
      },
    },
    (request, reply) => createOnce(service, request, reply, (act) => recordNote(act, request.params.id, request.body)),
  )
  app.post(
    '/v1/watches/:id/strikes',
    {
      config,
      schema: {
        ...schema,
        summary: 'Strike a mistaken fact; it stays on file and no longer counts',
        body: z.strictObject({ factId: id, reason: prose(500), replacement: eventBody.optional() }),
        response: { 201: z.object({ factId: idOut, replacedBy: idOut.nullable(), ...summaryOut }) },
      },
    },
    (request, reply) => createOnce(service, request, reply, (act) => strikeFact(act, request.params.id, request.body)),
  )
}
