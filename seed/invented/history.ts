import { addMonths, type Day, dayOfNumber, numberOfDay, type PartialDay, spanOf } from '../../src/domain/day.ts'
import type { HistoryEvent, WearFacts, YesNo } from '../../src/domain/reckoning/facts.ts'
import type { ImportedWatch } from '../../src/features/imports/imports.ts'
import type { Dice } from '../random.ts'
import { type Invented, vaguely } from './watch.ts'

export type Events = NonNullable<ImportedWatch['events']>
export type Wear = NonNullable<ImportedWatch['wear']>

/** How an owner keeps the days the centre writes about. */
type Habit = 'prompt' | 'late' | 'lost'

type Bench = {
  dice: Dice
  today: Day
  invented: Invented
  events: Events
  /** the last complete service or, without one, the day it was sold or made */
  service: Day | null
  cell: Day | null
  test: Day | null
}

const days = (from: Day, count: number): Day => dayOfNumber(numberOfDay(from) + count)
const own = (day: Day) => ({ on: day as unknown as PartialDay, source: 'own-record' as const, learned: day })

const runsOnCells = ({ sort }: Invented) => sort.kind === 'quartz' || sort.kind === 'electric'
const hasClaim = ({ watch }: Invented) => watch.waterClaim?.marked === 'plain' || watch.waterClaim?.marked === 'rated'
const usedInWater = (wear: WearFacts | undefined) =>
  wear?.water !== undefined && wear.water !== null && wear.water !== 'never' && wear.water !== 'unknown'

/** What the owner said about how it is worn; much of it was never asked. */
export function askedAbout(dice: Dice, { sort }: Invented, learned: Day): Wear[number] {
  const perhaps = (yes: number): YesNo => (dice.chance(0.35) ? 'unknown' : dice.chance(yes) ? 'yes' : 'no')
  const water = dice.weighed(sort.water)
  const wet = water === 'often' || water === 'diving'
  return {
    daily: perhaps(sort.made[1] < 1995 ? 0.1 : 0.6),
    vibration: perhaps(0.08),
    heat: perhaps(0.05),
    cold: perhaps(0.04),
    water,
    salt: water === 'never' ? 'no' : perhaps(wet ? 0.4 : 0.05),
    chlorine: water === 'never' ? 'no' : perhaps(wet ? 0.4 : 0.05),
    hotWater: water === 'never' ? 'no' : perhaps(0.05),
    learned,
    source: 'owner-word',
  }
}

/** A new cell with what its pack and the tester said: best-before by month or day, capacity, and often the consumption measured. */
export function cellFitted({ dice, invented }: Pick<Bench, 'dice' | 'invented'>, day: Day): HistoryEvent {
  const max = invented.calibre.consumptionMaxMicroamps ?? 2
  return {
    event: 'cell-fitted',
    ...own(day),
    bestBefore: vaguely(dice, addMonths(day, dice.whole(20, 44)), { year: 0, month: 0.7 }),
    ...(invented.calibre.capacityMah !== undefined && { capacityMah: invented.calibre.capacityMah }),
    ...(dice.chance(0.6) && { consumptionMicroamps: Math.round(max * (0.45 + dice.next() * 0.5) * 100) / 100 }),
  }
}

/** Tested to what it claims; a failure is mended with new seals and tested again, on the same day. */
function waterTest(bench: Bench, day: Day): void {
  const { dice, events, invented } = bench
  const claim = invented.watch.waterClaim
  const bar = Math.min(claim?.bar ?? 2, 10)
  if (dice.chance(0.04)) {
    events.push({ event: 'water-test', ...own(day), passed: false, bar })
    events.push({ event: 'seals-replaced', ...own(day) })
  }
  events.push({ event: 'water-test', ...own(day), passed: true, bar })
  bench.test = day
}

function cellChange(bench: Bench, day: Day): void {
  bench.events.push(cellFitted(bench, day))
  bench.cell = day
}

/** Taken apart, cleaned, oiled: new seals, a new cell where there is one, and tested if it claims anything. */
function completeService(bench: Bench, day: Day): void {
  const { events, invented } = bench
  events.push({ event: 'complete-service', ...own(day) })
  bench.service = day
  if (runsOnCells(invented)) cellChange(bench, day)
  if (hasClaim(invented)) {
    events.push({ event: 'seals-replaced', ...own(day) })
    waterTest(bench, day)
  }
}

/** What had been done to it before it came here: on paper, by the owner's word, or not known. */
function before(bench: Bench): void {
  const { dice, events, invented } = bench
  const { firstSeen } = invented.watch
  const madeBy = invented.watch.made ? Number(invented.watch.made.slice(0, 4)) : invented.sort.made[1]
  const years = Number(firstSeen.slice(0, 4)) - madeBy
  if (years < 4 || !dice.chance(0.4)) return
  const on = days(firstSeen, -dice.whole(200, Math.min(years - 2, 6) * 365))
  const [source, part] = dice.chance(0.45) ? (['paper', 0.1] as const) : (['owner-word', 0.5] as const)
  events.push({
    event: 'complete-service',
    on: vaguely(dice, on, { year: part, month: 0.4 }),
    source,
    learned: firstSeen,
  })
}

const serviceMonths = ({ sort, calibre }: Invented, wear: WearFacts | undefined) => {
  if (sort.kind === 'quartz' || sort.kind === 'rechargeable-quartz') return 84
  if ((calibre.beatsPerHour ?? 0) > 28_800) return 36
  return wear?.vibration === 'yes' || wear?.heat === 'yes' || wear?.cold === 'yes' ? 48 : 60
}

