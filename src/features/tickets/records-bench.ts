import { z } from 'zod'
import { dateOf } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { signs } from '../../domain/reckoning/facts.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { asksAsMuch, observationOf, type WorkClassName, workClassNames } from '../../domain/tickets/classes.ts'
import { judgeGate } from '../../domain/tickets/gates.ts'
import { caseIsOpen } from '../../domain/tickets/gates-water.ts'
import { nextFor } from '../../domain/tickets/next.ts'
import { sealConditions } from '../../domain/tickets/snapshot.ts'
import { day, id, line, prose } from '../../http/shapes.ts'
import { hazardKind } from '../watches/routes.ts'
import { backToBench, calendarOf, type Desk, happened, instantFrom, lastOfCase } from './desk.ts'
import { writeFacts } from './facts.ts'
import { comebackCauses, type DecidedLine, decideComeback } from './guarantees.ts'
import { checkedKit, type KitSaid } from './kit.ts'
import { mayCheck } from './moves.ts'
import { bench, type Said } from './said.ts'
import type { Loaded } from './snapshot.ts'
import { isWorker } from './standing.ts'
import { refuseUnagreed, type WaterAgreement } from './water-agreement.ts'

type FinalCheck = {
  passed: boolean
  reason?: string
  functions: boolean
  picturesCompared: boolean
  clean: boolean
  oldPartsBagged: boolean
}

/** Once the work has begun a class that asks fewer readings of it is not named by whoever did it. */
export async function refuseLesserClass(desk: Desk, { snapshot, tables, settings }: Loaded, name: WorkClassName) {
  const { asked } = snapshot.observation
  const begun = snapshot.fitted.length > 0 || snapshot.work.some((work) => work.state === 'done')
  if (asked === null || !begun || desk.who.role === 'manager') return
  if (asksAsMuch(observationOf(name, tables.readingsByClassOfWork, settings.observationHours), asked)) return
  if (isWorker(snapshot, desk.who.name) || !(await mayCheck(desk)))
    throw new Refusal('override-refused', {
      why: 'the work has begun, and this class asks fewer readings of it; a manager names it, or a final checker who did no work on this ticket',
    })
}

