import { z } from 'zod'
import { guaranteeKinds } from '../../domain/tickets/guarantee.ts'
import { createOnce } from '../../http/creating.ts'
import type { Routes } from '../../http/routes.ts'
import type { Service } from '../../http/service.ts'
import { currency, day, dayOut, id, idOut, line, money, moneyOut, prose } from '../../http/shapes.ts'
import { desk, happened, ticketParam } from '../tickets/desk.ts'
import { addEstimate, answerEstimate, giveGoodwill } from './estimates.ts'

const lineBody = z.strictObject({
  code: line(40).meta({ description: 'a code of the price list fills in what the line leaves out' }).optional(),
  what: line(200).optional(),
  part: z.boolean().optional(),
  quantity: z.number().int().min(1).max(10_000).meta({ description: 'left out: 1' }).optional(),
  unitPrice: z.number().int().min(0).max(1_000_000_000).nullable().optional(),
  taxClass: line(40).nullable().optional(),
  choice: z.enum(['must', 'should', 'could']).optional(),
  requiredBy: z.number().int().min(0).max(99).nullable().optional(),
  guaranteeMonths: z.number().int().min(0).max(120).optional(),
  guarantee: z
    .enum(guaranteeKinds)
    .meta({ description: 'kind of work; its months are the house rule, in place of guaranteeMonths' })
    .optional(),
  underGuaranteeOf: id
    .meta({
      description:
        'a line of the earlier ticket that was decided to be covered: unitPrice is what it costs the house, the owner pays nothing',
    })
    .optional(),
  sameAs: id
    .meta({
      description:
        'the line of the version before that this one repeats: it says what is left out here, and what was done of it stays done',
    })
    .optional(),
  opensCase: z.boolean().optional(),
  pressureTest: z.boolean().optional(),
  completeService: z.boolean().optional(),
})

export const estimateOut = z.object({
  version: z.number().int(),
  kind: z.string(),
  currency: z.string(),
  rounding: z.string(),
  validUntil: dayOut.nullable(),
  madeOn: dayOut,
  by: z.string(),
  net: z.number().int(),
  tax: z.number().int(),
  total: z.number().int(),
  lines: z.array(
    z.object({
      id: idOut,
      code: z.string().nullable(),
      what: z.string(),
      part: z.boolean(),
      quantity: z.number().int(),
      unitPrice: z.number().int().nullable(),
      taxClass: z.string().nullable(),
      taxRate: z.number().int().nullable(),
      choice: z.string(),
      requiredBy: idOut.nullable(),
      ifRefused: z
        .string()
        .nullable()
        .meta({ description: 'what goes with the line where it is refused, to be shown with the answer; else null' }),
      guaranteeMonths: z.number().int(),
      guarantee: z.string().nullable(),
      underGuaranteeOf: idOut.nullable(),
      houseCost: z.number().int().nullable(),
      opensCase: z.boolean(),
      pressureTest: z.boolean(),
      completeService: z.boolean(),
    }),
  ),
})

export function estimateRoutes(app: Routes, service: Service): void {
  const tags = ['estimates']

  app.post(
    '/v1/tickets/:ticket/estimates',
    {
      config: { roles: ['counter', 'bench', 'manager'] },
      schema: {
        tags,
        summary:
          'Make a version of the estimate; made while the work runs, it stops the work unless the amount agreed in advance covers it',
        params: ticketParam,
        body: z.strictObject({
          kind: z.enum(['fixed', 'up-to', 'look-first']).default('fixed'),
          currency: currency.optional(),
          validUntil: day.nullable().optional(),
          lines: z.array(lineBody).min(1).max(100),
          reason: prose(500).optional(),
        }),
        response: { 201: estimateOut.extend({ insideCeiling: z.boolean() }) },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        addEstimate(desk(service, doing), request.params.ticket, request.body),
      ),
  )
  app.post(
    '/v1/tickets/:ticket/estimates/:version/answers',
    {
      config: { roles: ['counter', 'manager'] },
      schema: {
        tags,
        summary: 'Record a yes or no to each line, by whom, how, and for which total',
        params: ticketParam.extend({ version: z.coerce.number().int().min(1).max(10_000) }),
        body: z.strictObject({
          person: line(120),
          how: z.enum(['in-person', 'signed', 'e-mail', 'phone']),
          total: money,
          textShown: prose(2000).optional(),
          lines: z
            .array(z.strictObject({ line: id, answer: z.enum(['yes', 'no']) }))
            .min(1)
            .max(100),
          at: happened,
        }),
        response: {
          201: z.object({
            version: z.number().int(),
            agreedTotal: moneyOut,
            gate: z.object({ state: z.string(), why: z.string(), opens: z.array(z.string()) }),
          }),
        },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        answerEstimate(desk(service, doing), request.params.ticket, request.params.version, request.body),
      ),
  )
  app.post(
    '/v1/tickets/:ticket/goodwill',
    {
      config: { roles: ['manager'] },
      schema: {
        tags,
        summary: 'Take something off a line as goodwill: the price goes down, never up',
        params: ticketParam,
        body: z.strictObject({ line: id, amount: z.number().int().min(1).max(1_000_000_000), reason: prose(300) }),
        response: { 201: z.object({ id: idOut, bill: moneyOut.nullable() }) },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) =>
        giveGoodwill(desk(service, doing), request.params.ticket, request.body),
      ),
  )
}
