import formMultipart from '@fastify/multipart'
import type { FastifyReply, FastifyRequest } from 'fastify'
import { refusalOf } from '../../http/problems.ts'
import type { Routes } from '../../http/routes.ts'
import { type Act, act, type Service, todayAt } from '../../http/service.ts'
import { type Purpose, pathOf } from '../../letters/links.ts'
import { texts } from '../../letters/texts/index.ts'
import {
  type Choices,
  choiceKinds,
  choicesOf,
  choose,
  comingDay,
  type DayFault,
  doneElsewhere,
  ownerSigner,
  pastDay,
  proposeDay,
  sold,
  stopAll,
  wornSo,
} from './answers.ts'
import { type Bearer, bearerOf, languageAsked } from './links.ts'
import { lettersPage, plainPage, stylePolicy, thanksPage, watchesPage } from './pages.ts'

type WithToken = FastifyRequest<{ Params: { token: string } }>
type Fields = Partial<Record<string, string>>

/** Tries of one address in a minute; a person needs a handful. */
const TRIES = 40

/**
 * What an owner can do from a letter, without an account. Looking changes nothing; a link is bound to its purpose; what
 * is not known, of another purpose, expired or revoked gets the same answer.
 */
export function ownerPageRoutes(app: Routes, service: Service): void {
  const house = () => ({ centre: service.config.centre.name, today: todayAt(service) })
  const config = { roles: 'owner-link' as const, rateLimit: { max: TRIES, timeWindow: 60_000 } }
  const schema = (summary: string) => ({ tags: ["owners' pages"], summary, hide: false })

  app.register(formMultipart, {
    attachFieldsToBody: 'keyValues',
    limits: { fileSize: 1, files: 0, fields: 20, fieldSize: 2000, parts: 20 },
  })
  app.addContentTypeParser(
    'application/x-www-form-urlencoded',
    { parseAs: 'string', bodyLimit: 8192 },
    (_request, body, done) => {
      done(null, Object.fromEntries(new URLSearchParams(String(body))))
    },
  )

  app.addHook('onSend', async (_request, reply) => {
    reply.header('content-security-policy', stylePolicy)
    reply.header('referrer-policy', 'no-referrer')
    reply.header('cache-control', 'no-store')
    reply.header('x-robots-tag', 'noindex')
  })

  const html = (reply: FastifyReply, status: number, text: string) =>
    reply
      .code(status)
      .header('content-type', 'text/html; charset=utf-8')
      .serializer((payload) => String(payload))
      .send(text)

  function notFound(request: FastifyRequest, reply: FastifyReply): FastifyReply {
    const language = languageAsked(request.headers['accept-language'])
    const t = texts[language].page
    return html(reply, 404, plainPage(language, t.notFoundTitle, t.notFound))
  }

  app.setErrorHandler((error, request, reply) => {
    const refusal = refusalOf(error)
    const t = texts[languageAsked(request.headers['accept-language'])].page
    const language = languageAsked(request.headers['accept-language'])
    if (refusal.code === 'too-many-requests')
      return html(reply.header('retry-after', '60'), 429, plainPage(language, t.tooMany, ''))
    if (refusal.code === 'internal-fault' || refusal.code === 'service-busy') {
      request.log.error({ err: error }, 'an owner page failed')
      // 500 and no other status is what the alert on faults of ours looks at
      const status = refusal.code === 'internal-fault' ? 500 : 503
      return html(reply.header('retry-after', '120'), status, plainPage(language, t.notNow, ''))
    }
    return notFound(request, reply)
  })

  async function show(
    request: WithToken,
    reply: FastifyReply,
    purpose: Purpose,
    write: (bearer: Bearer) => Promise<string>,
  ) {
    const bearer = await bearerOf(service.database.prisma, purpose, request.params.token, todayAt(service))
    return bearer ? html(reply, 200, await write(bearer)) : notFound(request, reply)
  }

  type Answered = { status: number; text: string }

  /** One transaction: the link is looked up in it, and what is said is written in it. */
  async function answer(
    request: WithToken,
    reply: FastifyReply,
    purpose: Purpose,
    work: (doing: Act, bearer: Bearer, fields: Fields) => Promise<Answered>,
  ): Promise<FastifyReply> {
    const fields = (typeof request.body === 'object' && request.body !== null ? request.body : {}) as Fields
    const answered = await act(service, ownerSigner, async (doing) => {
      const bearer = await bearerOf(doing.tx, purpose, request.params.token, doing.today)
      return bearer ? work(doing, bearer, fields) : null
    })
    return answered ? html(reply, answered.status, answered.text) : notFound(request, reply)
  }

  app.get(
    `${pathOf.stop}/:token`,
    { config, schema: schema('What we may write to this owner about') },
    (request, reply) =>
      show(request as WithToken, reply, 'stop', async (bearer) =>
        lettersPage(bearer, await choicesOf({ tx: service.database.prisma }, bearer.ownerId), house()),
      ),
  )

  // RFC 8058: the mail program posts List-Unsubscribe=One-Click here, without cookies; no redirect; repeated, the same answer
  app.post(
    `${pathOf.stop}/:token`,
    { config, schema: schema('Stop or choose letters; one-click by RFC 8058') },
    (request, reply) =>
      answer(request as WithToken, reply, 'stop', async (doing, bearer, fields) => {
        const t = texts[bearer.language].page
        const back = `${pathOf.stop}/${(request as WithToken).params.token}`
        if (fields['List-Unsubscribe'] === 'One-Click' || fields.do === 'stop') {
          await stopAll(doing, bearer)
          return { status: 200, text: thanksPage(bearer.language, t.stopped, back) }
        }
        const choices = Object.fromEntries(
          choiceKinds
            .filter((kind) => fields[kind] === 'yes' || fields[kind] === 'no')
            .map((kind) => [kind, fields[kind]]),
        ) as Choices
        if (fields.do !== 'choose') {
          const now = await choicesOf(doing, bearer.ownerId)
          return { status: 400, text: lettersPage(bearer, now, house()) }
        }
        await choose(doing, bearer, choices)
        return { status: 200, text: thanksPage(bearer.language, t.saved, back) }
      }),
  )

  app.get(
    `${pathOf.answer}/:token`,
    { config, schema: schema('What an owner can tell us of the watches in a letter') },
    (request, reply) => show(request as WithToken, reply, 'answer', async (bearer) => watchesPage(bearer, house())),
  )

  app.post(
    `${pathOf.answer}/:token`,
    { config, schema: schema('What the owner tells us; it counts at once') },
    (request, reply) =>
      answer(request as WithToken, reply, 'answer', async (doing, bearer, fields) => {
        const { page: t, day: dayWords } = texts[bearer.language]
        const { today } = doing
        const back = `${pathOf.answer}/${(request as WithToken).params.token}`
        const watch = bearer.watches.find((one) => one.id === fields.watch)
        const again = (what: 'done' | 'propose', fault: DayFault): Answered => ({
          status: 400,
          text: watchesPage(bearer, house(), { watchId: watch?.id ?? '', what, words: t[fault] }),
        })
        const thanks = (words: string): Answered => ({ status: 200, text: thanksPage(bearer.language, words, back) })
        if (!watch) return { status: 400, text: watchesPage(bearer, house()) }

        switch (fields.do) {
          case 'sold':
            await sold(doing, bearer, watch.id)
            return thanks(t.soldThanks)
          case 'never-in-water':
          case 'now-and-then': {
            const said = fields.do
            await wornSo(doing, bearer, watch.id, said)
            return thanks(t.wearThanks)
          }
          case 'done-elsewhere': {
            const kind = choiceKinds.find((one) => one === fields.kind && (one !== 'cell-change' || watch.cell))
            const when = pastDay(fields.day, today)
            if ('fault' in when) return again('done', when.fault)
            if (!kind) return { status: 400, text: watchesPage(bearer, house()) }
            await doneElsewhere(doing, bearer, watch.id, kind, when.day)
            return thanks(t.doneThanks)
          }
          case 'propose-day': {
            const when = comingDay(fields.day, today)
            if ('fault' in when) return again('propose', when.fault)
            await proposeDay(doing, bearer, watch.id, when.day)
            return thanks(t.proposedThanks(dayWords(when.day)))
          }
          default:
            return { status: 400, text: watchesPage(bearer, house()) }
        }
      }),
  )
}
