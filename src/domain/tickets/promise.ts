import { addDays, type Day, daysBetween } from '../day.ts'
import type { HouseTable } from '../house-tables.ts'
import { numbers } from '../house-tables.ts'
import { type Skill, skillOf } from './benches.ts'
import { observationOf, type ReadingsByClass, type WorkClassName, workClassNames } from './classes.ts'
import type { TicketRules } from './rules.ts'
import type { SideState, Step } from './steps.ts'
import { addWorkingDays, nextWorkingDay, type WorkCalendar, workingDaysBetween } from './working-days.ts'

/**
 * When a watch will be ready: the later of a free bench, its parts and the yes, then work, waits, closing and check, then a
 * reserve, all in working days of the centre. Common practice of the trade, no source. What is not known makes no date.
 */
export type SettlingHours = Readonly<Record<WorkClassName, number>>

const firstSettling: SettlingHours = {
  cell: 0,
  strap: 0,
  seals: 0,
  case: 0,
  quartz: 0,
  'quartz-chronograph': 0,
  thermocompensated: 0,
  'three-hand': 24,
  chronograph: 24,
  vintage: 24,
}

export const settlingHoursTable: HouseTable<SettlingHours> = {
  default: firstSettling,
  shape: '{ class: hours from 0 to 336 }; a class left out keeps its first hours',
  words:
    'Hours a watch lies after the bench before its observation begins (settling, setting of glue), by class of work; they run through nights and closed days',
  source: 'common practice of the trade (24 hours after a mechanical service), no source',
  read: numbers(
    firstSettling,
    Object.fromEntries(workClassNames.map((name) => [name, { min: 0, max: 336, unit: 'hours', whole: true }])),
  ),
}

/** A wait away from the bench. */
export type Wait = {
  readonly what: string
  readonly hours: number
  /** a reading is void after so many hours, the watch is wound again; null: it loses nothing by lying longer */
  readonly withinHours: number | null
}

/** A wait that no start would end in time (a centre that works one day a week) is looked for this far, then taken as it is. */
const STARTS_TRIED = 60

/**
 * The day on which a wait can be read: its hours run through nights and closed days, but it is read on a working day. One
 * that would be void by then begins on the next working day from which it is not, so 24 hours from a Friday end on
 * Tuesday, 60 on Monday. A day counts whole: what is read later on it than it began is not asked.
 */
export function endOfWait(from: Day, wait: Wait, calendar: WorkCalendar): { readonly begun: Day; readonly on: Day } {
  const days = Math.ceil(wait.hours / 24)
  const most = wait.withinHours === null ? Number.POSITIVE_INFINITY : Math.max(wait.withinHours, days * 24)
  const first = nextWorkingDay(from, calendar)
  const endFrom = (begun: Day) => nextWorkingDay(addDays(begun, days), calendar)
  for (let begun = first, tried = 0; tried < STARTS_TRIED; tried++, begun = addWorkingDays(begun, 1, calendar))
    if (daysBetween(begun, endFrom(begun)) * 24 <= most) return { begun, on: endFrom(begun) }
  return { begun: first, on: endFrom(first) }
}

/** The nearest-rank percentile: the smallest value that so many of a hundred do not exceed; null of none. */
export function nearestRank(values: readonly number[], percent: number): number | null {
  const sorted = [...values].sort((a, b) => a - b)
  return sorted[Math.max(1, Math.ceil((sorted.length * percent) / 100)) - 1] ?? null
}

export type Part = {
  readonly what: string
  readonly line: string | null
  readonly onHand: boolean
  readonly orderedOn: Day | null
  /** what the supplier said */
  readonly expectedOn: Day | null
  readonly supplier: string | null
}

export type Line = {
  readonly id: string
  readonly what: string
  readonly part: boolean
  /** of all its pieces; null where the line names no code of the price list */
  readonly minutes: number | null
  readonly answer: 'yes' | 'no' | null
  /** done, or struck out */
  readonly settled: boolean
}

