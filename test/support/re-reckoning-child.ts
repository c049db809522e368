import { readConfig } from '../../src/config.ts'
import { openDatabase } from '../../src/db/open.ts'
import { runReReckonings } from '../../src/features/re-reckonings/run.ts'
import { makeLog } from '../../src/log.ts'

/** A replica that is killed with SIGKILL after so many batches of six: `re-reckoning-child.ts url day batches`. */
const [url = '', day = '', batches = '1'] = process.argv.slice(2)
const reading = readConfig({ LOG_LEVEL: 'silent', JOBS: 'off', CENTRE_TIME_ZONE: 'UTC' })
if (!reading.ok) throw new Error(reading.faults.join('\n'))
const database = await openDatabase(url, { poolSize: 2 })
let left = Number(batches)
await runReReckonings(
  {
    config: reading.config,
    database,
    clock: { now: () => new Date(`${day}T12:00:00Z`) },
    log: makeLog('silent'),
  },
  {
    batch: 6,
    afterBatch: () => {
      if (--left === 0) process.kill(process.pid, 'SIGKILL')
    },
  },
)
await database.close()
