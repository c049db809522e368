import helmet from '@fastify/helmet'
import rateLimit from '@fastify/rate-limit'
import underPressure from '@fastify/under-pressure'
import Fastify, { type FastifyBaseLogger, type FastifyInstance, LogController } from 'fastify'
import { serializerCompiler, type ZodTypeProvider } from 'fastify-type-provider-zod'
import { v7 as uuidv7 } from 'uuid'
import { Refusal } from './domain/refusals.ts'
import { calibreRoutes } from './features/calibres/routes.ts'
import { cellMovingRoutes } from './features/cell-lots/moving-routes.ts'
import { cellLotRoutes } from './features/cell-lots/routes.ts'
import { custodyRoutes } from './features/custody/routes.ts'
import { deliveryRoutes } from './features/deliveries/routes.ts'
import { deliveryReportRoutes } from './features/delivery-reports/routes.ts'
import { designationRoutes } from './features/designations/routes.ts'
import { estimateReadingRoutes } from './features/estimates/reading-routes.ts'
import { estimateRoutes } from './features/estimates/routes.ts'
import { factReadingRoutes } from './features/facts/reading-routes.ts'
import { factRoutes } from './features/facts/routes.ts'
import { gasketLotRoutes } from './features/gasket-lots/routes.ts'
import { guidanceRoutes } from './features/guidance/routes.ts'
import { askForMissingSettings } from './features/house-rules/missing.ts'
import { houseRuleRoutes } from './features/house-rules/routes.ts'
import { importRoutes } from './features/imports/routes.ts'
import { registerGauges } from './features/metrics/gauges.ts'
import { nightlyRunRoutes } from './features/nightly-runs/routes.ts'
import { lettersQuietRoutes } from './features/notices/decide-routes.ts'
import { noticeRoutes } from './features/notices/routes.ts'
import { obligationRoutes } from './features/obligations/routes.ts'
import { ownerPageRoutes } from './features/owner-pages/routes.ts'
import { ownerRoutes } from './features/owners/routes.ts'
import { partLotRoutes } from './features/part-lots/routes.ts'
import { personRoutes } from './features/persons/routes.ts'
import { priceRoutes } from './features/prices/routes.ts'
import { reReckoningRoutes } from './features/re-reckonings/routes.ts'
import { recallRoutes } from './features/recalls/routes.ts'
import { reckoningRoutes } from './features/reckonings/routes.ts'
import { rehearsalRoutes } from './features/rehearsals/routes.ts'
import { cellAgeingRoutes } from './features/reports/cell-ageing.ts'
import { cellOutlookRoutes } from './features/reports/cell-outlook-routes.ts'
import { ticketReportRoutes } from './features/reports/ticket-routes.ts'
import { staffKeyRoutes } from './features/staff-keys/routes.ts'
import { staffSkillRoutes } from './features/staff-keys/skill-routes.ts'
import { stockCountRoutes } from './features/stock-counts/routes.ts'
import { stockEntryRoutes } from './features/stock-entries/routes.ts'
import { stockOrderRoutes } from './features/stock-orders/routes.ts'
import { stockSummaryRoutes } from './features/stock-summaries/routes.ts'
import { taskRoutes } from './features/tasks/routes.ts'
import { nextWatchRoutes } from './features/tickets/next-watch-routes.ts'
import { pictureRoutes } from './features/tickets/picture-routes.ts'
import { promiseRoutes } from './features/tickets/promise-routes.ts'
import { recordRoutes } from './features/tickets/record-routes.ts'
import { ticketRoutes } from './features/tickets/routes.ts'
import { storyRoutes } from './features/tickets/story-routes.ts'
import { toolRoutes } from './features/tools/routes.ts'
import { wasteRoutes } from './features/waste/routes.ts'
import { watchRoutes } from './features/watches/routes.ts'
import { workRoutes } from './features/work/routes.ts'
import { workOfWatchRoutes } from './features/work/watch-routes.ts'
import { registerGuard } from './http/guard.ts'
import { registerHealth } from './http/health.ts'
import { registerOpenapi } from './http/openapi.ts'
import { doorCompiler, refusalOf, registerProblems, sendProblem } from './http/problems.ts'
import type { Service } from './http/service.ts'

export type App = FastifyInstance

