import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import type { Routes } from '../../http/routes.ts'
import type { Service } from '../../http/service.ts'
import { byId, day, dayOut, id, idOut, line, obligationKind, source } from '../../http/shapes.ts'
import { acknowledgeKeepDry, makeAppointment, refuseOffer, setLawfulBasis, tellApart } from './decide-facts.ts'

/** The counter's door to what decides whether a letter goes. */
export function lettersQuietRoutes(app: Routes, service: Service): void {
  const config = { roles: ['counter', 'manager'] as const }
  const schema = { tags: ['letters'], params: byId }
  app.post(
    '/v1/watches/:id/refused-offers',
    {
      config,
      schema: {
        ...schema,
        summary: 'The owner said no to an offer: the item is quiet for a while, then one letter goes',
        body: z.strictObject({ kind: obligationKind, on: day.optional(), source }),
        response: { 201: z.object({ id: idOut, watchId: idOut, kind: z.string(), on: dayOut }) },
      },
    },
    (request, reply) => createOnce(service, request, reply, (act) => refuseOffer(act, request.params.id, request.body)),
  )
  app.post(
    '/v1/watches/:id/appointments',
    {
      config,
      schema: {
        ...schema,
        summary: 'The owner comes in on a day; null: not after all. No letters about the watch until a week after',
        body: z.strictObject({ on: day.nullable(), source }),
        response: { 201: z.object({ id: idOut, watchId: idOut, on: dayOut.nullable() }) },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (act) => makeAppointment(act, request.params.id, request.body)),
  )
  app.post(
    '/v1/watches/:id/keep-dry-acknowledgements',
    {
      config,
      schema: {
        ...schema,
        summary: 'The owner has taken in that the watch must be kept dry; the line leaves the letters',
        response: { 201: z.object({ id: idOut, watchId: idOut, on: dayOut }) },
      },
    },
    (request, reply) => createOnce(service, request, reply, (act) => acknowledgeKeepDry(act, request.params.id)),
  )
  app.post(
    '/v1/owners/:id/lawful-bases',
    {
      config: { roles: ['manager'] as const },
      schema: {
        ...schema,
        summary: 'By what right this owner is written to, and until when; null: by none',
        body: z.strictObject({ basis: line(200).nullable(), keepUntil: day.optional() }),
        response: {
          201: z.object({ id: idOut, ownerId: idOut, basis: z.string().nullable(), keepUntil: dayOut.nullable() }),
        },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (act) => setLawfulBasis(act, request.params.id, request.body)),
  )
  app.post(
    '/v1/owners/:id/differences',
    {
      config,
      schema: {
        ...schema,
        summary: 'This record and another look like one person and are two',
        body: z.strictObject({ otherId: id }),
        response: { 201: z.object({ ownerId: idOut, otherId: idOut }) },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (act) => tellApart(act, request.params.id, request.body.otherId)),
  )
}
