import { mkdtemp, rm } from 'node:fs/promises'
import os from 'node:os'
import path from 'node:path'
import pg from 'pg'
import { wholeCentre } from '../../../seed/invented/centre.ts'
import { startEmbedded } from '../../../src/db/embedded.ts'
import { migrate } from '../../../src/db/migrate.ts'
import {
  forgottenIn,
  lettersOf,
  live,
  missed,
  NIGHTS,
  nameOfKey,
  openLiving,
  putOnFile,
  stagesOf,
  tooSoon,
} from './year.ts'

/**
 * The whole invented centre of the demo for a year, by hand: `npx tsx test/scenarios/year/whole.ts [nights]`. Night by
 * night, the same again, and with nights, weeks and a month missed.
 */
const nights = Number(process.argv[2] ?? NIGHTS)
const folder = await mkdtemp(path.join(os.tmpdir(), 'mainplate-year-'))
const server = await startEmbedded({ dataFolder: path.join(folder, 'data'), throwaway: true })
const urlOf = (name: string) => Object.assign(new URL(server.url), { pathname: `/${name}` }).toString()
const began = performance.now()
const say = (what: string, found: object | number | string) =>
  console.log(`${((performance.now() - began) / 1000).toFixed(0).padStart(5)} s  ${what}: ${JSON.stringify(found)}`)
let bad = 0
const none = (what: string, found: readonly unknown[]) => {
  say(what, found.length === 0 ? 'none' : found.slice(0, 5))
  bad += found.length
}
try {
  const admin = new pg.Client({ connectionString: urlOf('postgres') })
  await admin.connect()
  await migrate(server.url)
  const name = new URL(server.url).pathname.slice(1)
  const book = await openLiving(server.url)
  const demo = await putOnFile(book, wholeCentre)
  await book.database.close()
  for (const copy of ['again', 'gaps']) await admin.query(`create database ${copy} template ${name}`)
  await admin.end()
  say('on file', { owners: demo.owners.size, watches: demo.watches.size })

  const every = await openLiving(server.url)
  await live(every, { nights })
  const letters = await lettersOf(every.database.pool)
  say(`letters of ${nights} nights`, letters.length)
  none('sooner than thirty days', tooSoon(letters))

  const again = await openLiving(urlOf('again'))
  await live(again, { nights })
  const repeated = await lettersOf(again.database.pool)
  none(
    'letters that read otherwise the second time',
    letters.filter((one, index) => JSON.stringify(one) !== JSON.stringify(repeated[index])),
  )
  if (repeated.length !== letters.length) bad++

  const gaps = await openLiving(urlOf('gaps'))
  await live(gaps, { nights, missed })
  none('sooner than thirty days, with nights missed', tooSoon(await lettersOf(gaps.database.pool)))
  const stages = await stagesOf(gaps.database.pool)
  none('stages twice', stages.slice(new Set(stages.map(nameOfKey)).size))
  none('forgotten', await forgottenIn(await stagesOf(every.database.pool), gaps.database.pool, nights))
  for (const living of [every, again, gaps]) await living.database.close()
} finally {
  await server.stop()
  await rm(folder, { recursive: true, force: true })
}
console.log(bad === 0 ? 'the year is as promised' : `${bad} things are not as promised`)
process.exitCode = bad === 0 ? 0 : 1