/** What is on file of one ticket, as far as its date hangs on it. */
export type Job = {
  readonly step: Step
  readonly side: SideState | null
  readonly workClass: WorkClassName | null
  /** lines of the newest version; null where there is none */
  readonly lines: readonly Line[] | null
  readonly yesOn: Day | null
  readonly parts: readonly Part[]
  /** the day on which it came under observation, while it is */
  readonly observedFrom: Day | null
  readonly reserveHours: number | null
}

/** The house on one day. */
export type HouseDay = {
  readonly today: Day
  readonly calendar: WorkCalendar
  readonly rules: TicketRules
  readonly settling: SettlingHours
  readonly readings: ReadingsByClass
  readonly observationHours: Readonly<Record<string, number>> | null
  readonly benches: readonly { readonly skills: readonly string[] }[]
  /** working days from order to arrival of past orders, by supplier in lower case */
  readonly arrivals: ReadonlyMap<string, readonly number[]>
}

type BySkill = Readonly<Partial<Record<Skill, number>>>

/** Work ahead in the queue by skill: its minutes, and how many of its lines have none on file. */
export type Ahead = { readonly minutes: BySkill; readonly withoutMinutes: BySkill }

export type Term = {
  readonly term: 'yes' | 'queue' | 'parts' | 'bench' | 'settling' | 'observation' | 'finish' | 'buffer'
  /** working days it takes; of what has to be there first, the working days until then */
  readonly workingDays: number
  /** the day on which it ends */
  readonly on: Day
  readonly because: string
}

export type Reckoned = {
  /** null where something is not known; the day it would be comes never from a guess */
  readonly readyOn: Day | null
  /** where nothing but the yes is wanting: the day, had it come today */
  readonly ifYesToday: Day | null
  readonly terms: readonly Term[]
  readonly unknown: readonly string[]
}

/** Productive minutes of one bench on a working day. */
export const benchMinutes = (rules: Pick<TicketRules, 'benchMinutesADay' | 'productiveSharePercent'>): number =>
  Math.floor((rules.benchMinutesADay * rules.productiveSharePercent) / 100)

/** Work that is still to be done on a ticket: lines nobody said no to, neither done nor struck out. */
export const openLines = (job: Pick<Job, 'lines'>): readonly Line[] =>
  (job.lines ?? []).filter((line) => line.answer !== 'no' && !line.settled)

/**
 * Minutes ahead on the benches of a skill: those of each skill lie evenly on the benches that have it, so what these
 * benches do besides is ahead, too. `benches` 0 where nobody may do it.
 */
export function queueOf(
  { minutes, withoutMinutes }: Ahead,
  skill: Skill,
  benches: HouseDay['benches'],
): { readonly minutes: number; readonly withoutMinutes: number; readonly benches: number } {
  const having = benches.filter((bench) => bench.skills.includes(skill))
  const sum = { minutes: 0, withoutMinutes: 0, benches: having.length }
  for (const other of Object.keys(minutes) as Skill[]) {
    const all = benches.filter((bench) => bench.skills.includes(other)).length
    const here = having.filter((bench) => bench.skills.includes(other)).length
    if (here === 0) continue
    sum.minutes += ((minutes[other] ?? 0) * here) / all
    sum.withoutMinutes += withoutMinutes[other] ?? 0
  }
  return sum
}

/** A ticket with its place in the queue. */
export type Queued = Pick<Job, 'step' | 'side' | 'workClass' | 'lines'> & {
  readonly id: string
  readonly promisedOn: Day | null
  readonly bookedOn: Day
}

const place = (ticket: Queued): string =>
  `${ticket.step === 'on-the-bench' ? 0 : 1} ${ticket.promisedOn ?? '9999-12-31'} ${ticket.bookedOn} ${ticket.id}`

/**
 * What stands before each ticket, by its id: the work on the benches, then of what is ready for them that which was promised
 * earlier; of one day, or where nothing is promised, what was booked in earlier.
 */
