import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { readLocalSettings } from '../../domain/local-settings.ts'
import { Refusal } from '../../domain/refusals.ts'
import {
  aheadOfEach,
  type HouseDay,
  inOneSentence,
  type Job,
  type Line,
  type Part,
  type Queued,
  type Reckoned,
  reckonReady,
} from '../../domain/tickets/promise.ts'
import { readTicketRules } from '../../domain/tickets/rules.ts'
import { readTicketTables } from '../../domain/tickets/tables.ts'
import { workingDaysBetween } from '../../domain/tickets/working-days.ts'
import { Prisma } from '../../generated/prisma/client.ts'
import { storedOn } from '../house-rules/house-rules.ts'
import { type Price, priceFor, pricesOn } from '../prices/prices.ts'
import { calendarOf } from './desk.ts'

/** One ticket as far as its date hangs on it: a job, its place in the queue, and what was said of it to the owner. */
export type JobRow = Job &
  Queued & {
    readonly number: string
    /** the last day since the promise on which the owner was told that it is late */
    readonly toldOn: Day | null
  }

type Selected = { whole?: Prisma.Sql; others?: Prisma.Sql }
type LineRow = Omit<Line, 'minutes'> & { code: string | null; quantity: number }
type PartRow = Partial<Part> & Pick<Part, 'what' | 'onHand'>
type Row = Omit<JobRow, 'lines' | 'parts'> & { lines: LineRow[] | null; parts: PartRow[] | null }

/** Open work at or before the benches, by which a queue is made. */
export const atTheBenches = Prisma.sql`select id from ticket where ended is null and side is null and step in ('ready-for-bench', 'on-the-bench')`

const none = Prisma.sql`select null::uuid`

/**
 * Reads tickets in one statement, each selected by its id: `whole` with all their date hangs on, the `others` only with
 * their work and their place in the queue, since there may be many.
 */
export async function readJobs(db: Db, today: Day, { whole = none, others = none }: Selected): Promise<JobRow[]> {
  const ofWhole = (value: Prisma.Sql) => Prisma.sql`case when t.id in (select id from whole) then (${value}) end`
  const rows = await db.$queryRaw<Row[]>`
    with whole (id) as materialized (${whole})
    select t.id, t.number, t.step, t.side, t.work_class as "workClass", t.promised_on::text as "promisedOn", t.booked_on::text as "bookedOn",
      (select jsonb_agg(jsonb_build_object('id', l.id, 'what', l.what, 'part', l.part, 'code', l.code, 'quantity', l.quantity,
          'answer', (select a.answer from estimate_answer a where a.ticket_id = t.id and a.line_id = l.id order by a.seq desc limit 1),
          'settled', exists (select from ticket_record r where r.ticket_id = t.id and r.kind = 'operation' and r.line_id = l.id
            and not exists (select from ticket_record s where s.strikes = r.id))) order by l.place)
       from estimate_line l where l.estimate_id = (select e.id from estimate e where e.ticket_id = t.id order by e.n desc limit 1)) as lines,
      ${ofWhole(Prisma.sql`select max(a.on_day)::text from estimate_answer a where a.ticket_id = t.id and a.answer = 'yes'`)} as "yesOn",
      ${ofWhole(Prisma.sql`select r.data -> 'lines' from ticket_record r where r.ticket_id = t.id and r.kind = 'parts'
        and not exists (select from ticket_record s where s.strikes = r.id) order by r.seq desc limit 1`)} as parts,
      ${ofWhole(Prisma.sql`select r.on_day::text from ticket_record r where t.step = 'under-observation' and r.ticket_id = t.id and r.seq = t.stepped_seq`)} as "observedFrom",
      ${ofWhole(Prisma.sql`select c.power_reserve_hours from movement m join calibre c on c.id = m.calibre_id where m.watch_id = t.watch_id
        and not exists (select from strike s where s.fact_id = m.id) order by m.from_day desc, m.id desc limit 1`)} as "reserveHours",
      ${ofWhole(Prisma.sql`select max(r.on_day)::text from ticket_record r where t.promised_on is not null and r.ticket_id = t.id and r.kind = 'contact'
        and r.data ->> 'about' = 'delay' and r.data ->> 'result' in ('sent', 'delivered') and not exists (select from ticket_record s where s.strikes = r.id)
        and r.seq > (select max(p.seq) from ticket_record p where p.ticket_id = t.id and p.kind = 'promise'
          and not exists (select from ticket_record s where s.strikes = p.id))`)} as "toldOn"
    from ticket t where t.id in (select id from whole union ${others})`
  const prices = rows.length === 0 ? [] : await pricesOn(db, today)
  return rows.map((row) => ({ ...row, lines: linesOf(row, prices), parts: (row.parts ?? []).map(partOf) }))
}