/** The next day the owner comes in, by his habit and by what falls due first. */
function nextVisit(bench: Bench, wear: WearFacts | undefined, habit: Habit): Day | null {
  const { dice, invented, service, cell, test } = bench
  const dues: Day[] = []
  if (service) dues.push(addMonths(service, serviceMonths(invented, wear)))
  if (cell) dues.push(addMonths(cell, 24))
  const often = usedInWater(wear) && wear?.water !== 'now-and-then'
  const tight = usedInWater(wear) || (wear?.water !== 'never' && (invented.watch.waterClaim?.bar ?? 0) >= 10)
  if (test && tight) dues.push(addMonths(test, often ? 12 : 24))
  const first = dues.sort()[0]
  if (first === undefined) return null
  const delay = habit === 'prompt' ? dice.whole(-60, -12) : dice.whole(0, 260)
  return days(first, delay)
}

/** Does on a day what is due on it or soon. */
function visit(bench: Bench, day: Day, wear: WearFacts | undefined): void {
  const { invented, service, cell, test } = bench
  const soon = days(day, 100)
  if (service && addMonths(service, serviceMonths(invented, wear)) <= soon) completeService(bench, day)
  else if (cell && addMonths(cell, 24) <= soon) {
    cellChange(bench, day)
    if (hasClaim(invented)) waterTest(bench, day)
  } else if (test) waterTest(bench, day)
}

/**
 * The life of one watch at the centre from the day it was first seen: the work done on it, on whose word, and what its
 * owner said about wearing it. Works to what common practice gives, not to the service's own rules, which may differ.
 */
export function liveThrough(dice: Dice, invented: Invented, today: Day): ImportedWatch {
  const { watch, sort } = invented
  const bench: Bench = { dice, today, invented, events: [], service: null, cell: null, test: null }
  const isNewSince = watch.sold ?? watch.made
  if (isNewSince) bench.service = dayOfNumber(spanOf(isNewSince).first)
  const wear: Wear = dice.chance(0.72) ? [askedAbout(dice, invented, watch.firstSeen)] : []
  const habit = dice.weighed<Habit>([
    ['prompt', 80],
    ['late', 9],
    ['lost', 11],
  ])
  before(bench)
  let day = watch.firstSeen
  const isDue = bench.service !== null && addMonths(bench.service, serviceMonths(invented, wear[0])) <= day
  if (runsOnCells(invented) && dice.chance(isDue ? 0.25 : 0.8)) {
    cellChange(bench, day)
    if (hasClaim(invented)) waterTest(bench, day)
  } else if (dice.chance(0.8)) completeService(bench, day)
  else if (hasClaim(invented)) waterTest(bench, day)

  for (let visits = 0; visits < 30; visits++) {
    if (habit === 'lost' && visits > 0 && dice.chance(0.4)) break
    const next = nextVisit(bench, wear.at(-1), habit)
    if (next === null || next > today) break
    day = next > day ? next : days(day, 1)
    if (dice.chance(0.12)) wear.push(askedAbout(dice, invented, day))
    if (dice.chance(0.03)) trouble(bench, day)
    else visit(bench, day, wear.at(-1))
  }
  const notes: ImportedWatch['notes'] =
    bench.service && bench.service >= watch.firstSeen && dice.chance(sort.made[1] < 1995 ? 0.15 : 0.02)
      ? [
          {
            obligation: 'complete-service',
            months: dice.pick([24, 36]),
            on: bench.service,
            reason: 'worn pivots in the going train',
          },
        ]
      : []
  return {
    ...watch,
    events: bench.events,
    ...(wear.length > 0 && { wear }),
    ...(notes.length > 0 && { notes }),
    ...hazardsOf(dice, invented),
  }
}

/** A complaint, and the complete service that answered it. */
function trouble(bench: Bench, day: Day): void {
  const { dice, events, invented } = bench
  const quartz = invented.sort.kind === 'quartz'
  const sign = quartz
    ? dice.pick(['high-consumption', 'high-working-voltage', 'water-inside'] as const)
    : dice.pick(['runs-down-early', 'low-amplitude', 'loses-time', 'heavy-blow'] as const)
  events.push({ event: 'sign', sign, ...own(day) })
  completeService(bench, days(day, 3) <= bench.today ? days(day, 3) : day)
}

/** What old watches carry: lume that was radium before about 1963 to 1970 until it is measured, tritium after; acrylic that limits pressure. */
function hazardsOf(dice: Dice, { sort, watch }: Invented): Pick<ImportedWatch, 'hazards'> {
  const seenOn = watch.firstSeen
  if (sort.name === 'old-hand-wound' || sort.name === 'electric') {
    const measured = dice.chance(0.4)
    return {
      hazards: [
        measured
          ? { kind: 'radium', note: 'measured at the dial', confirmedBy: 'the vintage bench', seenOn }
          : { kind: 'maybe-radium', note: 'old lume, not measured', seenOn },
        { kind: 'acrylic-crystal', seenOn },
        ...(sort.name === 'electric' ? [{ kind: 'mercury-cell', note: 'made for a 1.35 V mercury cell', seenOn }] : []),
      ],
    }
  }
  if (sort.name === 'old-diver') return { hazards: [{ kind: 'tritium', note: 'marked on the dial, lume dim', seenOn }] }
  return {}
}
