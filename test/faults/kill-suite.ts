import { rm } from 'node:fs/promises'
import path from 'node:path'
import { startEmbedded } from '../../src/db/embedded.ts'
import { migrate } from '../../src/db/migrate.ts'
import { enterableFolder } from '../support/folder.ts'
import { killRun } from './delivery/kill-run.ts'

/**
 * The large kill suite, by hand: `npx tsx test/faults/kill-suite.ts [notices] [kills] [replicas] [hold|resend]`. Each seed once with the
 * policy hold (nothing twice, nothing lost without being told) and once with resend (nothing lost; a second copy is the
 * first to the byte with the same key, so that a relay honouring the key keeps one).
 */
const [notices = 10_000, kills = 200, replicas = 3] = process.argv.slice(2, 5).map(Number)
const only = process.argv[5]
const policies = (['hold', 'resend'] as const).filter((policy) => only === undefined || policy === only)
const folder = await enterableFolder('kills')
const server = await startEmbedded({
  dataFolder: path.join(folder, 'data'),
  throwaway: true,
  settings: { max_connections: '200' },
})
const stop = async () => {
  await server.stop()
  await rm(folder, { recursive: true, force: true })
}
for (const signal of ['SIGINT', 'SIGTERM'] as const) process.once(signal, () => void stop().then(() => process.exit(1)))
let bad = 0
try {
  await migrate(server.url)
  for (const policy of policies) {
    for (const seed of [42, 7, 2026]) {
      const result = await killRun({ databaseUrl: server.url, seed, policy, notices, kills, replicas, replyMs: 20 })
      console.log(JSON.stringify({ policy, seed, notices, replicas, ...result }))
      if (result.lost > 0 || result.twiceOtherwise > 0 || result.kills < kills) bad++
      if (policy === 'hold' && result.twice > 0) bad++
      if (policy === 'resend' && (result.inDoubt > 0 || result.distinctKeys !== notices)) bad++
    }
  }
} finally {
  await stop()
}
console.log(bad === 0 ? 'all runs as promised' : `${bad} runs broke the promise`)
process.exitCode = bad === 0 ? 0 : 1
