import { sealHistory, verifyHistory } from '../../src/db/history.ts'
import { fuzz } from '../support/fuzzing.ts'
import { standAlone } from './stand.ts'

/** The long fuzz: `npx tsx test/faults/fuzz.ts [requests] [seed]`. Prints what was asked and every fault it found. */
const requests = Number(process.argv[2] ?? 20_000)
const seed = Number(process.argv[3] ?? Date.now() % 1_000_000)
const stand = await standAlone()
const began = performance.now()
const found = await fuzz({ app: stand.app, pool: stand.service.database.pool, keys: stand.keys, seed, requests })
// what was done is history: all of it is sealed, and nothing in it was changed afterwards
await sealHistory(stand.service.database.pool, stand.service.clock.now())
const history = await verifyHistory(stand.service.database.pool)
found.faults.push(...history.findings)
await stand.close()
const seconds = (performance.now() - began) / 1000
console.log(`seed ${seed}: ${found.requests} requests in ${seconds.toFixed(0)} s`)
console.log(`answers by status: ${JSON.stringify(found.statuses)}`)
console.log(`history: ${history.rows} rows in the chain, ${history.findings.length} findings`)
console.log(`operations that succeeded: ${Object.keys(found.reached).length}`)
for (const [name, times] of Object.entries(found.reached).sort()) console.log(`  ${String(times).padStart(6)} ${name}`)
for (const fault of found.faults) console.log(`FAULT ${fault}`)
console.log(`${found.faults.length} faults`)
process.exitCode = found.faults.length > 0 ? 1 : 0
