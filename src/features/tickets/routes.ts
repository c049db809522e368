import { z } from 'zod'
import { sideStates, steps } from '../../domain/tickets/steps.ts'
import { createOnce } from '../../http/creating.ts'
import { createOnceBySql } from '../../http/creating-by-sql.ts'
import { afterOf, page, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { day, dayOut, id, idOut, line, money, prose } from '../../http/shapes.ts'
import { ownerBody } from '../owners/routes.ts'
import { hazardKind, watchBody } from '../watches/routes.ts'
import { bookIn, bookKnown } from './booking.ts'
import { desk, ticketId, ticketParam } from './desk.ts'
import { guaranteesOf } from './guarantees.ts'
import { endOf, isWork, listTickets } from './list.ts'
import { moveTicket, overrideGate } from './moves.ts'
import { readTicket } from './read-ticket.ts'
import { said, say } from './records.ts'
import { conditionBody, doNot, releaseBody } from './said.ts'
import { gateOut, gatesOut, shownGates, shownTicket, ticketOut, twinOut } from './shown.ts'
import { endTicket, enterSide, leaveSide, planOf, recordUnclaimed } from './side-states.ts'

const everybody = ['counter', 'bench', 'stock', 'manager'] as const
const counter = ['counter', 'manager'] as const
const view = z.enum(['dial', 'back', 'crown-side', 'opposite-side', 'lugs', 'clasp', 'inside-bracelet', 'other'])

const bookingBody = z.strictObject({
  owner: z.union([z.strictObject({ id }), z.strictObject({ new: ownerBody, confirmedNew: z.boolean().optional() })]),
  watch: z.union([
    z.strictObject({ id }),
    z.strictObject({ new: watchBody.omit({ ownerId: true }), confirmedNew: z.boolean().optional() }),
  ]),
  broughtBy: line(120).optional(),
  complaint: prose(2000),
  returnWish: line(200).optional(),
  place: line(60).default('counter'),
  dial: line(40).optional(),
  pictures: z.array(z.strictObject({ id, view })).max(40).optional(),
  condition: conditionBody.optional(),
  looseItems: z
    .array(z.strictObject({ bag: line(40), words: line(120) }))
    .max(20)
    .refine((items) => new Set(items.map((item) => item.bag)).size === items.length, { error: 'names a bag twice' })
    .optional(),
  declaredValue: money.nullable().optional(),
  ceiling: money.optional(),
  doNot: z.array(doNot).max(20).optional(),
  mayApprove: z.array(line(120)).max(20).optional(),
  mayCollect: z.array(line(120)).max(20).optional(),
  willCallIn: z.boolean().optional(),
  hazards: z
    .array(z.strictObject({ kind: hazardKind, note: line(200).optional(), confirmedBy: line(80).optional() }))
    .max(10)
    .optional(),
  comebackOf: line(60).optional(),
  handingIn: id.optional(),
})

const dueOut = z.object({ kind: z.string(), rule: z.string(), dueOn: dayOut, standing: z.string() })
const bookedOut = z.object({
  id: idOut,
  number: z.string(),
  step: z.string(),
  watchId: idOut,
  ownerId: idOut,
  nextActor: z.string(),
  nextBy: dayOut,
  alsoDue: z.array(dueOut),
  warnings: z.array(z.string()).meta({
    description: 'doubts about what is on file, a recall, an owner who has died (owner-deceased) or in-dispute',
  }),
  guarantees: z
    .array(z.object({ ticket: z.string(), what: z.string(), lastDay: dayOut }))
    .meta({ description: 'lines of earlier tickets whose guarantee runs today: is the watch back under one of them?' }),
  twins: z.array(twinOut),
  doNot: z.array(z.string()),
})

const rowOut = z.object({
  id: idOut,
  number: z.string(),
  step: z.string(),
  side: z.string().nullable(),
  ended: z.string().nullable(),
  watchId: idOut,
  ownerId: idOut,
  ownerName: z.string(),
  watch: z.string(),
  bookedOn: dayOut,
  promisedOn: dayOut.nullable(),
  nextActor: z.string().nullable(),
  nextBy: dayOut.nullable(),
  place: z.string().nullable(),
  holder: z.string().nullable(),
})

const planOut = z.object({
  deliveredOn: dayOut,
  steps: z.array(z.object({ step: z.string(), on: dayOut, postOn: dayOut })).readonly(),
  next: z.string().nullable(),
  after: z.object({
    state: z.string(),
    because: z.string().optional(),
    name: z.string().optional(),
    noStepThrough: dayOut.optional(),
  }),
})

export function ticketRoutes(app: Routes, service: Service): void {
  const tags = ['tickets']
  const { currency, country, timeZone } = service.config.centre
  const { prisma } = service.database

  const read = (ref: string) => readTicket(service, ref)

  app.post(
    '/v1/tickets',
    {
      config: { roles: counter },
      schema: {
        tags,
        summary: 'Book a watch in: one call for owner, watch, condition and all that is agreed',
        body: bookingBody,
        response: { 201: bookedOut },
      },
    },
    (request, reply) => {
      const { owner, watch } = request.body
      // the usual case, both on file, is the counter's all day long: it takes the fast door
      return 'id' in owner && 'id' in watch
        ? createOnceBySql(service, request, reply, (doing) =>
            bookKnown({ ...doing, currency }, request.body, owner.id, watch.id),
          )
        : createOnce(service, request, reply, (doing) => bookIn(desk(service, doing), request.body, country))
    },
  )
  app.get(
    '/v1/tickets',
    {
      config: { roles: everybody },
      schema: {
        tags,
        summary:
          'Tickets by number, step, watch, owner, place; by nextActor, holder or dueBefore those of a working day, the soonest first',
        querystring: z.strictObject({
          ...pageQuery,
          number: z.string().max(60).optional(),
          step: z.enum(steps).optional(),
          side: z.enum(sideStates).optional(),
          watchId: id.optional(),
          ownerId: id.optional(),
          handingIn: id.optional(),
          place: line(60)
            .meta({ description: 'where the watch lies; of open tickets, unless open says otherwise' })
            .optional(),
          holder: line(80).meta({ description: 'who has the watch; of open tickets' }).optional(),
          nextActor: z
            .enum(['counter', 'bench', 'stock', 'manager', 'final-checker'])
            .meta({ description: 'who must act next; of open tickets' })
            .optional(),
          dueBefore: day
            .meta({ description: 'whoever acts next must do so before this day; for the work of today name tomorrow' })
            .optional(),
          open: z.enum(['true', 'false']).optional(),
        }),
        response: { 200: z.object({ items: z.array(rowOut) }) },
      },
    },
    async (request, reply) => {
      const { open, limit, after: _, ...filter } = request.query
      const wanted = { ...filter, ...(open !== undefined && { open: open === 'true' }) }
      const after = isWork(wanted) ? afterOf(request, 'day', 'id') : afterOf(request, 'id')
      const rows = await listTickets(prisma, wanted, after, limit)
      return page(request, reply, rows, (row) => endOf(wanted, row))
    },
  )
  app.get(
    '/v1/tickets/:ticket',
    {
      config: { roles: everybody },
      schema: { tags, summary: 'A ticket, by id or by its number', params: ticketParam, response: { 200: ticketOut } },
    },
    async (request) => shownTicket(await read(request.params.ticket)),
  )
  app.get(
    '/v1/tickets/:ticket/gates',
    {
      config: { roles: everybody },
      schema: {
        tags,
        summary:
          'Each gate: open or shut, why, what would open it, and who may override; and what shuts each move from here',
        params: ticketParam,
        response: { 200: gatesOut },
      },
    },
    async (request) => shownGates(await read(request.params.ticket)),
  )
  app.get(
    '/v1/tickets/:ticket/guarantees',
    {
      config: { roles: everybody },
      schema: {
        tags,
        summary: 'The guarantees this ticket gave, line by line: last day, whether it runs today, and why or why not',
        params: ticketParam,
        response: {
          200: z.object({
            items: z.array(
              z.object({
                line: idOut,
                what: z.string(),
                startsOn: z.string(),
                months: z.number().int(),
                daysAdded: z.number().int(),
                lastDay: dayOut.nullable(),
                running: z.boolean(),
                because: z.string(),
                endedEarly: z
                  .object({ on: dayOut, voided: z.string(), because: z.string(), ticket: z.string() })
                  .nullable()
                  .meta({ description: 'found voided on that day, when the watch came back on that ticket' }),
                covers: z.string(),
                excludes: z.array(z.string()),
              }),
            ),
          }),
        },
      },
    },
    async (request) => ({
      items: await guaranteesOf(prisma, await ticketId(prisma, request.params.ticket), todayAt(service)),
    }),
  )
  app.post(
    '/v1/tickets/:ticket/moves',
    {
      config: { roles: everybody },
      schema: {
        tags,
        summary: 'Move a ticket, or walk it to a step further on while the owner waits; all or nothing',
        params: ticketParam,
        body: z.strictObject({ to: z.enum(steps), reason: prose(500).optional(), release: releaseBody.optional() }),
        response: { 200: ticketOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        moveTicket(desk(service, doing), request.params.ticket, request.body),
      ),
  )
  app.post(
    '/v1/tickets/:ticket/overrides',
    {
      config: { roles: ['bench', 'manager'] },
      schema: {
        tags,
        summary:
          'Pass a part of a gate that is shut, by name and with the reason; any later fact that bears on the gate ends it',
        params: ticketParam,
        body: z.strictObject({ gate: line(4), part: line(40), reason: prose(500) }),
        response: { 201: z.object({ id: idOut, by: z.string(), gate: gateOut }) },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        overrideGate(desk(service, doing), request.params.ticket, request.body),
      ),
  )

  for (const entry of said) {
    app.post(
      `/v1/tickets/:ticket/${entry.path}`,
      {
        config: { roles: entry.roles },
        schema: {
          tags,
          summary: entry.summary,
          params: ticketParam,
          body: entry.body,
          response: {
            201: z.object({
              id: idOut,
              kind: z.string(),
              warnings: z
                .array(z.string())
                .optional()
                .meta({ description: 'what speaks against it; it was recorded all the same' }),
            }),
          },
        },
      },
      (request, reply) =>
        createOnce(service, request, reply, (doing) =>
          say(
            desk(service, doing),
            entry,
            (request.params as { ticket: string }).ticket,
            request.body as Record<string, unknown>,
          ),
        ),
    )
  }

  app.post(
    '/v1/tickets/:ticket/side-states',
    {
      config: { roles: everybody },
      schema: {
        tags,
        summary:
          'Put a ticket aside: on hold, sent out, unclaimed, in dispute, missing, kept as evidence; with a day by which somebody acts',
        params: ticketParam,
        body: z.strictObject({
          state: z.enum(sideStates),
          until: day,
          reason: prose(500),
          outside: z
            .strictObject({
              specialist: line(120),
              slip: line(60),
              insurance: line(120),
              abroad: z.boolean().optional(),
              strapRemoved: z.boolean().optional(),
              speciesPapers: line(120).optional(),
            })
            .optional(),
        }),
        response: { 200: ticketOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        enterSide(desk(service, doing), request.params.ticket, request.body),
      ),
  )
  app.post(
    '/v1/tickets/:ticket/side-state-ends',
    {
      config: { roles: everybody },
      schema: {
        tags,
        summary: 'Take a ticket out of its side state, to the same step; its gates are asked anew',
        params: ticketParam,
        body: z.strictObject({ reason: prose(500) }),
        response: { 200: ticketOut.extend({ gatesNow: z.array(gateOut) }) },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        leaveSide(desk(service, doing), request.params.ticket, request.body.reason),
      ),
  )
  app.get(
    '/v1/tickets/:ticket/unclaimed-plan',
    {
      config: { roles: counter },
      schema: {
        tags,
        summary: 'The lawful steps for a watch that nobody fetches, from the delivered notice',
        params: ticketParam,
        response: { 200: z.object({ plan: planOut.nullable() }) },
      },
    },
    async (request) => ({
      plan: planOf({ today: todayAt(service), zone: timeZone }, await read(request.params.ticket)),
    }),
  )
  app.post(
    '/v1/tickets/:ticket/unclaimed-steps',
    {
      config: { roles: counter },
      schema: {
        tags,
        summary: 'Record a step towards the owner of an unclaimed watch, with its proof',
        params: ticketParam,
        body: z.strictObject({
          step: z.enum(['second-means', 'post', 'registered', 'pause']),
          days: z.number().int().min(1).max(3650).optional(),
          words: prose(500),
          proof: line(200).optional(),
        }),
        response: { 201: z.object({ id: idOut, plan: planOut.nullable() }) },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        recordUnclaimed(desk(service, doing), request.params.ticket, request.body),
      ),
  )
  app.post(
    '/v1/tickets/:ticket/endings',
    {
      config: { roles: ['manager'] },
      schema: {
        tags,
        summary: 'End a ticket without a hand-over: settled after a loss, or disposed of under the named law',
        params: ticketParam,
        body: z.strictObject({ as: z.enum(['lost-and-settled', 'disposed-of']), words: prose(1000) }),
        response: { 200: ticketOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        endTicket(desk(service, doing), request.params.ticket, request.body),
      ),
  )
}