export function aheadOfEach(tickets: readonly Queued[]): ReadonlyMap<string, Ahead> {
  const found = new Map<string, Ahead>()
  const minutes: Partial<Record<Skill, number>> = {}
  const withoutMinutes: Partial<Record<Skill, number>> = {}
  const placed = tickets.map((ticket) => [place(ticket), ticket] as const).sort(([a], [b]) => (a < b ? -1 : 1))
  for (const [, ticket] of placed) {
    found.set(ticket.id, { minutes: { ...minutes }, withoutMinutes: { ...withoutMinutes } })
    const { step, side, workClass } = ticket
    if (side !== null || workClass === null || (step !== 'on-the-bench' && step !== 'ready-for-bench')) continue
    const skill = skillOf[workClass]
    for (const line of openLines(ticket)) {
      if (line.part) continue
      minutes[skill] = (minutes[skill] ?? 0) + (line.minutes ?? 0)
      if (line.minutes === null) withoutMinutes[skill] = (withoutMinutes[skill] ?? 0) + 1
    }
  }
  return found
}

/** Steps that a ticket comes to by a yes alone. */
const agreed: ReadonlySet<Step> = new Set([
  'awaiting-parts',
  'ready-for-bench',
  'on-the-bench',
  'closed',
  'under-observation',
  'final-check',
])
const isAt = (step: Step, ...steps: Step[]): boolean => steps.includes(step)

const sameWords = (a: string, b: string): boolean => a.trim().toLowerCase() === b.trim().toLowerCase()

/** The day by which one awaited part is there, and by whose word; or what is not known of it. */
export function partDay(part: Part, house: HouseDay): { on: Day; because: string } | { unknown: string } {
  const { today, calendar, rules } = house
  const known = part.supplier === null ? [] : (house.arrivals.get(part.supplier.toLowerCase()) ?? [])
  const days =
    known.length >= rules.partsOrdersNeeded && part.orderedOn !== null
      ? nearestRank(known, rules.partsArrivedPercent)
      : null
  const usual = days === null ? null : addWorkingDays(part.orderedOn!, days, calendar)
  const said = part.expectedOn
  if (usual !== null && (said === null || said <= usual) && usual >= today)
    return {
      on: usual,
      because: `${part.what}: of ${known.length} past orders at ${part.supplier} ${rules.partsArrivedPercent} % had come within ${days} working days; ordered ${part.orderedOn}`,
    }
  if (said !== null && said >= today) {
    const few = `${known.length} past orders are known, ${rules.partsOrdersNeeded} are asked`
    const why =
      usual !== null
        ? 'past orders came earlier'
        : part.supplier === null
          ? 'no supplier was named'
          : part.orderedOn === null
            ? 'the day of the order was not said'
            : few
    return { on: said, because: `${part.what}: the supplier's word (${why})` }
  }
  const gone = said !== null && (usual === null || said > usual) ? said : usual
  return {
    unknown: gone === null ? `when ${part.what} will come` : `when ${part.what} will come: it was awaited by ${gone}`,
  }
}

/** What the work itself takes, or what is not known of it. */
function workOf(job: Job, house: HouseDay, unknown: string[]): { minutes: number; waits: Wait[]; skill: Skill | null } {
  const { workClass, step } = job
  if (workClass === null) {
    unknown.push('the class of work: it is named at the look')
    return { minutes: 0, waits: [], skill: null }
  }
  if (job.lines === null) unknown.push('what is to be done: there is no estimate')
  const atBench = !isAt(step, 'closed', 'under-observation', 'final-check')
  const work = atBench ? openLines(job).filter((line) => !line.part) : []
  for (const line of work)
    if (line.minutes === null) unknown.push(`how long "${line.what}" takes: it names no code of the price list`)
  const minutes = work.reduce((sum, line) => sum + (line.minutes ?? 0), 0)
  const waits: Wait[] = []
  const settling = house.settling[workClass]
  if (settling > 0 && !isAt(step, 'under-observation', 'final-check'))
    waits.push({ what: 'settling', hours: settling, withinHours: null })
  const asked = step === 'final-check' ? null : observationOf(workClass, house.readings, house.observationHours)
  if (asked !== null) {
    if (asked.hours === null)
      unknown.push(`how long the observation takes: the local setting observationHours has none for ${workClass}`)
    const reserve = asked.kind === 'mechanical' ? (job.reserveHours ?? house.rules.assumedReserveHours) : null
    waits.push({ what: 'observation', hours: asked.hours ?? 0, withinHours: reserve })
  }
  return { minutes, waits, skill: skillOf[workClass] }
}

