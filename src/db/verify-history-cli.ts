import { readConfig } from '../config.ts'
import { startEmbedded } from './embedded.ts'
import { verifyHistory } from './history.ts'
import { openDatabase } from './open.ts'

/** `npm run verify-history [-- --expect <batch>:<hash>]`: leaves with 1 where history was rewritten. */
const reading = readConfig(process.env)
if (!reading.ok) {
  console.error(reading.faults.join('\n'))
  process.exit(1)
}
const noted = /^(\d+):([0-9a-f]{64})$/.exec(process.argv[process.argv.indexOf('--expect') + 1] ?? '')
if (process.argv.includes('--expect') && !noted) {
  console.error('--expect wants <batch>:<hash>, as an earlier run printed it')
  process.exit(1)
}
const { config } = reading
const embedded = config.database.url ? null : await startEmbedded({ dataFolder: config.dataFolder })
const database = await openDatabase(config.database.url ?? embedded?.url ?? '')
const verdict = await verifyHistory(
  database.pool,
  noted ? { number: Number(noted[1]), hash: noted[2] ?? '' } : undefined,
)
for (const finding of verdict.findings) console.log(`REWRITTEN ${finding}`)
console.log(
  `${verdict.rows} rows in ${verdict.batches} batches compared; ${verdict.unsealed} not sealed yet; ${verdict.erased} emptied by erasures; ${verdict.findings.length} findings`,
)
if (verdict.head) console.log(`keep this elsewhere: ${verdict.head.number}:${verdict.head.hash}`)
await database.close()
await embedded?.stop()
process.exitCode = verdict.findings.length > 0 ? 1 : 0
