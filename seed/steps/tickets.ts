import sharp from 'sharp'
import type { Day } from '../../src/domain/day.ts'
import type { ToolKind } from '../../src/domain/readings/tools.ts'
import { moveWatch } from '../../src/features/custody/custody.ts'
import { addEstimate, answerEstimate } from '../../src/features/estimates/estimates.ts'
import type { NewLine } from '../../src/features/estimates/lines.ts'
import { addStaffKey } from '../../src/features/staff-keys/staff-keys.ts'
import { bookIn } from '../../src/features/tickets/booking.ts'
import type { Desk } from '../../src/features/tickets/desk.ts'
import { moveTicket } from '../../src/features/tickets/moves.ts'
import { addPictures, keepPicture, readPicture } from '../../src/features/tickets/pictures.ts'
import { said, say } from '../../src/features/tickets/records.ts'
import { recordUnclaimed } from '../../src/features/tickets/side-states.ts'
import { addBench, addCertificate, addSkill, addTool } from '../../src/features/tools/tools.ts'
import { recordOperation } from '../../src/features/work/operations.ts'
import { recordQuartz, recordWaterTest } from '../../src/features/work/readings.ts'
import { closeCase, openCase, recordCellFitting, replaceSeals } from '../../src/features/work/work.ts'
import { act, instantOf, type Signer } from '../../src/http/service.ts'
import { cameBackOn, type Until, type Visit, visits } from '../invented/visits.ts'
import { type Demo, doing, type Step } from './step.ts'

type Staff = { counter: Signer; bench: Signer; checker: Signer; manager: Signer }
type House = { staff: Staff; bench: string; pressure: string; quartz: string }

/** One signer at a desk on a day; what is done within it is one transaction. Days before the demo's have their own hour. */
function at<T>(demo: Demo, who: Signer, when: Day | null, hour: string, work: (desk: Desk) => Promise<T>): Promise<T> {
  const { service } = demo
  const { currency, timeZone } = service.config.centre
  const now = when === null ? service.clock.now() : instantOf(when, hour, timeZone)
  return act({ ...service, clock: { now: () => now } }, who, (doing) => work({ ...doing, currency }))
}

const bodyOf = <T>(made: { body?: unknown }): T => made.body as T

/** The people of the house with keys of their own, its testers with their certificates, and a bench. */
async function openHouse(demo: Demo, since: Day): Promise<House> {
  const signer = async (name: string, role: 'counter' | 'bench' | 'manager'): Promise<Signer> => {
    const { id } = bodyOf<{ id: string }>(await doing(demo, (act) => addStaffKey(act, { name, role }), since))
    return { keyId: id, name, role }
  }
  const staff = {
    counter: await signer('Ines, counter', 'counter'),
    bench: await signer('Bert, bench 2', 'bench'),
    checker: await signer('Carla, final check', 'bench'),
    manager: await signer('Mona, manager', 'manager'),
  }
  return doing(
    demo,
    async (act) => {
      await addSkill(act, { staffKeyId: staff.checker.keyId ?? '', skill: 'final-check', level: 'may-check' })
      const bench = bodyOf<{ id: string }>(
        await addBench(act, { name: 'Bench 2', skills: ['cells-and-seals', 'quartz'] }),
      )
      const tester = async (kind: ToolKind, serial: string, name: string) => {
        const { id } = bodyOf<{ id: string }>(await addTool(act, { kind, serial, name }))
        const certificate = { on: since, asFound: 'in-tolerance', asLeft: 'in-tolerance', byWhom: 'the laboratory' }
        await addCertificate(act, id, certificate)
        return id
      }
      return {
        staff,
        bench: bench.id,
        pressure: await tester('pressure-tester', 'PT 1', 'Pressure tester at bench 2'),
        quartz: await tester('quartz-tester', 'QT 1', 'Quartz tester at bench 2'),
      }
    },
    since,
  )
}

const views = ['dial', 'back', 'crown-side', 'opposite-side'] as const

/** A plain picture of its own colour for each view: the files of two watches are never the same. */
async function pictures(desk: Desk, folder: string, nth: number, blue = 160) {
  const made: { id: string; view: string }[] = []
  for (const [at, view] of views.entries()) {
    const background = { r: 40 + nth * 12, g: 90 + at * 30, b: blue }
    const content = await sharp({ create: { width: 48, height: 48, channels: 3, background } })
      .png({ compressionLevel: 1 })
      .toBuffer()
    made.push({ id: bodyOf<{ id: string }>(await keepPicture(desk, folder, await readPicture(content))).id, view })
  }
  return made
}

