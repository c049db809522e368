import type pg from 'pg'
import { inventCentre, type Size } from '../../../seed/invented/centre.ts'
import { book } from '../../../seed/steps/book.ts'
import { calibresAndGuidance } from '../../../seed/steps/calibres.ts'
import { guidePrices } from '../../../seed/steps/prices.ts'
import { rules } from '../../../seed/steps/rules.ts'
import { centreSettings } from '../../../seed/steps/settings.ts'
import { type Demo, doing, newDemo } from '../../../seed/steps/step.ts'
import { readConfig } from '../../../src/config.ts'
import { type Database, openDatabase } from '../../../src/db/open.ts'
import { addDays, type Day, numberOfDay, type PartialDay } from '../../../src/domain/day.ts'
import type { LetterPlan } from '../../../src/domain/notices/types.ts'
import { recordFacts } from '../../../src/features/facts/facts.ts'
import { tickNightly } from '../../../src/features/nightly-runs/run.ts'
import { instantOf, type Service } from '../../../src/http/service.ts'
import { tickReReckonings } from '../../../src/jobs/re-reckon.ts'
import { makeLog } from '../../../src/log.ts'

/** A year of an invented centre, night by night: what happens in it follows from the day and the book alone. */
export const FIRST = '2026-11-25' as Day
export const NIGHTS = 365

export type Living = { service: Service; database: Database; setDay: (day: Day, at?: string) => void }

export async function openLiving(url: string, env: Record<string, string> = {}): Promise<Living> {
  const reading = readConfig({
    LOG_LEVEL: 'silent',
    CENTRE_NAME: 'Lanternside Watch Service',
    CENTRE_TIME_ZONE: 'Europe/London',
    CENTRE_COUNTRY: 'GB',
    LETTERS_FROM: 'Lanternside Watch Service <letters@example.org>',
    LINK_SECRET: 'a secret that is the same in each of the lives',
    ...env,
  })
  if (!reading.ok) throw new Error(reading.faults.join('\n'))
  const database = await openDatabase(url, { poolSize: 4 })
  let now = new Date(0)
  const service: Service = {
    config: reading.config,
    database,
    clock: { now: () => now },
    log: makeLog('silent'),
  }
  return {
    service,
    database,
    setDay: (day, at = '03:00') => {
      now = instantOf(day, at, reading.config.centre.timeZone)
    },
  }
}

/** The book of the centre, put on file through the use cases. */
export async function putOnFile(living: Living, size: Size): Promise<Demo> {
  living.setDay(FIRST, '09:00')
  const demo = newDemo(living.service, FIRST, inventCentre(1, FIRST, size))
  for (const step of [centreSettings, rules, guidePrices, calibresAndGuidance, book]) await step.run(demo, () => {})
  return demo
}

const events = ['cell-fitted', 'complete-service', 'water-test'] as const

/** Each fifth day somebody's watch has been seen to: work that moves dates and begins cycles. The same in every life. */
async function somethingHappens({ service, database }: Living, day: Day): Promise<void> {
  const nth = numberOfDay(day) - numberOfDay(FIRST)
  if (nth % 5 !== 4) return
  const { rows } = await database.pool.query<{ id: string; quartz: boolean }>(
    `select id, kind = 'quartz' as quartz from watch where owner_id is not null and state = 'in-use' and serial is not null order by md5(serial || $1), id limit 1`,
    [day],
  )
  const watch = rows[0]
  if (!watch) return
  const event =
    events[nth % 3] === 'cell-fitted' && !watch.quartz ? 'complete-service' : (events[nth % 3] ?? 'water-test')
  const at = instantOf(day, '10:00', service.config.centre.timeZone)
  await doing({ service: { ...service, clock: { now: () => at } } }, (act) =>
    recordFacts(act, {
      events: [
        {
          watchId: watch.id,
          event,
          on: day as unknown as PartialDay,
          source: 'own-record',
          learned: day,
          ...(event === 'water-test' ? { passed: true } : {}),
        } as never,
      ],
    }),
  )
}

