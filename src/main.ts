import path from 'node:path'
import closeWithGrace from 'close-with-grace'
import { buildApp } from './app.ts'
import { readConfig } from './config.ts'
import { type EmbeddedServer, startEmbedded } from './db/embedded.ts'
import { migrate } from './db/migrate.ts'
import { openDatabase } from './db/open.ts'
import { takeFirstManagerKey } from './features/staff-keys/staff-keys.ts'
import type { Service } from './http/service.ts'
import type { Jobs } from './jobs/index.ts'
import { makeLog } from './log.ts'

/** config → database → app and jobs → listen. The only clock and the only exit. */
const reading = readConfig(process.env)
if (!reading.ok) {
  process.stderr.write(
    `The service cannot start; mend the environment (see .env.example):\n${reading.faults.map((fault) => `  ${fault}\n`).join('')}`,
  )
  process.exit(1)
}
const { config } = reading
const log = makeLog(config.logLevel)

const embedded: EmbeddedServer | null = config.database.url
  ? null
  : await startEmbedded({ dataFolder: config.dataFolder })
const url = config.database.url ?? embedded?.url ?? ''
const migrated = await migrate(url).catch((error: Error & { code?: string }) => {
  process.stderr.write(
    `The service cannot start: the database at ${new URL(url).host} did not answer as it should (${error.code ?? ''} ${error.message}).\nCheck DATABASE_URL and that PostgreSQL 15 to 18 runs there.\n`,
  )
  process.exit(1)
})
if (migrated.length > 0) log.info({ migrated }, 'database brought up to date')
const database = await openDatabase(url, {
  poolSize: config.database.poolSize,
  onError: (err) => log.error({ err }, 'idle database connection failed'),
})
const service: Service = { config, database, clock: { now: () => new Date() }, log }

if (config.firstManagerKey && (await takeFirstManagerKey(database.prisma, config.firstManagerKey)))
  log.info('the first manager key was taken')

const app = await buildApp(service)
let jobs: Jobs | null = null
let stopping = false

closeWithGrace({ delay: 30_000, logger: log }, async ({ err, signal }) => {
  stopping = true
  if (err) log.fatal({ err }, 'stopping after an error')
  else log.info({ signal }, 'stopping')
  await Promise.all([app.close(), jobs?.stop()])
  await database.close()
  await embedded?.stop()
})

const address = await app.listen({ host: config.http.host, port: config.http.port })
log.info(
  {
    at: address,
    docs: `${address}/docs`,
    data: embedded ? path.relative(process.cwd(), config.dataFolder) : 'DATABASE_URL',
  },
  'listening',
)
// loaded and started after listening, so that neither a mail library nor a long night keeps the doors shut
if (config.jobs.on) {
  const { startJobs } = await import('./jobs/index.ts')
  if (!stopping) jobs = startJobs(service)
}