const standard = { taxClass: 'standard', choice: 'must' as const, quantity: 1 }
const cellLines: NewLine[] = [
  { ...standard, code: 'cell', what: 'cell change', unitPrice: 2200, opensCase: true, guarantee: 'cell' },
  { ...standard, what: 'case-back gasket', part: true, unitPrice: 450, guarantee: 'seals' },
  { ...standard, code: 'pressure-test', what: 'pressure test', unitPrice: 1200, requiredBy: 0, pressureTest: true },
]

type Going = { number: string; id: string; watchId: string; lines: { id: string }[] }
type Told = { demo: Demo; house: House }

const tell = (desk: Desk, ref: string, path: string, body: Record<string, unknown>) => {
  const entry = said.find((one) => one.path === path)
  if (!entry) throw new Error(`nothing is said at ${path}`)
  return say(desk, entry, ref, body)
}

/** Whose owners agreed an amount in advance: nobody has to be asked. */
const agreedBefore: ReadonlySet<Until> = new Set(['handed over with its guarantee', 'not fetched'])

function bookVisit({ demo, house }: Told, visit: Visit, nth: number): Promise<Going> {
  const { config } = demo.service
  const today = visit.days.booked === demo.today
  return at(demo, house.staff.counter, today ? null : visit.days.booked, '09:20', async (desk) => {
    const { dial, ...watch } = visit.watch
    const made = await bookIn(
      desk,
      {
        owner: {
          new: {
            name: visit.owner.name,
            language: visit.owner.language,
            contacts: [{ means: visit.owner.contact.means, value: visit.owner.contact.value }],
          },
          confirmedNew: true,
        },
        watch: {
          new: {
            ...watch,
            kind: 'quartz',
            crystal: 'sapphire',
            caseMaterial: 'steel',
            diameterMm: 37,
            waterClaim: { marked: 'rated', bar: 5 },
          },
          confirmedNew: true,
        },
        complaint: visit.complaint,
        place: 'counter',
        dial,
        pictures: await pictures(desk, config.dataFolder, nth),
        condition: {
          marks: [{ place: 'bezel at 4', kind: 'scratch', lengthMm: 2 + (nth % 3) }],
          clasp: 'not-there',
          agreed: 'owner',
        },
        declaredValue: { amount: 30_000 + nth * 7500, currency: desk.currency },
        ...(nth === 3 && { doNot: ['no-polish'] }),
        ...(agreedBefore.has(visit.until) && { ceiling: { amount: 6000, currency: desk.currency } }),
      },
      config.centre.country,
    )
    const ticket = bodyOf<Going>(made)
    if (visit.until === 'booked in') return { ...ticket, lines: [] }
    await moveTicket(desk, ticket.number, { to: 'awaiting-look' })
    const move = { from: 'counter', to: 'safe', holder: house.staff.counter.name, tagNumber: ticket.number }
    await moveWatch(desk, ticket.number, move)
    return { ...ticket, lines: [] }
  })
}

/** Looked over and priced by the bench. */
const price = ({ demo, house }: Told, ticket: Going, on: Day, workClass: string, lines: NewLine[]) =>
  at(demo, house.staff.bench, on, '10:40', async (desk) => {
    await moveTicket(desk, ticket.number, { to: 'looked-over' })
    await tell(desk, ticket.number, 'looks', { findings: 'cell spent, gasket set', workClass })
    const estimate = bodyOf<{ total: number; lines: { id: string }[] }>(
      await addEstimate(desk, ticket.number, { kind: 'fixed', lines }),
    )
    return estimate
  })

/** What was promised with the yes; one of them will not be kept. */
const promisedFor: Readonly<Partial<Record<Until, string>>> = {
  'at the bench': '2026-11-30',
  'opened again after its test': '2026-11-27',
  'under observation': '2026-11-26',
}