/** Working days of work and waits still needed, in parts of a day; null where something of it is not known. */
export function daysNeeded(job: Job, house: HouseDay): number | null {
  const unknown: string[] = []
  const { minutes, waits } = workOf(job, house, unknown)
  if (unknown.length > 0) return null
  const waited = waits.reduce((sum, wait) => sum + wait.hours / 24, 0)
  return minutes / benchMinutes(house.rules) + waited + house.rules.finishWorkingDays
}

/** Parts of the agreed lines that are awaited, and of which nobody said anything. */
function partsOf(job: Job, house: HouseDay, unknown: string[]): { on: Day; because: string } | null {
  let latest: { on: Day; because: string } | null = null
  for (const part of job.parts) {
    if (part.onHand) continue
    const found = partDay(part, house)
    if ('unknown' in found) unknown.push(found.unknown)
    else if (latest === null || found.on > latest.on) latest = found
  }
  for (const line of openLines(job))
    if (line.part && !job.parts.some((part) => part.line === line.id || sameWords(part.what, line.what)))
      unknown.push(`whether ${line.what} is on hand: nobody has said`)
  return latest
}

/**
 * The day on which a ticket will be ready, reckoned anew from what is on file today, with each term. The reserve is a share
 * of the working days of the house, queue and work, not of the wait for parts: that has its own in the orders it is taken
 * from. `ahead` is what stands before it in the queue; it is not looked at once the watch is on the bench.
 */
export function reckonReady(job: Job, ahead: Ahead, house: HouseDay): Reckoned {
  const { today, calendar, rules } = house
  const { step, workClass } = job
  const nothing = (why: string): Reckoned => ({ readyOn: null, ifYesToday: null, terms: [], unknown: [why] })
  if (isAt(step, 'ready', 'handed-over')) return { readyOn: null, ifYesToday: null, terms: [], unknown: [] }
  if (job.side !== null) return nothing(`when it goes on: it stands aside as "${job.side}"`)
  if (step === 'return-undone') return nothing('when it goes back: it is returned undone, and nothing is worked on it')

  const unknown: string[] = []
  const { minutes, waits, skill } = workOf(job, house, unknown)
  const waiting = !isAt(step, 'on-the-bench', 'closed', 'under-observation', 'final-check')
  const parts = waiting && step !== 'ready-for-bench' ? partsOf(job, house, unknown) : null
  const queue = waiting && skill !== null ? queueOf(ahead, skill, house.benches) : null
  if (queue !== null && queue.benches === 0) unknown.push(`who will do it: no bench has the skill ${skill}`)
  if (unknown.length > 0) return { readyOn: null, ifYesToday: null, terms: [], unknown }

  const terms: Term[] = []
  const until = (on: Day) => workingDaysBetween(today, on, calendar)
  const aDay = benchMinutes(rules)
  if (waiting && agreed.has(step))
    terms.push({ term: 'yes', workingDays: 0, on: job.yesOn ?? today, because: 'the owner has agreed' })
  let free = today
  if (queue !== null) {
    const days = Math.ceil(queue.minutes / (queue.benches * aDay))
    free = addWorkingDays(today, days, calendar)
    const left = queue.withoutMinutes
    terms.push({
      term: 'queue',
      workingDays: days,
      on: free,
      because: `${Math.round(queue.minutes)} minutes are ahead on ${queue.benches} ${queue.benches === 1 ? 'bench' : 'benches'} for ${skill} of ${aDay} minutes a day${left > 0 ? `; not in it are lines ahead without minutes on file: ${left}` : ''}`,
    })
  }
  if (parts !== null) terms.push({ term: 'parts', workingDays: until(parts.on), ...parts })

  const chain = (start: Day): Term[] => {
    const made: Term[] = []
    let at = start
    const add = (term: Term['term'], on: Day, because: string) => {
      made.push({ term, workingDays: workingDaysBetween(at, on, calendar), on, because })
      at = on
    }
    if (!isAt(step, 'closed', 'under-observation', 'final-check')) {
      const days = Math.ceil(minutes / aDay)
      add('bench', addWorkingDays(at, days, calendar), `${minutes} minutes of work, ${aDay} a day at one bench`)
    }
    for (const wait of waits) {
      const from = step === 'under-observation' ? (job.observedFrom ?? at) : at
      const { begun, on } = endOfWait(from, wait, calendar)
      const again =
        begun > nextWorkingDay(from, calendar)
          ? `, begun on ${begun}: begun earlier it could not be read within ${wait.withinHours} hours`
          : ''
      add(wait.what as Term['term'], on > at ? on : nextWorkingDay(at, calendar), `${wait.hours} hours${again}`)
    }
    add(
      'finish',
      addWorkingDays(at, rules.finishWorkingDays, calendar),
      isAt(step, 'final-check') ? 'final check' : 'closing, test and final check',
    )
    return made
  }
  const start = parts !== null && parts.on > free ? parts.on : free
  const work = chain(start)
  const done = work.at(-1)!.on
  const percent = workClass === 'vintage' ? rules.bufferVintagePercent : rules.bufferPercent
  const ownDays = until(chain(free).at(-1)!.on)
  const buffer = Math.max(rules.bufferLeastWorkingDays, Math.ceil((ownDays * percent) / 100))
  const readyOn = addWorkingDays(done, buffer, calendar)
  terms.push(...work, {
    term: 'buffer',
    workingDays: buffer,
    on: readyOn,
    because: `${percent} % of ${ownDays} working days of the house, at least ${rules.bufferLeastWorkingDays}`,
  })
  return agreed.has(step)
    ? { readyOn, ifYesToday: null, terms, unknown: [] }
    : { readyOn: null, ifYesToday: readyOn, terms, unknown: ['when it goes on: it has not passed the gate of the yes'] }
}

