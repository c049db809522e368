import { type ChildProcess, execFile, spawn } from 'node:child_process'
import { once } from 'node:events'
import { rm } from 'node:fs/promises'
import { type AddressInfo, createServer } from 'node:net'
import path from 'node:path'
import { setTimeout as pause } from 'node:timers/promises'
import { promisify } from 'node:util'
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
async function untilAnswer(what: readonly string[], path: string, env: Record<string, string>): Promise<number> {
  const port = await freePort()
  const started = performance.now()
  const child: ChildProcess = spawn(process.execPath, what, {
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
      if (child.exitCode !== null || child.signalCode !== null)
        throw new Error(`${what.join(' ')} ended before it answered`)
      await pause(10)
    }
    return (performance.now() - started) / 1000
  } finally {
    child.kill('SIGINT')
    await ended
  }
}

const fromSource = (file: string) => ['--import', 'tsx', file]

async function rounds(count: number, one: () => Promise<number>): Promise<number[]> {
  const taken: number[] = []
  for (let round = 0; round < count; round++) taken.push(await one())
  return taken
}

const service = { LOG_LEVEL: 'silent', JOBS: 'off' }
tell({
  work: 'npm run demo to its first answer',
  unit: 's',
  ours: await rounds(Math.min(ROUNDS, 3), () => untilAnswer(fromSource('seed/demo.ts'), '/readyz', {})),
  reach: { atMost: 20 },
})

const folder = await enterableFolder('bench')
try {
  const embedded = { ...service, DATA_FOLDER: path.join(folder, 'data'), DATABASE_URL: '' }
  // the first start brings the database up to date
  await untilAnswer(fromSource('src/main.ts'), '/readyz', embedded)
  tell({
    work: 'start on a migrated database, its embedded server started too',
    unit: 's',
    ours: await rounds(ROUNDS, () => untilAnswer(fromSource('src/main.ts'), '/readyz', embedded)),
    reach: { atMost: 1.5 },
  })
} finally {
  await rm(folder, { recursive: true, force: true })
}

// compiled once, as whoever cares for the time of a start does
await promisify(execFile)('npm', ['run', 'build'])
await withServer({}, async ({ url, folder: data }) => {
  const up = { ...service, DATABASE_URL: url, DATA_FOLDER: path.join(data, 'service') }
  for (const [how, what, reach] of [
    ['from its sources', fromSource('src/main.ts'), undefined],
    ['compiled', ['dist/src/main.js'], { atMost: 1.5 }],
  ] as const)
    tell({
      work: `start on a migrated database, PostgreSQL up, ${how}`,
      unit: 's',
      ours: await rounds(ROUNDS, () => untilAnswer(what, '/readyz', up)),
      ...(reach && { reach }),
    })
})