const linesOf = ({ lines, workClass }: Row, prices: readonly Price[]): Line[] | null =>
  lines?.map(({ code, quantity, ...line }) => {
    const price = code === null ? null : priceFor(prices, code, workClass)
    return { ...line, minutes: price === null ? null : price.minutes * quantity }
  }) ?? null

const partOf = ({ what, onHand, line, orderedOn, expectedOn, supplier }: PartRow): Part => ({
  what,
  onHand,
  line: line ?? null,
  orderedOn: orderedOn ?? null,
  expectedOn: expectedOn ?? null,
  supplier: supplier ?? null,
})

/** Past orders that a supplier is judged by: the newest. */
const NEWEST_ORDERS = 100

/** The house on a day: rules, hours, benches, and how long past orders took at the suppliers these jobs wait for. */
export async function houseDay(db: Db, today: Day, jobs: readonly Pick<Job, 'parts'>[]): Promise<HouseDay> {
  const stored = await storedOn(db, today)
  const settings = readLocalSettings(stored)
  const tables = readTicketTables(stored)
  const calendar = calendarOf(settings)
  const awaited = jobs.flatMap(({ parts }) => parts).filter((part) => !part.onHand && part.supplier !== null)
  const suppliers = [...new Set(awaited.map((part) => part.supplier!.toLowerCase()))]
  const orders =
    suppliers.length === 0
      ? []
      : await db.$queryRaw<{ supplier: string; orderedOn: Day; endedOn: Day }[]>`
          select supplier, ordered_on::text as "orderedOn", ended_on::text as "endedOn" from (
            select lower(supplier) as supplier, ordered_on, ended_on, row_number() over (partition by lower(supplier) order by ended_on desc, id desc) as n
            from stock_order where state = 'received' and lower(supplier) = any(${suppliers}::text[])) o where n <= ${NEWEST_ORDERS}`
  const arrivals = new Map<string, number[]>()
  for (const { supplier, orderedOn, endedOn } of orders)
    arrivals.set(supplier, [...(arrivals.get(supplier) ?? []), workingDaysBetween(orderedOn, endedOn, calendar)])
  return {
    today,
    calendar,
    rules: readTicketRules(stored),
    settling: tables.settlingHours,
    readings: tables.readingsByClassOfWork,
    observationHours: settings.observationHours,
    benches: await db.bench.findMany({ select: { skills: true } }),
    arrivals,
  }
}

/** Tickets with their date as it is reckoned today, and the house it was reckoned for; `mine` says which of those read. */
export async function reckonJobs(db: Db, today: Day, whole: Prisma.Sql, mine: (job: JobRow) => boolean) {
  const jobs = await readJobs(db, today, { whole, others: atTheBenches })
  const house = await houseDay(db, today, jobs)
  const ahead = aheadOfEach(jobs)
  return {
    house,
    jobs: jobs.filter(mine).map((job) => ({ job, reckoned: reckonReady(job, ahead.get(job.id)!, house) })),
  }
}

/** Working days by which the reckoned date lies after the promise, 0 where it does not; null where either is not known. */
export const daysLate = (job: Pick<JobRow, 'promisedOn'>, { readyOn }: Reckoned, { calendar }: HouseDay) =>
  job.promisedOn === null || readyOn === null ? null : workingDaysBetween(job.promisedOn, readyOn, calendar)

/** "When is it ready?": the date reckoned today beside the promised one, with each term. */
export async function promiseOf(db: Db, today: Day, id: string) {
  const { house, jobs } = await reckonJobs(db, today, Prisma.sql`select ${id}::uuid`, (job) => job.id === id)
  const found = jobs[0]
  if (!found) throw new Refusal('not-found', { what: 'ticket', id })
  const { job, reckoned } = found
  return {
    number: job.number,
    step: job.step,
    promisedOn: job.promisedOn,
    toldOn: job.toldOn,
    readyOn: reckoned.readyOn,
    daysLate: daysLate(job, reckoned, house),
    ifYesToday: reckoned.ifYesToday,
    terms: [...reckoned.terms],
    unknown: [...reckoned.unknown],
    words: inOneSentence(job.step, reckoned, job.promisedOn),
  }
}

/** What speaks against promising a day, in words; nothing where the reckoned date is no later. */
export async function warningsAgainst(db: Db, today: Day, id: string, on: Day): Promise<string[]> {
  const { step, readyOn, ifYesToday, unknown } = await promiseOf(db, today, id)
  if (step === 'ready') return []
  const reckoned = readyOn ?? ifYesToday
  if (reckoned === null) return [`No date can be reckoned beside it; not known is: ${unknown.join('; ')}.`]
  if (on >= reckoned) return []
  const yes = readyOn === null ? ', and that only with a yes today' : ''
  return [`By what is on file today it will be ready on ${reckoned}${yes}: later than ${on}.`]
}
