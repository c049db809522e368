import { createServer } from 'node:net'
import closeWithGrace from 'close-with-grace'
import { buildApp } from '../src/app.ts'
import { type Jobs, startJobs } from '../src/jobs/index.ts'
import { account, runSteps, seconds } from './account.ts'
import { demoConfig, demoDay, openDemo } from './house.ts'
import { inventCentre } from './invented/centre.ts'
import { newDemo } from './steps/step.ts'

/** Builds the invented centre from nothing, lives its day 2026-11-25, tells what came of it, and stays up. */
const SEED = 1
const once = process.argv.includes('--once')
const began = performance.now()
const print = (line: string) => void process.stdout.write(`${line}\n`)

const config = demoConfig(process.env)
const { host, port } = config.http
if (!once && !(await isFree(host, port))) {
  print(`Port ${port} is taken. Stop what listens there, or choose another: PORT=8090 npm run demo`)
  process.exit(1)
}

print(`${config.centre.name}, a centre of our own invention, on ${demoDay}`)
const { service, close } = await openDemo(config).catch((error: Error) => {
  print(error.message)
  process.exit(1)
})
print(`  ${seconds(began)}  An empty database of its own, brought up to date`)
const inventing = performance.now()
const demo = newDemo(service, demoDay, inventCentre(SEED, demoDay))
print(`  ${seconds(inventing)}  The centre invented: the same every time`)
await runSteps(demo, print)

if (once) {
  for (const line of await account(demo, `http://${host}:${port}`)) print(line)
  print(`\n${seconds(began).trim()} in all. Without --once the service now stays up to be tried.`)
  await close()
} else {
  const app = await buildApp(service)
  let jobs: Jobs | null = null
  closeWithGrace({ delay: 10_000, logger: service.log }, async ({ err }) => {
    if (err) service.log.fatal({ err }, 'stopping after an error')
    await Promise.all([app.close(), jobs?.stop()])
    await close()
    print('Stopped.')
  })
  const address = await app.listen({ host, port })
  jobs = startJobs(service)
  for (const line of await account(demo, address)) print(line)
  print(`\n${seconds(began).trim()} in all. The service is up, its clock runs on from that morning; Ctrl-C stops it.`)
}

function isFree(host: string, port: number): Promise<boolean> {
  return new Promise((resolve) => {
    const probe = createServer()
    probe.once('error', () => resolve(false))
    probe.listen(port, host, () => probe.close(() => resolve(true)))
  })
}