/** The table of contents of the API: every feature by name. */
export async function buildApp(service: Service): Promise<App> {
  const app = Fastify({
    loggerInstance: service.log as FastifyBaseLogger,
    trustProxy: service.config.http.trustedProxies ?? false,
    bodyLimit: 262_144,
    // strict bodies refuse such keys by name, with the other faults of the body
    onProtoPoisoning: 'ignore',
    onConstructorPoisoning: 'ignore',
    requestTimeout: 30_000,
    handlerTimeout: 30_000,
    keepAliveTimeout: 72_000,
    forceCloseConnections: 'idle',
    routerOptions: { maxParamLength: 200, ignoreTrailingSlash: false },
    genReqId: (request) => {
      const given = request.headers['x-request-id']
      return typeof given === 'string' && /^[A-Za-z0-9._-]{8,64}$/.test(given) ? given : uuidv7()
    },
    // an address that cannot be read is refused before any route is found
    frameworkErrors: (error, request, reply) => sendProblem(request, reply, refusalOf(error)),
    logController: new LogController({ disableRequestLogging: true }),
    // given here and not set afterwards, so that fastify does not load those of its own; its types know no others
    schemaController: {
      compilersFactory: {
        buildValidator: () => doorCompiler as never,
        buildSerializer: () => serializerCompiler as never,
      },
    },
  })
  app.removeContentTypeParser('text/plain')

  app.addHook('onRequest', async (request, reply) => {
    reply.header('x-request-id', request.id)
  })
  app.addHook('onResponse', async (request, reply) => {
    // the route's pattern, not the address: addresses carry ids and owners' links
    request.log.info(
      {
        route: request.routeOptions.url,
        method: request.method,
        status: reply.statusCode,
        ms: Math.round(reply.elapsedTime),
      },
      'answered',
    )
  })

  registerProblems(app)
  registerGuard(app, service)
  await app.register(helmet, {
    contentSecurityPolicy: { useDefaults: false, directives: { defaultSrc: ["'none'"], frameAncestors: ["'none'"] } },
  })
  await app.register(rateLimit, {
    // a brake on floods, not on work: keys that fail are counted apart, and much more strictly
    max: 100_000,
    timeWindow: 60_000,
    errorResponseBuilder: (_request, context) =>
      new Refusal('too-many-requests', { seconds: Math.ceil(context.ttl / 1000) }),
  })
  // in production only: a laptop that wakes, or tests on a crowded machine, are no flood
  const maxEventLoopDelay = service.config.production ? 2000 : 0
  await app.register(underPressure, { maxEventLoopDelay, maxEventLoopUtilization: 0, exposeStatusRoute: false })
  app.addHook('onSend', async (request, reply) => {
    if (request.signer && !reply.hasHeader('cache-control')) reply.header('cache-control', 'no-store')
  })

  askForMissingSettings(app, service)
  await registerOpenapi(app)
  registerGauges(registerHealth(app, service), service)

  const features = [
    staffKeyRoutes,
    staffSkillRoutes,
    ownerRoutes,
    personRoutes,
    watchRoutes,
    factRoutes,
    factReadingRoutes,
    calibreRoutes,
    guidanceRoutes,
    houseRuleRoutes,
    reReckoningRoutes,
    rehearsalRoutes,
    reckoningRoutes,
    obligationRoutes,
    nightlyRunRoutes,
    lettersQuietRoutes,
    taskRoutes,
    importRoutes,
    ticketRoutes,
    recordRoutes,
    promiseRoutes,
    nextWatchRoutes,
    pictureRoutes,
    custodyRoutes,
    estimateRoutes,
    estimateReadingRoutes,
    priceRoutes,
    workRoutes,
    workOfWatchRoutes,
    toolRoutes,
    designationRoutes,
    cellLotRoutes,
    cellMovingRoutes,
    gasketLotRoutes,
    partLotRoutes,
    deliveryRoutes,
    stockEntryRoutes,
    stockSummaryRoutes,
    stockCountRoutes,
    wasteRoutes,
    stockOrderRoutes,
    recallRoutes,
    cellAgeingRoutes,
    cellOutlookRoutes,
    ticketReportRoutes,
    storyRoutes,
    noticeRoutes,
    deliveryReportRoutes,
    ownerPageRoutes,
  ]
  for (const feature of features)
    await app.register(async (scope) => feature(scope.withTypeProvider<ZodTypeProvider>(), service))
  await app.ready()
  return app
}
