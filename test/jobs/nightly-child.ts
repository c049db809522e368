import { readConfig } from '../../src/config.ts'
import { openDatabase } from '../../src/db/open.ts'
import type { Day } from '../../src/domain/day.ts'
import { runNight } from '../../src/features/nightly-runs/run.ts'
import { makeLog } from '../../src/log.ts'

/** A replica that is killed with SIGKILL after so many batches of a nightly run: `nightly-child.ts url day batches`. */
const [url = '', day = '', batches = '1'] = process.argv.slice(2)
const reading = readConfig({ LOG_LEVEL: 'silent', JOBS: 'off' })
if (!reading.ok) throw new Error(reading.faults.join('\n'))
const database = await openDatabase(url, { poolSize: 2 })
let left = Number(batches)
await runNight(
  { config: reading.config, database, clock: { now: () => new Date() }, log: makeLog('silent') },
  day as Day,
  {
    batch: 2,
    afterBatch: () => {
      if (--left === 0) process.kill(process.pid, 'SIGKILL')
    },
  },
)
await database.close()
