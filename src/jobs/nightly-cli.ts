import { parseArgs } from 'node:util'
import { readConfig } from '../config.ts'
import { startEmbedded } from '../db/embedded.ts'
import { migrate } from '../db/migrate.ts'
import { openDatabase } from '../db/open.ts'
import { type Day, isDay } from '../domain/day.ts'
import { Refusal } from '../domain/refusals.ts'
import { rehearseNights } from '../features/nightly-runs/nightly-runs.ts'
import { runNight, tickNightly } from '../features/nightly-runs/run.ts'
import type { RehearsedNight } from '../features/notices/decide-night.ts'
import { type Service, todayAt } from '../http/service.ts'
import { makeLog } from '../log.ts'

/** `npm run nightly`: the run that is due. `-- --for 2026-11-25 --rehearse`: what a night would do, nothing written. */
const { values } = parseArgs({
  options: { for: { type: 'string' }, nights: { type: 'string', default: '1' }, rehearse: { type: 'boolean' } },
})
const reading = readConfig(process.env)
const nights = Number(values.nights)
const faults = [
  ...(reading.ok ? [] : reading.faults),
  ...(values.for === undefined || isDay(values.for) ? [] : ['--for must be a day that exists, as YYYY-MM-DD']),
  ...(Number.isInteger(nights) && nights >= 1 && nights <= 14 ? [] : ['--nights must be a whole number from 1 to 14']),
]
if (!reading.ok || faults.length > 0) {
  console.error(faults.join('\n'))
  process.exit(1)
}
const { config } = reading
const embedded = config.database.url ? null : await startEmbedded({ dataFolder: config.dataFolder })
const url = config.database.url ?? embedded?.url ?? ''
await migrate(url)
const database = await openDatabase(url)
const service: Service = { config, database, clock: { now: () => new Date() }, log: makeLog('warn') }
try {
  const day = values.for as Day | undefined
  if (values.rehearse) for (const night of await rehearseNights(database, day ?? todayAt(service), nights)) tell(night)
  else if (day === undefined) {
    const ran = await tickNightly(service, { by: 'command line' })
    console.log(ran === null ? 'no date is due' : `ran ${ran}; GET /v1/nightly-runs/${ran} tells what it did`)
  } else if (day > todayAt(service)) {
    console.error(`${day} lies after today; add --rehearse to see what that night would do`)
    process.exitCode = 1
  } else {
    const counts = await runNight(service, day, { by: 'command line' })
    console.log(counts === null ? `${day} was run before, or is being run` : JSON.stringify(counts, null, 2))
  }
} catch (error) {
  if (!(error instanceof Refusal)) throw error
  console.error(error.message)
  process.exitCode = 1
} finally {
  await database.close()
  await embedded?.stop()
}

function tell(night: RehearsedNight): void {
  console.log(`${night.day}${night.quiet ? ', a quiet day: nothing is decided' : ''}`)
  for (const letter of night.letters) {
    console.log(`  letter to owner ${letter.ownerId} (${letter.language}), come by ${letter.comeBy}`)
    for (const part of letter.parts)
      console.log(
        part.part === 'due'
          ? `    ${part.kind}, ${part.rule}, stage ${part.stage}, due ${part.dueOn} (${part.standing})${part.foldedUnder ? `, with the ${part.foldedUnder}` : ''}: watch ${part.watchId}`
          : `    ${part.part}: watch ${part.watchId}`,
      )
  }
  for (const item of night.withheld)
    console.log(`  held back: ${item.kind} stage ${item.stage}, watch ${item.watchId}: ${item.reasons.join(', ')}`)
  const { letters, items, skipped, withheld } = night.counts
  console.log(`  in all: ${letters} letters, ${items} items, ${skipped} stages passed over, ${withheld} held back`)
}