/** What the bench says, and what the stock says of its parts. */
export const benchSaid: readonly Said[] = [
  {
    path: 'hazards',
    kind: 'hazard-seen',
    whileFrozen: true,
    roles: ['counter', 'bench', 'manager'],
    summary: 'Record a hazard seen on the watch; the hazard gate shuts until its note is confirmed',
    body: z.strictObject({ kind: hazardKind, note: line(200).optional(), confirmedBy: line(80).optional() }),
    make: async (desk, ticket, body: { kind: string; note?: string; confirmedBy?: string }) => {
      const made = await desk.tx.hazard.create({
        data: {
          watchId: String(ticket.rows.watch.id),
          kind: body.kind,
          note: body.note ?? null,
          confirmedBy: body.confirmedBy ?? null,
          seenOn: dateOf(desk.today),
          recordedBy: desk.who.name,
        },
      })
      return { data: { ...body, hazards: [made.id] } }
    },
  },
  {
    path: 'hazard-confirmations',
    kind: 'hazard-confirmed',
    roles: bench,
    summary: 'Confirm that the handling note was shown, at a named bench',
    body: z.strictObject({ bench: id, note: prose(1000) }),
    make: async (desk, _ticket, body: { bench: string; note: string }) => {
      const found = await desk.tx.bench.findUnique({ where: { id: body.bench } })
      if (!found) throw new Refusal('not-found', { what: 'bench', id: body.bench })
      return { data: { ...body, benchName: found.name, benchMay: found.skills.includes('high-hazard') } }
    },
  },
  {
    path: 'hazard-ends',
    kind: 'hazard-over',
    roles: bench,
    summary: 'Record that a hazard is over: dried, neutralised, measured and found harmless',
    body: z.strictObject({ hazard: id, words: prose(500) }),
    make: (_desk, ticket, body: { hazard: string }) => {
      if (!(ticket.rows.hazards ?? []).some((hazard) => hazard.id === body.hazard))
        throw faulty(['/hazard', 'is no hazard of this watch'])
      return { data: body }
    },
  },
  {
    path: 'looks',
    kind: 'look',
    roles: bench,
    summary:
      'Record what was found at the look over, and the class of work; confirmed signs go to the reckoning at once',
    body: z.strictObject({
      findings: prose(4000),
      workClass: z.enum(workClassNames as [string, ...string[]]).optional(),
      signs: z.array(z.enum(signs)).max(14).optional(),
      at: happened,
    }),
    make: async (
      desk,
      ticket,
      body: { findings: string; workClass?: string; signs?: (typeof signs)[number][]; at?: string },
    ) => {
      if (body.workClass !== undefined) await refuseLesserClass(desk, ticket, body.workClass as WorkClassName)
      const at = instantFrom(desk, ticket, body.at)
      const { at: _, ...data } = body
      const written = await writeFacts(
        desk,
        ticket,
        at,
        (body.signs ?? []).map((sign) => ({ event: 'sign' as const, sign })),
      )
      return { at, data: { ...data, facts: written } }
    },
    after: async (desk, ticket, body: { workClass?: string }) => {
      if (body.workClass === undefined) return
      await desk.tx
        .$executeRaw`update ticket set work_class = ${body.workClass}, version = version + 1 where id = ${ticket.snapshot.ticket.id}::uuid`
    },
  },
  {
    path: 'seals-seen',
    kind: 'seals-seen',
    roles: bench,
    summary:
      'Record what the seals looked like with the case open; one that is not supple is replaced before any water test counts',
    body: z.strictObject({
      seals: z
        .array(z.strictObject({ position: line(40), condition: z.enum(sealConditions) }))
        .min(1)
        .max(20),
      at: happened,
    }),
    make: (desk, ticket, body: { seals: object[]; at?: string }) => {
      if (!caseIsOpen(ticket.snapshot)) throw new Refusal('case-not-open')
      return { at: instantFrom(desk, ticket, body.at, { after: lastOfCase(ticket) }), data: { seals: body.seals } }
    },
  },
  {
    path: 'parts',
    kind: 'parts',
    roles: ['bench', 'stock', 'manager'],
    summary: 'Say what parts the work waits for; the whole list each time',
    body: z.strictObject({
      lines: z
        .array(
          z.strictObject({
            what: line(120),
            line: id.optional(),
            onHand: z.boolean(),
            special: z.boolean().default(false),
            deposit: z.enum(['not-asked', 'awaited', 'received']).default('not-asked'),
            orderedOn: day.optional(),
            expectedOn: day.optional(),
            chasedOn: day.optional(),
            supplier: line(80)
              .optional()
              .describe('as in its stock orders, from whose past the day of arrival is reckoned'),
            supplierSays: line(200).optional(),
          }),
        )
        .max(50),
    }),
    make: (_desk, ticket, body: { lines: { line?: string; special: boolean; orderedOn?: Day }[] }) => {
      const yes = judgeGate('G7', ticket.snapshot)
      if (yes.state === 'shut' && body.lines.some((part) => part.special && part.orderedOn !== undefined))
        throw new Refusal('gate-shut', {
          gate: 'G7',
          gateTitle: yes.title,
          why: `a special order is placed only after the yes; ${yes.why}`,
          opens: yes.opens,
        })
      const known = new Set(ticket.rows.estimates?.at(-1)?.lines?.map((one) => one.id))
      const strange = body.lines.findIndex((part) => part.line !== undefined && !known.has(part.line))
      if (strange >= 0) throw faulty([`/lines/${strange}/line`, 'is no line of the newest version'])
      return { data: body }
    },
    after: async (desk, ticket, body: { lines: { onHand: boolean; expectedOn?: Day }[] }) => {
      const expected = body.lines
        .filter((part) => !part.onHand && part.expectedOn !== undefined)
        .map((part) => part.expectedOn!)
      const latest = expected.sort().at(-1)
      const { step, side } = ticket.snapshot.ticket
      if (latest !== undefined && step === 'awaiting-parts' && side === null) {
        const { by } = nextFor('awaiting-parts', desk.today, calendarOf(ticket.settings), ticket.rules, {
          partsExpectedOn: latest,
        })!
        await desk.tx
          .$executeRaw`update ticket set next_by = ${by}::date, version = version + 1 where id = ${ticket.snapshot.ticket.id}::uuid`
      }
    },
  },
  {
    path: 'kits',
    kind: 'kit',
    roles: ['bench', 'stock', 'manager'],
    summary:
      'Record the check of the kit before the bench: at which bench, with which tools and lots. Where the file knows better, the file counts',
    body: z.strictObject({
      designationRight: z.boolean(),
      cell: z.enum(['none', 'full', 'short', 'not-to-be-fitted']),
      shortLifeNote: z.boolean().default(false),
      gasketsInLife: z.boolean(),
      toolsInDate: z.boolean(),
      benchHasSkill: z.boolean(),
      bench: id,
      tools: z.array(id).max(20).default([]),
      parts: z
        .array(
          z
            .strictObject({
              line: id.optional(),
              what: line(120).optional(),
              lot: id.optional(),
              lotUnknownBecause: line(200).optional(),
            })
            .refine((part) => (part.lot === undefined) !== (part.lotUnknownBecause === undefined), {
              path: ['lot'],
              error: 'name the lot, or say in lotUnknownBecause why it is not known; one of the two',
            }),
        )
        .max(50)
        .default([]),
    }),
    make: async (desk, ticket, body: KitSaid) => ({ data: await checkedKit(desk, ticket, body) }),
  },
  {
    path: 'reading-acceptances',
    kind: 'readings-accepted',
    roles: bench,
    summary: 'A final checker accepts values outside the tolerance, by name and with the reason',
    body: z.strictObject({ reason: prose(500) }),
    make: async (desk, ticket, body: { reason: string }) => {
      if (isWorker(ticket.snapshot, desk.who.name) || !(await mayCheck(desk)))
        throw new Refusal('override-refused', {
          why: 'only a final checker who did no work on this ticket may accept values',
        })
      return { data: body }
    },
  },
  {
    path: 'water-agreements',
    kind: 'water-agreement',
    roles: ['counter', 'bench', 'manager'],
    summary:
      'Record the agreed test pressure, the kinds of test needed, and whether the owner consents to a gentle test; less than the claim asks is agreed by a person entitled to approve',
    body: z.strictObject({
      bar: z.number().min(-0.9).max(125).nullable(),
      needed: z
        .array(z.enum(['vacuum-dry', 'overpressure-dry', 'overpressure-wet', 'immersion', 'condensation']))
        .min(1)
        .max(5),
      ownerConsents: z.boolean().default(false),
      diver: z.boolean().default(false),
      person: line(120).optional(),
      how: z.enum(['in-person', 'signed', 'e-mail', 'phone']).optional(),
      reason: prose(300).optional(),
    }),
    make: (_desk, ticket, body: WaterAgreement) => {
      refuseUnagreed(ticket, body)
      return { data: body }
    },
  },
  {
    path: 'water-tests-left-out',
    kind: 'water-not-tested',
    roles: bench,
    summary: 'Say why the watch is not tested for water; the water gate stays as it is',
    body: z.strictObject({ because: prose(300) }),
  },
  {
    path: 'final-checks',
    kind: 'final-check',
    roles: bench,
    summary: 'Record the final check; one that is not passed sends the watch back to the bench',
    body: z.strictObject({
      passed: z.boolean(),
      reason: prose(500).optional(),
      functions: z.boolean(),
      picturesCompared: z.boolean(),
      clean: z.boolean(),
      oldPartsBagged: z.boolean(),
    }),
    make: (_desk, ticket, body: FinalCheck) => {
      const open = (['functions', 'picturesCompared', 'clean'] as const).filter((key) => !body[key])
      if (body.passed && open.length > 0)
        throw faulty(...open.map((key) => [`/${key}`, 'is not so: a check is passed with all its parts'] as const))
      // where nothing was fitted there is no old part; else it is bagged, or somebody says why not
      if (body.passed && !body.oldPartsBagged && ticket.snapshot.fitted.length > 0 && body.reason === undefined)
        throw faulty(['/reason', 'is missing: say why the old parts are not bagged'])
      if (!body.passed && body.reason === undefined) throw faulty(['/reason', 'is missing: say why it is sent back'])
      const { step } = ticket.snapshot.ticket
      if (!['final-check', 'return-undone', 'ready', 'under-observation', 'closed', 'on-the-bench'].includes(step)) {
        throw new Refusal('record-not-taken', { step, what: 'a final check' })
      }
      return { data: body }
    },
    after: async (desk, ticket, body: { passed: boolean; reason?: string }) => {
      if (!body.passed && ['final-check', 'ready'].includes(ticket.snapshot.ticket.step))
        await backToBench(desk, ticket, `final check not passed: ${body.reason}`)
    },
  },
  {
    path: 'comeback-decisions',
    kind: 'comeback',
    roles: ['bench', 'counter', 'manager'],
    summary: 'Decide the guarantee question for each line of the earlier ticket, with the reason, and code its cause',
    body: z.strictObject({
      comebackOf: line(60).optional().meta({ description: 'the earlier ticket, where the booking-in did not name it' }),
      lines: z
        .array(
          z.strictObject({
            line: id,
            covered: z.boolean(),
            voided: z.enum(['no', 'opened-elsewhere', 'water', 'blow']),
            because: line(300),
            cause: z.enum(comebackCauses),
          }),
        )
        .max(100),
    }),
    make: async (desk, ticket, body: { lines: DecidedLine[]; comebackOf?: string }) => {
      await decideComeback(desk, ticket, body)
      return { data: body }
    },
  },
]
