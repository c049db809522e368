import { z } from 'zod'
import { Refusal } from '../../domain/refusals.ts'
import { createOnce } from '../../http/creating.ts'
import { afterOf, page, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { act, type Service, signerOf } from '../../http/service.ts'
import { byId, day, dayOut, id, idOut, instantOut, money, moneyOut, obligationKind, prose } from '../../http/shapes.ts'
import { asHtml, asText } from '../../letters/layout.ts'
import { writeLetter } from '../../letters/write.ts'
import { addGuidePrice, listGuidePrices } from './guide-prices.ts'
import { letterDeskOf, linksOf, previewLetter } from './letters.ts'
import {
  getNotice,
  holdNotice,
  listNotices,
  noticeStates,
  releaseNotice,
  settleDoubt,
  withdrawNotice,
} from './notices.ts'
import { outcomesOf } from './outcomes.ts'

const itemOut = z.object({
  watchId: idOut,
  kind: z.string(),
  stage: z.string(),
  booked: z.string(),
  standing: z.string(),
  dueOn: dayOut,
  cycle: z.string(),
  round: dayOut,
})
const noticeOut = z.object({
  id: idOut,
  ownerId: idOut,
  runOn: dayOut,
  state: z.enum(noticeStates),
  means: z.string(),
  language: z.string(),
  textVersion: z.string(),
  comeBy: dayOut,
  heldBy: z.string().nullable(),
  heldWhy: z.string().nullable(),
  withdrawnBy: z.string().nullable(),
  withdrawnWhy: z.string().nullable(),
  attempt: z.number().int(),
  nextAt: instantOut,
  messageId: z.string().nullable(),
  response: z.string().nullable(),
  lastError: z.string().nullable(),
  madeAt: instantOut,
  handedAt: instantOut.nullable(),
  sentAt: instantOut.nullable(),
  deliveredAt: instantOut.nullable(),
  returnedAt: instantOut.nullable(),
  items: z.array(itemOut),
})
const wholeNoticeOut = noticeOut.extend({
  plan: z.unknown(),
  trace: z.unknown(),
  attempts: z.array(
    z.object({ attempt: z.number().int(), outcome: z.string(), detail: z.string().nullable(), at: instantOut }),
  ),
  reports: z.array(z.object({ action: z.string(), status: z.string(), diagnostic: z.string().nullable(), on: dayOut })),
  answers: z.array(z.object({ answer: z.string(), watchId: idOut.nullable(), details: z.unknown(), on: dayOut })),
})
const previewOut = z.object({
  noticeId: idOut,
  /** true where these very contents were fixed at a hand-over */
  fixed: z.boolean(),
  from: z.string(),
  to: z.string().nullable(),
  subject: z.string(),
  text: z.string(),
  html: z.string(),
  message: z.string(),
})
const countOut = z.number().int()
const outcomeCounts = {
  letters: countOut,
  sent: countOut,
  delivered: countOut,
  returned: countOut,
  inDoubt: countOut,
  failed: countOut,
  withdrawn: countOut,
  answered: countOut,
  cameIn: countOut.meta({ description: 'visits; each belongs to the last letter about its watch before it' }),
  takings: z.array(moneyOut).meta({ description: 'what these visits paid up to now, in minor units' }),
}
const outcomesOut = z.object({
  from: dayOut,
  to: dayOut,
  items: z.array(z.object({ kind: z.string(), stage: z.string(), ...outcomeCounts })),
  inAll: z
    .object(outcomeCounts)
    .meta({ description: 'each letter and each visit once, though it may be about several things' }),
  optOuts: z.object({ inSpan: countOut, choicesAgainstNow: countOut }),
})
const guidePriceOut = z.object({
  id: idOut,
  kind: z.string(),
  from: dayOut,
  until: dayOut,
  amount: z.number().int(),
  currency: z.string(),
  takes: z.object({ from: z.number().int(), to: z.number().int(), unit: z.string() }),
  recordedBy: z.string(),
})
const span = z.number().int().min(1).max(1000)

export function noticeRoutes(app: Routes, service: Service): void {
  const reading = { roles: ['counter', 'manager'] as const }
  const managing = { roles: ['manager'] as const }
  const db = service.database.prisma
  const tags = ['letters']
  const desk = letterDeskOf(service)
  const reason = z.strictObject({ why: prose(400) })

  app.get(
    '/v1/notices',
    {
      config: reading,
      schema: {
        tags,
        summary: 'Letters: queued, held, sent, returned; the newest run first',
        querystring: z.strictObject({
          ...pageQuery,
          state: z.enum(noticeStates).optional(),
          from: day.optional(),
          to: day.optional(),
          ownerId: id.optional(),
          watchId: id.optional(),
        }),
        response: { 200: z.object({ items: z.array(noticeOut) }) },
      },
    },
    async (request, reply) => {
      const { limit, after: _after, ...filter } = request.query
      const rows = await listNotices(db, filter, afterOf(request, 'day', 'id'), limit)
      return page(request, reply, rows, (row) => [row.runOn, row.id])
    },
  )
  app.get(
    '/v1/notices/outcomes',
    {
      config: managing,
      schema: {
        tags,
        summary:
          'What became of letters, by kind and stage: sent, returned, answered, came in within ninety days, takings of these visits; and opt-outs',
        querystring: z.strictObject({ from: day, to: day }),
        response: { 200: outcomesOut },
      },
    },
    (request) => outcomesOf(db, request.query.from, request.query.to),
  )
  app.get(
    '/v1/notices/:id',
    {
      config: reading,
      schema: {
        tags,
        summary: 'One letter: its plan, its trace, every attempt, report and answer',
        params: byId,
        response: { 200: wholeNoticeOut },
      },
    },
    (request) => getNotice(db, request.params.id),
  )
  app.get(
    '/v1/notices/:id/preview',
    {
      config: reading,
      schema: {
        tags,
        summary:
          'Exactly what goes out, or went out: subject, text, HTML and the whole message; its links are the owner’s own',
        params: byId,
        response: { 200: previewOut },
      },
    },
    async (request) => {
      const links = linksOf(desk, request.params.id)
      const found = await previewLetter(service.database.pool, desk, request.params.id, service.clock.now(), links)
      if (!found) throw new Refusal('not-found', { what: 'notice', id: request.params.id })
      const written = writeLetter(found.contents, links)
      return {
        noticeId: request.params.id,
        fixed: found.row.contents !== null,
        from: desk.sender.address,
        to: found.row.address,
        subject: written.subject,
        text: asText(written),
        html: asHtml(written),
        message: found.letter.raw.toString('utf8'),
      }
    },
  )
  const changes = [
    { path: 'hold', summary: 'Hold a letter that is queued', work: holdNotice },
    {
      path: 'withdrawal',
      summary: 'Withdraw a letter that is queued or held; its stages count as written',
      work: withdrawNotice,
    },
  ]
  for (const change of changes)
    app.post(
      `/v1/notices/:id/${change.path}`,
      {
        config: managing,
        schema: { tags, summary: change.summary, params: byId, body: reason, response: { 200: wholeNoticeOut } },
      },
      (request) =>
        act(service, signerOf(request), (doing) =>
          change.work(doing, (request.params as { id: string }).id, (request.body as { why: string }).why),
        ),
    )
  app.post(
    '/v1/notices/:id/release',
    {
      config: managing,
      schema: { tags, summary: 'Release a letter that is held', params: byId, response: { 200: wholeNoticeOut } },
    },
    (request) => act(service, signerOf(request), (doing) => releaseNotice(doing, request.params.id)),
  )
  app.post(
    '/v1/notices/:id/doubt',
    {
      config: managing,
      schema: {
        tags,
        summary: 'Say of a letter in doubt whether it arrived; if not, it goes again',
        params: byId,
        body: z.strictObject({ arrived: z.boolean() }),
        response: { 200: wholeNoticeOut },
      },
    },
    (request) =>
      act(service, signerOf(request), (doing) => settleDoubt(doing, request.params.id, request.body.arrived)),
  )

  app.post(
    '/v1/guide-prices',
    {
      config: managing,
      schema: {
        tags,
        summary: 'What a visit of a kind costs, about, and how long it takes, as letters say it from a day on',
        body: z.strictObject({
          kind: obligationKind,
          from: day,
          until: day,
          ...money.shape,
          takes: z.strictObject({ from: span, to: span, unit: z.enum(['minutes', 'days', 'weeks']) }),
        }),
        response: { 201: guidePriceOut },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => addGuidePrice(doing, request.body)),
  )
  app.get(
    '/v1/guide-prices',
    {
      config: { roles: ['counter', 'bench', 'stock', 'manager'] as const },
      schema: {
        tags,
        summary: 'Guide prices, the newest first',
        querystring: z.strictObject(pageQuery),
        response: { 200: z.object({ items: z.array(guidePriceOut) }) },
      },
    },
    async (request, reply) => {
      const rows = await listGuidePrices(db, afterOf(request, 'id'), request.query.limit)
      return page(request, reply, rows, (row) => [row.id])
    },
  )
}