/** The owner is asked, says yes to every line, and is promised a day. */
const agree = (
  { demo, house }: Told,
  ticket: Going,
  visit: Visit,
  on: Day,
  estimate: { total: number; lines: { id: string }[] },
) =>
  at(demo, house.staff.counter, on, '11:30', async (desk) => {
    await moveTicket(desk, ticket.number, { to: 'awaiting-yes' })
    await answerEstimate(desk, ticket.number, 1, {
      person: visit.owner.name,
      how: 'phone',
      total: { amount: estimate.total, currency: desk.currency },
      lines: estimate.lines.map(({ id }) => ({ line: id, answer: 'yes' })),
    })
    const day = promisedFor[visit.until]
    if (day !== undefined) await tell(desk, ticket.number, 'promises', { on: day })
  })

const fromTheDrawer = { lotUnknownBecause: 'fitted before the drawers were counted' }
/** The kit of a cell change, with the parts among its lines. */
const kitOf = (house: House, parts: { id: string }[]) => ({
  designationRight: true,
  cell: 'full',
  gasketsInLife: true,
  toolsInDate: true,
  benchHasSkill: true,
  bench: house.bench,
  tools: [house.pressure, house.quartz],
  parts: [{ what: 'cell', ...fromTheDrawer }, ...parts.map(({ id }) => ({ line: id, ...fromTheDrawer }))],
})

/** Opened, cell and gasket fitted, and, where it is `whole`, closed, tested and every line done. */
const work = ({ demo, house }: Told, ticket: Going, visit: Visit, on: Day, lines: { id: string }[], whole: boolean) =>
  at(demo, house.staff.bench, on, '14:10', async (desk) => {
    const ref = ticket.number
    if (!agreedBefore.has(visit.until))
      await moveWatch(desk, ref, { from: 'safe', to: 'bench 2', holder: house.staff.bench.name, tagNumber: ref })
    await tell(desk, ref, 'kits', kitOf(house, lines.slice(1, 2)))
    await moveTicket(desk, ref, { to: 'on-the-bench' })
    await openCase(desk, ref, { reason: 'cell change' })
    if (!whole) await tell(desk, ref, 'seals-seen', { seals: [{ position: 'case back', condition: 'hard' }] })
    await recordCellFitting(desk, ref, { designation: 'SR626SW', pieces: 1, bestBefore: '2029-10', ...fromTheDrawer })
    if (!whole) return
    await replaceSeals(desk, ref, { seals: [{ position: 'case back', material: 'NBR', ...fromTheDrawer }] })
    await closeCase(desk, ref, { torqueNcm: 90 })
    for (const { id } of lines) await recordOperation(desk, ref, { line: id, state: 'done' })
    await recordWaterTest(desk, ref, {
      test: 'overpressure-dry',
      bar: 5,
      seconds: 90,
      settledMinutes: 40,
      leakMicrogramsPerMinute: 8,
      seen: 'passed',
      tool: house.pressure,
    })
  })

const check = ({ demo, house }: Told, ticket: Going, visit: Visit, on: Day, to: 'ready' | 'final-check') =>
  at(demo, house.staff.checker, on, '16:30', async (desk) => {
    await moveTicket(desk, ticket.number, { to: 'final-check' })
    const again = await pictures(desk, demo.service.config.dataFolder, visits.indexOf(visit), 60)
    await addPictures(desk, ticket.number, { pictures: again, stage: 'final-check' })
    const list = { passed: true, functions: true, picturesCompared: true, clean: true, oldPartsBagged: true }
    await tell(desk, ticket.number, 'final-checks', list)
    if (to === 'ready') await moveTicket(desk, ticket.number, { to: 'ready' })
  })

/** Paid and collected while the owner stands at the counter. */
const handOver = ({ demo, house }: Told, ticket: Going, visit: Visit, on: Day, total: number) =>
  at(demo, house.staff.counter, on, '17:15', async (desk) => {
    await tell(desk, ticket.number, 'payments', { amount: { amount: total, currency: desk.currency }, how: 'paid' })
    await moveTicket(desk, ticket.number, {
      to: 'handed-over',
      release: {
        tagNumber: ticket.number,
        serialRead: visit.watch.serial,
        picturesMatch: true,
        collector: visit.owner.name,
        slip: 'shown',
        twinAnswer: 'serial and pictures compared',
      },
    })
  })

