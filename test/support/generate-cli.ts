import { parseArgs } from 'node:util'
import pg from 'pg'
import { readConfig } from '../../src/config.ts'
import { startEmbedded } from '../../src/db/embedded.ts'
import { migrate } from '../../src/db/migrate.ts'
import { type Day, isDay } from '../../src/domain/day.ts'
import { dayAt } from '../../src/http/service.ts'
import { generateCentre } from './generate-centre.ts'

/**
 * `npm run generate -- 100000`: a centre of so many watches into the database of the service (DATABASE_URL, else the embedded
 * one), which must be empty. `--on 2026-11-25` its day, else today; `--seed 2` another centre; `--due 500` letters of that day.
 */
const usage = 'npm run generate -- WATCHES [--on YYYY-MM-DD] [--seed NUMBER] [--due LETTERS]'

function asked(today: Day) {
  const { values, positionals } = parseArgs({
    allowPositionals: true,
    options: { on: { type: 'string' }, seed: { type: 'string' }, due: { type: 'string' } },
  })
  const whole = (what: string, text: string, least: number) => {
    const number = Number(text)
    if (!Number.isInteger(number) || number < least)
      throw new Error(`${what} is a whole number from ${least}, not ${text}`)
    return number
  }
  if (positionals.length !== 1) throw new Error('How many watches?')
  const watches = whole('The number of watches', positionals[0] ?? '', 60)
  const on = values.on ?? today
  if (!isDay(on)) throw new Error(`--on is a day that exists, YYYY-MM-DD, not ${on}`)
  const due = whole('--due', values.due ?? String(Math.min(10_000, Math.floor(watches / 10))), 0)
  if (due > watches / 2) throw new Error('--due is at most half of the watches: each letter goes to another owner')
  return { watches, due, today: on, seed: whole('--seed', values.seed ?? '1', 0) }
}

async function main(): Promise<void> {
  const reading = readConfig(process.env)
  if (!reading.ok) throw new Error(reading.faults.join('\n'))
  const { config } = reading
  const size = asked(dayAt(new Date(), config.centre.timeZone))
  const embedded = config.database.url ? null : await startEmbedded({ dataFolder: config.dataFolder })
  const url = config.database.url ?? embedded?.url ?? ''
  const client = new pg.Client({ connectionString: url })
  try {
    await migrate(url)
    await client.connect()
    const { rows } = await client.query<{ empty: boolean }>(
      `select not exists (select from owner) and not exists (select from watch) and not exists (select from ticket) and not exists (select from stock_item)
         and not exists (select from calibre) as empty`,
    )
    if (!rows[0]?.empty)
      throw new Error(
        'The database is not empty, and an invented centre belongs into an empty one: nothing was written.',
      )
    const began = performance.now()
    await generateCentre(client, size)
    await client.query('vacuum analyze')
    console.log(
      `${size.watches} watches on file for ${size.today}, after ${Math.round((performance.now() - began) / 1000)} s`,
    )
  } finally {
    await client.end()
    await embedded?.stop()
  }
}

await main().catch((error: Error & { code?: string }) => {
  console.error(error.message)
  if (error.code?.startsWith('ERR_PARSE_ARGS') || error.message === 'How many watches?') console.error(usage)
  process.exitCode = 1
})
