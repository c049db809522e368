import { writeFile } from 'node:fs/promises'
import { readConfig } from '../config.ts'
import { backUp, bringBack, erasedPersons, readErased } from '../db/backup.ts'
import { startEmbedded } from '../db/embedded.ts'
import { verifyHistory } from '../db/history.ts'
import { migrate } from '../db/migrate.ts'
import { openDatabase } from '../db/open.ts'
import type { Day } from '../domain/day.ts'
import { keeperOf, reapply } from '../features/persons/erasure.ts'
import { act, type Service } from '../http/service.ts'
import { makeLog } from '../log.ts'

/**
 * `npm run backup -- FILE`: a copy of everything, and FILE.erased beside it.
 * `npm run restore -- FILE [--erased NEWEST.erased]`: into an empty database; forgets anew those who were forgotten since.
 */
const [what, file, flag, list] = process.argv.slice(2)
const reading = readConfig(process.env)
if (
  !reading.ok ||
  !file ||
  (what !== 'backup' && what !== 'restore') ||
  (flag !== undefined && (flag !== '--erased' || !list))
) {
  console.error(
    reading.ok ? 'npm run backup -- FILE, or npm run restore -- FILE [--erased LIST]' : reading.faults.join('\n'),
  )
  process.exit(1)
}
const { config } = reading
const embedded = config.database.url ? null : await startEmbedded({ dataFolder: config.dataFolder })
const url = config.database.url ?? embedded?.url ?? ''
const database = await openDatabase(url)
try {
  if (what === 'backup') {
    const { tables, rows } = await backUp(database.pool, file, new Date())
    const erased = await erasedPersons(database.pool)
    await writeFile(`${file}.erased`, erased.map((one) => `${JSON.stringify(one)}\n`).join(''), { mode: 0o600 })
    console.log(`${rows} rows of ${tables} tables are in ${file}; ${erased.length} forgotten persons in ${file}.erased`)
  } else {
    await migrate(url)
    const { tables, rows, madeAt } = await bringBack(database.pool, file)
    console.log(`${rows} rows of ${tables} tables are back, as of ${madeAt}`)
    const service: Service = { config, database, clock: { now: () => new Date() }, log: makeLog('silent') }
    const erased = (list ? await readErased(list) : []).map(({ ownerId, askedOn }) => ({
      ownerId,
      askedOn: askedOn as Day,
    }))
    const again = await act(service, { keyId: null, name: 'restore', role: 'service' }, (doing) =>
      reapply(doing, erased, keeperOf(service)),
    )
    console.log(
      list
        ? `${again.length} persons who were forgotten since are forgotten again`
        : 'no list of the forgotten was given: see --erased',
    )
  }
  const verdict = await verifyHistory(database.pool)
  for (const finding of verdict.findings) console.log(`REWRITTEN ${finding}`)
  if (verdict.head) console.log(`history ends at ${verdict.head.number}:${verdict.head.hash}`)
  process.exitCode = verdict.findings.length > 0 ? 1 : 0
} catch (error) {
  console.error((error as Error).message)
  process.exitCode = 1
} finally {
  await database.close()
  await embedded?.stop()
}