/** Lives one visit, booked in, as far as it has come. Answers the number of its ticket, or of the newer one where it came back. */
async function live(told: Told, visit: Visit, ticket: Going): Promise<string> {
  const { demo, house } = told
  const { booked, bench, ready } = visit.days
  const { number } = ticket
  if (visit.until === 'booked in') return number
  const observed = visit.until === 'under observation'
  const estimate = await price(told, ticket, booked, observed ? 'quartz' : 'cell', cellLines)
  if (visit.until === 'priced') {
    await at(demo, house.staff.bench, booked, '10:50', (desk) => moveTicket(desk, number, { to: 'priced' }))
    return number
  }
  if (visit.until === 'waiting for the owner') {
    await at(demo, house.staff.counter, booked, '11:30', async (desk) => {
      await moveTicket(desk, number, { to: 'awaiting-yes' })
      const asked = { about: 'estimate', means: 'phone', result: 'failed', words: 'no answer, voice box full' }
      await tell(desk, number, 'contacts', asked)
    })
    return number
  }
  if (!agreedBefore.has(visit.until)) await agree(told, ticket, visit, booked, estimate)
  if (bench === undefined) return number
  await work(told, ticket, visit, bench, estimate.lines, visit.until !== 'at the bench')
  switch (visit.until) {
    case 'opened again after its test':
      await at(demo, house.staff.bench, bench, '15:20', async (desk) => {
        await openCase(desk, number, { reason: 'a speck of dust on the dial' })
        await closeCase(desk, number, { torqueNcm: 90 })
      })
      return number
    case 'under observation':
      await at(demo, house.staff.bench, bench, '15:20', async (desk) => {
        await moveTicket(desk, number, { to: 'under-observation' })
        await recordQuartz(desk, number, {
          rate: { value: 6, unit: 's/month' },
          measuringTime: { value: 60, unit: 's' },
          inhibitionPeriod: 60,
          consumption: { value: 2.9, unit: 'uA' },
          lowerWorkingVoltage: { value: 1.25, unit: 'V' },
          tool: house.quartz,
        })
      })
      return number
    case 'ready':
    case 'not fetched':
      await check(told, ticket, visit, ready ?? bench, 'ready')
      if (visit.until === 'not fetched') await nobodyCame(told, number, ready ?? bench)
      return number
    case 'handed over with its guarantee':
    case 'back again under guarantee': {
      await check(told, ticket, visit, ready ?? bench, 'final-check')
      await handOver(told, ticket, visit, ready ?? bench, estimate.total)
      return visit.until === 'back again under guarantee' ? backAgain(told, ticket, estimate.lines) : number
    }
    default:
      return number
  }
}

/** Told by telephone, then by a second means and by post; the registered letter is what comes next. */
async function nobodyCame({ demo, house }: Told, number: string, ready: Day): Promise<void> {
  const counter = (on: string, hour: string, work: (desk: Desk) => Promise<unknown>) =>
    at(demo, house.staff.counter, on as Day, hour, work)
  await counter(ready, '17:00', (desk) =>
    tell(desk, number, 'contacts', { about: 'ready', means: 'phone', result: 'delivered', words: 'will come by' }),
  )
  await counter('2026-09-08', '10:00', (desk) =>
    recordUnclaimed(desk, number, { step: 'second-means', words: 'message left with a neighbour' }),
  )
  await counter('2026-10-09', '10:00', (desk) =>
    recordUnclaimed(desk, number, { step: 'post', words: 'letter by post', proof: 'copy in the folder' }),
  )
}

