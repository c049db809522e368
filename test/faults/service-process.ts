import { type ChildProcess, spawn } from 'node:child_process'
import { randomBytes, randomUUID } from 'node:crypto'
import { mkdtemp, rm } from 'node:fs/promises'
import http from 'node:http'
import net from 'node:net'
import os from 'node:os'
import path from 'node:path'

/** The service as a real process of its own on a free port, with a manager key of its own. */
export type Running = {
  port: number
  key: string
  process: ChildProcess
  exited: Promise<{ code: number | null; signal: string | null }>
  /** waits until a line of its log has this message */
  said: (message: string) => Promise<void>
}

export const aKey = () => `mp_${randomBytes(16).toString('hex')}_${randomBytes(32).toString('base64url')}`

export async function startService(
  databaseUrl: string,
  key: string,
  env: Record<string, string> = {},
  /** the folder of the version that runs; this one where it is not said */
  version: string = process.cwd(),
): Promise<Running> {
  const folder = await mkdtemp(path.join(os.tmpdir(), 'mainplate-fault-'))
  const child = spawn(process.execPath, ['--import', 'tsx', 'src/main.ts'], {
    cwd: version,
    stdio: ['ignore', 'pipe', 'pipe'],
    env: {
      ...process.env,
      DATABASE_URL: databaseUrl,
      DATA_FOLDER: folder,
      PORT: '0',
      HOST: '127.0.0.1',
      FIRST_MANAGER_KEY: key,
      LOG_LEVEL: 'info',
      ...env,
    },
  })
  const messages: { msg?: string; at?: string }[] = []
  const waiting: (() => void)[] = []
  let rest = ''
  let errors = ''
  child.stderr?.on('data', (chunk) => {
    errors += chunk
  })
  child.stdout?.on('data', (chunk) => {
    const lines = (rest + chunk).split('\n')
    rest = lines.pop() ?? ''
    for (const line of lines) if (line.startsWith('{')) messages.push(JSON.parse(line))
    for (const wake of waiting.splice(0)) wake()
  })
  const exited = new Promise<{ code: number | null; signal: string | null }>((resolve) =>
    child.once('exit', (code, signal) => {
      for (const wake of waiting.splice(0)) wake()
      void rm(folder, { recursive: true, force: true })
      resolve({ code, signal })
    }),
  )
  const heard = async (message: string) => {
    for (;;) {
      const found = messages.find((line) => line.msg === message)
      if (found) return found
      if (child.exitCode !== null || child.signalCode !== null)
        throw new Error(`it stopped without saying "${message}": ${errors}`)
      await new Promise<void>((resolve) => waiting.push(resolve))
    }
  }
  const { at } = await heard('listening')
  return {
    port: Number(new URL(at ?? '').port),
    key,
    process: child,
    exited,
    said: async (message) => void (await heard(message)),
  }
}

/** A line that can be laid to another port, or cut: a database that comes back may do so elsewhere. */
export async function lineTo(port: number) {
  let target: number | null = port
  const open = new Set<net.Socket>()
  const server = net.createServer((socket) => {
    if (target === null) return socket.destroy()
    const far = net.connect(target, '127.0.0.1')
    for (const [end, other] of [
      [socket, far],
      [far, socket],
    ] as const) {
      open.add(end)
      end.on('error', () => other.destroy())
      end.on('close', () => {
        open.delete(end)
        other.destroy()
      })
      end.pipe(other)
    }
  })
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve))
  return {
    port: (server.address() as net.AddressInfo).port,
    to: (next: number | null) => {
      target = next
    },
    close: async () => {
      for (const socket of open) socket.destroy()
      await new Promise((resolve) => server.close(resolve))
    },
  }
}

export type Answer = { status: number; body: string; type: string; retryAfter: string | undefined }

/** One request, on a connection of its own unless an agent keeps some; null where it broke before an answer. */
export function ask(
  running: Pick<Running, 'port' | 'key'>,
  method: string,
  url: string,
  body?: object,
  idempotencyKey = `"${randomUUID()}"`,
  agent: http.Agent | false = false,
): Promise<Answer | null> {
  return new Promise((resolve) => {
    const request = http.request(
      {
        port: running.port,
        host: '127.0.0.1',
        method,
        path: url,
        agent,
        headers: {
          authorization: `Bearer ${running.key}`,
          'content-type': 'application/json',
          'idempotency-key': idempotencyKey,
          'if-match': '*',
        },
      },
      (response) => {
        let text = ''
        response.on('data', (chunk) => {
          text += chunk
        })
        response.on('end', () =>
          resolve({
            status: response.statusCode ?? 0,
            body: text,
            type: String(response.headers['content-type']),
            retryAfter: response.headers['retry-after'],
          }),
        )
        response.on('error', () => resolve(null))
      },
    )
    request.on('error', () => resolve(null))
    request.end(body && JSON.stringify(body))
  })
}