/** "When is it ready?" in one honest sentence. */
export function inOneSentence(step: Step, reckoned: Reckoned, promisedOn: Day | null): string {
  const { readyOn, ifYesToday, unknown } = reckoned
  if (step === 'handed-over') return 'It was handed over.'
  if (step === 'ready') return 'It is ready.'
  const promised = promisedOn === null ? '' : ` It was promised for ${promisedOn}.`
  if (ifYesToday !== null)
    return `No day can be said before it has passed the yes; passed today, it would be ready on ${ifYesToday}.${promised}`
  if (readyOn === null) return `No day can be said yet; not known is: ${unknown.join('; ')}.${promised}`
  if (promisedOn === null) return `By what is on file today it will be ready on ${readyOn}; no day is promised yet.`
  return readyOn <= promisedOn
    ? `It is promised for ${promisedOn}, and by what is on file today that will be kept (ready on ${readyOn}).`
    : `It was promised for ${promisedOn}, but by what is on file today it will be ready on ${readyOn}.`
}

/** How a promise stands today: its day has passed, it will be passed, nobody can say, or it is kept. */
export type Standing = 'broken' | 'late' | 'not-known' | 'kept'

export const promiseStanding = (promisedOn: Day, { readyOn }: Reckoned, today: Day): Standing =>
  promisedOn < today ? 'broken' : readyOn === null ? 'not-known' : readyOn > promisedOn ? 'late' : 'kept'

/** Whom to tell first: owners who do not know yet, whose promise breaks or passes soonest; then what nobody can say. */
export const tellingOrder = (row: { standing: Standing; toldOn: Day | null; promisedOn: Day; id: string }): string => {
  const breaks = row.standing === 'broken' || row.standing === 'late'
  const urgency =
    breaks && row.toldOn === null ? 0 : row.standing === 'not-known' && row.toldOn === null ? 1 : breaks ? 2 : 3
  return `${urgency} ${row.promisedOn} ${row.id}`
}
