import { type ChildProcess, fork } from 'node:child_process'
import { fileURLToPath } from 'node:url'

export type ReplicaOptions = {
  databaseUrl: string
  relayUrl: string
  policy: 'hold' | 'resend'
  crashAt?: string
  leaseSeconds?: number
  batch?: number
  connections?: number
}

const program = fileURLToPath(new URL('./replica.ts', import.meta.url))

export function startReplica(options: ReplicaOptions): ChildProcess {
  return fork(program, [], {
    execArgv: ['--import', 'tsx'],
    stdio: ['ignore', 'ignore', 'inherit', 'ipc'],
    env: {
      ...process.env,
      REPLICA_DATABASE: options.databaseUrl,
      REPLICA_RELAY: options.relayUrl,
      REPLICA_POLICY: options.policy,
      REPLICA_LEASE: String(options.leaseSeconds ?? 3),
      REPLICA_BATCH: String(options.batch ?? 10),
      REPLICA_CONNECTIONS: String(options.connections ?? 5),
      ...(options.crashAt ? { CRASH_AT: options.crashAt } : {}),
    },
  })
}

export const ended = (child: ChildProcess) =>
  child.exitCode !== null || child.signalCode !== null
    ? Promise.resolve()
    : new Promise<void>((resolve) => child.once('exit', () => resolve()))
