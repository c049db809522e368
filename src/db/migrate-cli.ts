import { readConfig } from '../config.ts'
import { startEmbedded } from './embedded.ts'
import { migrate } from './migrate.ts'

const reading = readConfig(process.env)
if (!reading.ok) {
  console.error(reading.faults.join('\n'))
  process.exit(1)
}
const { config } = reading
const embedded = config.database.url ? null : await startEmbedded({ dataFolder: config.dataFolder })
const done = await migrate(config.database.url ?? embedded?.url ?? '')
console.log(done.length > 0 ? `brought up to date: ${done.join(', ')}` : 'the database is up to date')
await embedded?.stop()
