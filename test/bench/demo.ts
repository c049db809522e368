import { type ChildProcess, spawn } from 'node:child_process'
import { once } from 'node:events'
import { rm } from 'node:fs/promises'
import { type AddressInfo, createServer } from 'node:net'
import path from 'node:path'
import { setTimeout as pause } from 'node:timers/promises'
import { numberAsked, tell } from '../support/bench.ts'
import { withServer } from '../support/bench-server.ts'
import { enterableFolder } from '../support/folder.ts'

/**
 * From the command to the first answer, as whoever types it waits for it: the demo with its whole centre, and the service on
 * a database that is up to date, its own embedded one (which it starts) and a PostgreSQL that is up. Nothing to compare it with.
 */
const ROUNDS = numberAsked('rounds', 5, 1)

async function freePort(): Promise<number> {
  const server = createServer()
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve))
  const { port } = server.address() as AddressInfo
  await new Promise((resolve) => server.close(resolve))
  return port
}

/** Seconds until `path` is answered with 200; then the process is stopped as Ctrl-C would. */
async function untilAnswer(file: string, path: string, env: Record<string, string>): Promise<number> {
  const port = await freePort()
  const started = performance.now()
  const child: ChildProcess = spawn(process.execPath, ['--import', 'tsx', file], {
    stdio: ['ignore', 'ignore', 'inherit'],
    env: { ...process.env, HOST: '127.0.0.1', PORT: String(port), ...env },
  })
  const ended = once(child, 'exit')
  try {
    while (
      !(await fetch(`http://127.0.0.1:${port}${path}`).then(
        (answer) => answer.ok,
        () => false,
      ))
    ) {
      if (child.exitCode !== null || child.signalCode !== null) throw new Error(`${file} ended before it answered`)
      await pause(10)
    }
    return (performance.now() - started) / 1000
  } finally {
    child.kill('SIGINT')
    await ended
  }
}

async function rounds(count: number, one: () => Promise<number>): Promise<number[]> {
  const taken: number[] = []
  for (let round = 0; round < count; round++) taken.push(await one())
  return taken
}

const service = { LOG_LEVEL: 'silent', JOBS: 'off' }
tell({
  work: 'npm run demo to its first answer',
  unit: 's',
  ours: await rounds(Math.min(ROUNDS, 3), () => untilAnswer('seed/demo.ts', '/readyz', {})),
  reach: { atMost: 20 },
})

const folder = await enterableFolder('bench')
try {
  const embedded = { ...service, DATA_FOLDER: path.join(folder, 'data'), DATABASE_URL: '' }
  // the first start brings the database up to date
  await untilAnswer('src/main.ts', '/readyz', embedded)
  tell({
    work: 'start on a migrated database, its embedded server started too',
    unit: 's',
    ours: await rounds(ROUNDS, () => untilAnswer('src/main.ts', '/readyz', embedded)),
    reach: { atMost: 1.5 },
  })
} finally {
  await rm(folder, { recursive: true, force: true })
}

await withServer({}, async ({ url, folder: data }) => {
  tell({
    work: 'start on a migrated database, PostgreSQL up',
    unit: 's',
    ours: await rounds(ROUNDS, () =>
      untilAnswer('src/main.ts', '/readyz', { ...service, DATABASE_URL: url, DATA_FOLDER: path.join(data, 'service') }),
    ),
    reach: { atMost: 1.5 },
  })
})