/**
 * Lives the nights in order. A night that is `missed` sees no tick, and the next one finds the gap. `eachNight` comes
 * after the tick of a night that was run.
 */
export async function live(
  living: Living,
  options: { nights?: number; missed?: (nth: number) => boolean; eachNight?: (day: Day) => Promise<void> } = {},
): Promise<void> {
  for (let nth = 0; nth < (options.nights ?? NIGHTS); nth++) {
    const day = addDays(FIRST, nth)
    living.setDay(day)
    if (!options.missed?.(nth)) {
      if (await tickReReckonings(living.service)) await tickNightly(living.service)
      await options.eachNight?.(day)
    }
    await somethingHappens(living, day)
  }
}

/** All letters that were decided, in the order of runs and owners, as they were planned. */
export async function lettersOf(pool: pg.Pool): Promise<{ runOn: Day; ownerId: string; plan: LetterPlan }[]> {
  const { rows } = await pool.query(
    `select run_on as "runOn", owner_id as "ownerId", plan from notice order by run_on, owner_id, id`,
  )
  return rows
}

/** Pairs of letters to one owner that came sooner than thirty days after each other, those outside the rhythm aside. */
export function tooSoon(letters: readonly { runOn: Day; ownerId: string; plan: LetterPlan }[]): string[] {
  const last = new Map<string, Day>()
  const found: string[] = []
  for (const { runOn, ownerId, plan } of letters) {
    if (!plan.reminder) continue
    const before = last.get(ownerId)
    if (before !== undefined && numberOfDay(runOn) - numberOfDay(before) < 30)
      found.push(`${ownerId}: ${before}, ${runOn}`)
    last.set(ownerId, runOn)
  }
  return found
}

type Key = { owner: string; watch: string; kind: string; cycle: string; round: Day; stage: string }

/** Every stage that a letter carried or passed over, as often as it was booked. */
export async function stagesOf(pool: pg.Pool): Promise<(Key & { booked: string; runOn: Day })[]> {
  const { rows } = await pool.query(
    `select owner_id as owner, watch_id as watch, kind, cycle, round, stage, booked, run_on as "runOn"
     from notice_item order by run_on, owner_id, id`,
  )
  return rows
}

export const nameOfKey = (key: Key) => [key.owner, key.watch, key.kind, key.cycle, key.round, key.stage].join(' ')
export const nameOfCycle = (key: Key) => [key.owner, key.watch, key.kind, key.cycle].join(' ')

/** Two nights, three weeks, and once thirty days. */
export const missed = (nth: number): boolean =>
  [4, 31].includes(nth) || [60, 150, 290].some((at) => nth >= at && nth < at + 7) || (nth >= 200 && nth < 230)

type Stage = Awaited<ReturnType<typeof stagesOf>>[number]

/**
 * What a life without gaps wrote about early enough for a month of silence and thirty days of rhythm, and a life with
 * gaps never did, though it stands there still: work may have been done before the silence was over. A guarantee's end is
 * told in a letter that goes anyway, or not at all.
 */
export async function forgottenIn(full: readonly Stage[], gaps: pg.Pool, nights = NIGHTS): Promise<Stage[]> {
  const early = addDays(FIRST, nights - 85)
  const written = new Set((await stagesOf(gaps)).filter((one) => one.booked === 'letter').map(nameOfCycle))
  const { rows } = await gaps.query<Stage>(
    'select watch_id as watch, kind, cycle from obligation where rule is not null',
  )
  const standing = new Set(rows.map((one) => `${one.watch} ${one.kind} ${one.cycle}`))
  const due = full.filter((one) => one.booked === 'letter' && one.kind !== 'guarantee' && one.runOn < early)
  return [...new Map(due.map((one) => [nameOfCycle(one), one])).values()].filter(
    (one) => !written.has(nameOfCycle(one)) && standing.has(`${one.watch} ${one.kind} ${one.cycle}`),
  )
}
