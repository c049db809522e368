import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { tickNightly } from '../../../src/features/nightly-runs/run.ts'
import { stillAllowed } from '../../../src/features/notices/decide-again.ts'
import { deliverLetters } from '../../../src/jobs/deliver.ts'
import { type Relay, startRelay } from '../../faults/delivery/relay.ts'
import { copyOf, freshDatabase } from '../../support/database.ts'
import {
  forgottenIn,
  type Living,
  lettersOf,
  live,
  missed,
  nameOfKey,
  openLiving,
  putOnFile,
  stagesOf,
  tooSoon,
} from './year.ts'

/**
 * One year of one small centre, lived three times from the same book, with the same work done on the same days: every
 * night, with its letters handed to a relay; every night again; and with nights, weeks and a whole month missed.
 */
const size = { owners: 110, watches: 150, cases: 0.1 }
const drops: (() => Promise<void>)[] = []
let relay: Relay
let every: Living
let again: Living
let gaps: Living

beforeAll(async () => {
  relay = await startRelay()
  const first = await freshDatabase()
  drops.push(first.drop)
  const book = await openLiving(first.url)
  await putOnFile(book, size)
  await book.database.close()
  const urls = [first.url]
  for (let n = 0; n < 2; n++) {
    const copy = await copyOf(first.url)
    drops.push(copy.drop)
    urls.push(copy.url)
  }
  every = await openLiving(urls[0] ?? '', { SMTP_URL: relay.url })
  again = await openLiving(urls[1] ?? '')
  gaps = await openLiving(urls[2] ?? '')
})
afterAll(async () => {
  for (const living of [every, again, gaps]) await living?.database.close()
  for (const drop of drops) await drop()
  await relay.close()
})

describe('a year of nights', { timeout: 600_000 }, () => {
  test('every letter of every night reaches the relay once, though one conversation in nine is refused or breaks', async () => {
    relay.fault = (nth) => {
      if (nth % 18 === 5) return { at: 'rcpt', do: 'answer', reply: '451 4.3.0 later' }
      return nth % 18 === 14 ? { at: 'mail', do: 'close' } : null
    }
    const { pool } = every.database
    const waiting = async () =>
      (await pool.query(`select count(*)::int as n from notice where state = 'queued'`)).rows[0].n as number
    await live(every, {
      eachNight: async () => {
        while ((await waiting()) > 0) {
          await deliverLetters(every.service, stillAllowed)
          // what was put back waits for half an hour by the database's clock; here it has passed
          await pool.query(`update notice set next_at = now() where state = 'queued'`)
        }
      },
    })
    const { rows } = await pool.query('select id, state from notice order by id')
    expect(rows.length).toBeGreaterThan(120)
    expect(rows.filter((row) => row.state !== 'sent')).toEqual([])
    expect(relay.kept.map((letter) => letter.messageId).sort()).toEqual(rows.map((row) => row.id))
    const letters = await lettersOf(pool)
    expect(new Set(letters.map(({ runOn, ownerId }) => `${runOn} ${ownerId}`)).size).toBe(letters.length)
    expect(tooSoon(letters)).toEqual([])
  })

  test('lived again, each night asked for twice, it has the same letters to the last word of their plans', async () => {
    const { pool } = again.database
    const nights = async () => (await pool.query('select count(*)::int as n from notice')).rows[0].n as number
    await live(again, {
      eachNight: async () => {
        const before = await nights()
        expect(await tickNightly(again.service)).toBe(null)
        expect(await nights()).toBe(before)
      },
    })
    expect(await lettersOf(pool)).toEqual(await lettersOf(every.database.pool))
  })

  test('with nights missed, nothing goes out twice or is forgotten, and nobody is written to sooner', async () => {
    await live(gaps, { missed })
    const { pool } = gaps.database
    const { rows } = await pool.query(`select state, count(*)::int as n from nightly_run group by state order by state`)
    expect(rows).toEqual([
      { state: 'finished', n: 312 },
      { state: 'missed', n: 53 },
    ])
    const letters = await lettersOf(pool)
    expect(tooSoon(letters)).toEqual([])
    const stages = await stagesOf(pool)
    expect(new Set(stages.map(nameOfKey)).size).toBe(stages.length)
    const full = await stagesOf(every.database.pool)
    expect(await forgottenIn(full, pool)).toEqual([])
    expect(full.filter((one) => one.booked === 'letter' && one.runOn < '2027-09-01').length).toBeGreaterThan(100)
    expect(letters).not.toEqual(await lettersOf(every.database.pool))
  })
})