/** The same watch within its guarantee: decided and caused by line, done for nothing, its cost booked to the first job. */
async function backAgain({ demo, house }: Told, first: Going, lines: { id: string }[]): Promise<string> {
  const [cell, gasket] = lines as [{ id: string }, { id: string }]
  const number = await at(demo, house.staff.counter, cameBackOn, '09:20', async (desk) => {
    const found = await desk.tx.ticket.findUniqueOrThrow({ where: { id: first.id } })
    const made = await bookIn(
      desk,
      {
        owner: { id: found.ownerId },
        watch: { id: found.watchId },
        complaint: 'Stopped again after ten weeks.',
        place: 'counter',
        dial: 'red',
        comebackOf: first.number,
        pictures: await pictures(desk, demo.service.config.dataFolder, visits.length),
        condition: {
          marks: [{ place: 'bezel at 4', kind: 'scratch', lengthMm: 4 }],
          clasp: 'not-there',
          agreed: 'owner',
        },
        declaredValue: { amount: 90_000, currency: desk.currency },
        ceiling: { amount: 0, currency: desk.currency },
      },
      demo.service.config.centre.country,
    )
    const { number } = bodyOf<{ number: string }>(made)
    await moveTicket(desk, number, { to: 'awaiting-look' })
    await moveWatch(desk, number, { from: 'counter', to: 'safe', holder: house.staff.counter.name, tagNumber: number })
    return number
  })
  await at(demo, house.staff.bench, cameBackOn, '10:40', async (desk) => {
    await moveTicket(desk, number, { to: 'looked-over' })
    await tell(desk, number, 'looks', { findings: 'cell flat, coil in order', workClass: 'cell' })
    const decided = { covered: true, voided: 'no', because: 'within its twelve months', cause: 'part' }
    const gone = { covered: false, voided: 'no', because: 'the gasket is as it was', cause: 'not-ours' }
    await tell(desk, number, 'comeback-decisions', {
      lines: [
        { line: cell.id, ...decided },
        { line: gasket.id, ...gone },
      ],
    })
    const under = { ...standard, underGuaranteeOf: cell.id }
    const estimate = bodyOf<{ lines: { id: string }[] }>(
      await addEstimate(desk, number, {
        kind: 'fixed',
        lines: [
          { ...under, what: 'cell change', unitPrice: 1100, opensCase: true },
          { ...under, what: 'cell', part: true, unitPrice: 92 },
          { ...under, what: 'pressure test', unitPrice: 600, requiredBy: 0, pressureTest: true },
        ],
      }),
    )
    await tell(desk, number, 'kits', kitOf(house, estimate.lines.slice(1, 2)))
    await moveTicket(desk, number, { to: 'on-the-bench' })
    for (const { id } of estimate.lines.slice(0, 2)) await recordOperation(desk, number, { line: id, state: 'done' })
  })
  return number
}

const lived = new WeakMap<Demo, Map<Until, string>>()

/** The counter and the benches on the demo's day: a ticket in every state it can be found in. */
export const tickets: Step = {
  name: 'Watches in the house',
  run: async (demo, say) => {
    const first = visits.map(({ days }) => days.booked).sort()[0] ?? demo.today
    const house = await openHouse(demo, first)
    const told = { demo, house }
    const booked: Going[] = []
    // one after another, so that each has the same number every time; after that none waits for another
    for (const [nth, visit] of visits.entries()) booked.push(await bookVisit(told, visit, nth))
    say(`${booked.length} watches booked in`)
    const numbers = await Promise.all(visits.map((visit, nth) => live(told, visit, booked[nth] as Going)))
    lived.set(demo, new Map(visits.map((visit, nth) => [visit.until, numbers[nth] as string])))
    return `${visits.length + 1} tickets, one for each state`
  },
  account: async (demo) => {
    const { rows } = await demo.service.database.pool.query<{ number: string; next: string }>(
      `select number, case when ended is null then 'next: ' || replace(next_actor, '-', ' ') || ', by ' || next_by else 'ended on ' || ended_on end as next from ticket`,
    )
    const next = new Map(rows.map((row) => [row.number, row.next]))
    return [
      {
        title: 'Tickets, one for each state a watch in the house can be in',
        lines: [...(lived.get(demo) ?? [])].map(
          ([until, number]) => `${number.padEnd(5)}${until.padEnd(31)}${next.get(number)}`,
        ),
      },
    ]
  },
  tries: async (demo) => {
    const numbers = lived.get(demo)
    return [
      {
        words: 'The gates of the watch that was opened again after its test: what is shut, why, and what would open it',
        role: 'bench',
        method: 'GET',
        path: `/v1/tickets/${numbers?.get('opened again after its test')}/gates`,
      },
      {
        words: '"When is it ready?": reckoned today, term by term, beside the day that was promised',
        role: 'counter',
        method: 'GET',
        path: `/v1/tickets/${numbers?.get('under observation')}/promise`,
      },
      {
        words: 'Which promises will break, and whom to tell first',
        role: 'manager',
        method: 'GET',
        path: '/v1/reports/promises',
      },
      {
        words: 'Watches nobody fetches: how far each clock has come, and what may be done next',
        role: 'counter',
        method: 'GET',
        path: '/v1/reports/unclaimed-watches',
      },
    ]
  },
}
