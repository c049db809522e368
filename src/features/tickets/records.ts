import { z } from 'zod'
import { dateOf } from '../../db/open.ts'
import { signs } from '../../domain/reckoning/facts.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { workClassNames } from '../../domain/tickets/classes.ts'
import type { Created } from '../../http/creating.ts'
import type { Role } from '../../http/service.ts'
import { day, id, line, money, prose } from '../../http/shapes.ts'
import { hazardKind } from '../watches/routes.ts'
import { addRecords, backToBench, type Desk, happened, instantFrom, type NewRecord, openTicket } from './desk.ts'
import { writeFacts } from './facts.ts'
import { mayCheck } from './moves.ts'
import { type Release, recordRelease } from './release.ts'
import { type Loaded, peopleOf, samePerson } from './snapshot.ts'

/**
 * What is said about a ticket, each kind under its own address. One entry here is one endpoint: its name, who may say it,
 * its shape, and what has to hold or to follow. The record is the body as it came, unless the entry makes it itself.
 */
export type Said = {
  readonly path: string
  readonly kind: string
  readonly roles: readonly Role[]
  readonly summary: string
  readonly body: z.ZodObject
  /** taken also on a ticket that has ended */
  readonly afterEnd?: boolean
  readonly make?: (desk: Desk, ticket: Loaded, body: never) => Promise<Partial<NewRecord> & { data: object }> | (Partial<NewRecord> & { data: object })
  readonly then?: (desk: Desk, ticket: Loaded, body: never) => Promise<void>
}

const counter = ['counter', 'manager'] as const
const bench = ['bench', 'manager'] as const
const manager = ['manager'] as const

export const conditionBody = z.strictObject({
  marks: z
    .array(
      z.strictObject({
        place: line(80),
        kind: z.enum(['scratch', 'dent', 'chip', 'crack', 'missing', 'discoloured', 'moisture', 'worn-engraving']),
        lengthMm: z.number().min(0).max(100).optional(),
      }),
    )
    .max(200)
    .nullable(),
  clasp: z.enum(['there', 'not-there']),
  agreed: z.enum(['owner', 'opened-before-witness', 'opened-before-camera']).nullable().optional(),
  openedBy: line(80).optional(),
  runs: z.enum(['yes', 'no', 'unknown']).optional(),
  timeShown: line(20).optional(),
  crown: z.enum(['pulled', 'pushed', 'missing']).optional(),
  linksCounted: z.number().int().min(0).max(99).optional(),
  strap: line(120).optional(),
  box: z.boolean().optional(),
  papers: z.boolean().optional(),
  smell: line(80).optional(),
  magnetised: z.enum(['yes', 'no', 'unknown']).optional(),
  waterSigns: z.enum(['yes', 'no', 'unknown']).optional(),
  functions: line(200).optional(),
})

export const doNot = z.enum(['no-polish', 'keep-dial', 'keep-hands', 'keep-crown', 'no-lume-work', 'do-not-open-movement', 'no-ultrasonic'])

export const releaseBody = z.strictObject({
  tagNumber: line(30),
  serialRead: line(60).nullable().optional(),
  picturesMatch: z.boolean(),
  collector: line(120),
  slip: z.enum(['shown', 'lost', 'not-shown']),
  identityProof: line(200).optional(),
  twinAnswer: line(400).optional(),
  looseReturned: z.array(line(40)).max(50).optional(),
  oldPartsReturned: z.boolean().optional(),
  cautionsGiven: z.array(line(80)).max(20).optional(),
  papersShown: line(200).optional(),
})

const set = (column: string) => async (desk: Desk, ticket: Loaded, value: string | number | null) => {
  const { id: ticketId } = ticket.snapshot.ticket
  // the column is one of ours, never a word of the request
  await desk.tx.$executeRawUnsafe(`update ticket set ${column} = $1, version = version + 1 where id = $2::uuid`, value, ticketId)
}
const setWorkClass = set('work_class')

export const said: readonly Said[] = [
  {
    path: 'people',
    kind: 'people',
    roles: counter,
    summary: 'Say who may approve and who may collect, each list for itself; the owner is on both',
    body: z.strictObject({ approve: z.array(line(120)).max(20), collect: z.array(line(120)).max(20), willCallIn: z.boolean().default(false) }),
  },
  { path: 'conditions', kind: 'condition', roles: counter, summary: 'Record the condition, as the owner has seen it', body: conditionBody },
  {
    path: 'declared-values',
    kind: 'value',
    roles: counter,
    summary: 'Record what the owner declares the watch to be worth',
    body: z.strictObject({ value: money.nullable() }),
    then: async (desk, ticket, body: { value: { amount: number; currency: string } | null }) => {
      await desk.tx.$executeRaw`
        update ticket set declared_value = ${body.value?.amount ?? null}::bigint, declared_currency = ${body.value?.currency ?? null}, version = version + 1
        where id = ${ticket.snapshot.ticket.id}::uuid`
    },
  },
  { path: 'cover-arrangements', kind: 'cover', roles: manager, summary: "Record what the insurer's rule demands for a dear watch", body: z.strictObject({ words: prose(1000) }) },
  { path: 'do-not-lists', kind: 'do-not', roles: counter, summary: 'Say what must not be done', body: z.strictObject({ list: z.array(doNot).max(20) }) },
  {
    path: 'ceilings',
    kind: 'ceiling',
    roles: counter,
    summary: 'Record the amount agreed in advance, tax included',
    body: z.strictObject({ amount: money, person: line(120), how: z.enum(['in-person', 'signed', 'e-mail']) }),
    make: (_desk, ticket, body: { amount: object; person: string; how: string }) => {
      refuseUnentitled(ticket, body.person, 'approve')
      return { data: body }
    },
  },
  {
    path: 'hazards',
    kind: 'hazard-seen',
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
      if (!(ticket.rows.hazards ?? []).some((hazard) => hazard.id === body.hazard)) throw faulty(['/hazard', 'is no hazard of this watch'])
      return { data: body }
    },
  },
  {
    path: 'looks',
    kind: 'look',
    roles: bench,
    summary: 'Record what was found at the look over, and the class of work; confirmed signs go to the reckoning at once',
    body: z.strictObject({
      findings: prose(4000),
      workClass: z.enum(workClassNames as [string, ...string[]]).optional(),
      signs: z.array(z.enum(signs)).max(14).optional(),
      at: happened,
    }),
    make: async (desk, ticket, body: { findings: string; workClass?: string; signs?: (typeof signs)[number][]; at?: string }) => {
      const at = instantFrom(desk, body.at)
      const { at: _, ...data } = body
      const written = await writeFacts(desk, ticket, at, (body.signs ?? []).map((sign) => ({ event: 'sign' as const, sign })))
      return { at, data: { ...data, facts: written } }
    },
    then: async (desk, ticket, body: { workClass?: string }) => {
      if (body.workClass !== undefined) await setWorkClass(desk, ticket, body.workClass)
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
            onHand: z.boolean(),
            special: z.boolean().default(false),
            deposit: z.enum(['not-asked', 'awaited', 'received']).default('not-asked'),
            orderedOn: day.optional(),
            expectedOn: day.optional(),
            chasedOn: day.optional(),
            supplierSays: line(200).optional(),
          }),
        )
        .max(50),
    }),
    then: async (desk, ticket, body: { lines: { onHand: boolean; expectedOn?: string }[] }) => {
      const expected = body.lines.filter((part) => !part.onHand && part.expectedOn !== undefined).map((part) => part.expectedOn!)
      const latest = expected.sort().at(-1)
      if (latest !== undefined && ticket.snapshot.ticket.step === 'awaiting-parts') {
        await desk.tx.$executeRaw`update ticket set next_by = ${latest}::date + 3, version = version + 1 where id = ${ticket.snapshot.ticket.id}::uuid`
      }
    },
  },
  {
    path: 'kits',
    kind: 'kit',
    roles: ['bench', 'stock', 'manager'],
    summary: 'Record the check of the kit before the bench',
    body: z.strictObject({
      designationRight: z.boolean(),
      cell: z.enum(['none', 'full', 'short', 'not-to-be-fitted']),
      shortLifeNote: z.boolean().default(false),
      gasketsInLife: z.boolean(),
      toolsInDate: z.boolean(),
      benchHasSkill: z.boolean(),
      bench: line(80).optional(),
    }),
  },
  {
    path: 'reading-acceptances',
    kind: 'readings-accepted',
    roles: bench,
    summary: 'A final checker accepts values outside the tolerance, by name and with the reason',
    body: z.strictObject({ reason: prose(500) }),
    make: async (desk, ticket, body: { reason: string }) => {
      const worked = ticket.snapshot.workers.has(desk.who.keyId ?? desk.who.name)
      if (worked || !(await mayCheck(desk))) throw new Refusal('override-refused', { why: 'only a final checker who did no work on this ticket may accept values' })
      return { data: body }
    },
  },
  {
    path: 'water-agreements',
    kind: 'water-agreement',
    roles: ['counter', 'bench', 'manager'],
    summary: 'Record the agreed test pressure, the kinds of test needed, and whether the owner consents to a gentle test',
    body: z.strictObject({
      bar: z.number().min(-0.9).max(125).nullable(),
      needed: z.array(z.enum(['vacuum-dry', 'overpressure-dry', 'overpressure-wet', 'immersion', 'condensation'])).min(1).max(5),
      ownerConsents: z.boolean().default(false),
      diver: z.boolean().default(false),
    }),
  },
  {
    path: 'claim-withdrawals',
    kind: 'claim-withdrawn',
    roles: counter,
    summary: 'Owner and manager sign: no longer to be treated as water-resistant',
    body: z.strictObject({ ownerSigned: z.boolean(), textGiven: z.boolean(), words: line(200).optional() }),
    make: async (desk, ticket, body: { ownerSigned: boolean; textGiven: boolean }) => {
      const before = ticket.records.findLast((record) => record.kind === 'claim-withdrawn')?.data
      const managerSigned = desk.who.role === 'manager' || before?.managerSigned === true
      const ownerSigned = (body.ownerSigned && body.textGiven) || before?.ownerSigned === true
      const whole = managerSigned && ownerSigned
      const already = before?.managerSigned === true && before.ownerSigned === true
      const facts = whole && !already ? await writeFacts(desk, ticket, desk.now, [{ event: 'water-claim-withdrawn' }]) : []
      return { data: { ...body, ownerSigned, managerSigned, facts } }
    },
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
    make: (_desk, ticket, body: { passed: boolean; reason?: string }) => {
      if (!body.passed && body.reason === undefined) throw faulty(['/reason', 'is missing: say why it is sent back'])
      const { step } = ticket.snapshot.ticket
      if (!['final-check', 'return-undone', 'ready', 'under-observation', 'closed', 'on-the-bench'].includes(step)) {
        throw new Refusal('record-not-taken', { step, what: 'a final check' })
      }
      return { data: body }
    },
    then: async (desk, ticket, body: { passed: boolean; reason?: string }) => {
      if (!body.passed && ['final-check', 'ready'].includes(ticket.snapshot.ticket.step)) await backToBench(desk, ticket, `final check not passed: ${body.reason}`)
    },
  },
  {
    path: 'contacts',
    kind: 'contact',
    roles: counter,
    summary: 'Record an attempt to reach the owner, or a word from the owner',
    body: z.strictObject({
      about: z.enum(['ready', 'estimate', 'question', 'delay', 'unclaimed', 'owner-called', 'test']),
      means: z.enum(['e-mail', 'phone', 'post', 'registered-post', 'in-person']),
      result: z.enum(['sent', 'delivered', 'failed']),
      words: line(400).optional(),
      at: happened,
    }),
    make: (desk, ticket, body: { about: string; at?: string }) => {
      if (body.about === 'ready' && ticket.snapshot.ticket.step !== 'ready') throw new Refusal('record-not-taken', { step: ticket.snapshot.ticket.step, what: 'a "ready" notice' })
      const { at, ...data } = body
      return { at: instantFrom(desk, at), data }
    },
  },
  {
    path: 'payments',
    kind: 'payment',
    roles: counter,
    summary: 'Record a payment, a deposit, money returned, or credit to a business account',
    body: z.strictObject({ amount: money, how: z.enum(['paid', 'deposit', 'returned', 'credit']), words: line(200).optional() }),
    make: (_desk, ticket, body: { amount: { amount: number; currency: string }; how: string }) => {
      const wanted = ticket.rows.estimates?.at(-1)?.currency
      if (wanted !== undefined && wanted !== body.amount.currency) throw faulty(['/amount/currency', `must be ${wanted}, as the estimate`])
      if (body.how === 'credit' && ticket.rows.owner.standing !== 'business-account') throw faulty(['/how', 'credit is for business accounts only'])
      return { data: { ...body, back: body.how === 'returned' } }
    },
  },
  { path: 'counter-arrivals', kind: 'at-counter', roles: counter, summary: 'Sign that the collector stands at the counter', body: z.strictObject({ collector: line(120) }) },
  {
    path: 'revocations',
    kind: 'revocation',
    roles: counter,
    summary: 'The owner takes the yes back; what was done by then is payable',
    body: z.strictObject({ person: line(120), how: z.enum(['in-person', 'signed', 'e-mail', 'phone']), words: line(400).optional() }),
    make: (_desk, ticket, body: { person: string }) => {
      refuseUnentitled(ticket, body.person, 'approve')
      return { data: body }
    },
  },
  {
    path: 'yes-confirmations',
    kind: 'yes-confirmed',
    roles: counter,
    summary: 'The written confirmation of a yes by telephone has come',
    body: z.strictObject({ version: z.number().int().min(1).max(1000), how: line(80) }),
    make: (_desk, ticket, body: { version: number }) => {
      if (!ticket.snapshot.answers.some((answer) => answer.version === body.version)) throw faulty(['/version', 'has no answer to confirm'])
      return { data: body }
    },
  },
  {
    path: 'comeback-decisions',
    kind: 'comeback',
    roles: ['bench', 'counter', 'manager'],
    summary: 'Decide the guarantee question for each line of the earlier ticket, with the reason, and code the cause',
    body: z.strictObject({
      lines: z.array(z.strictObject({ line: id, covered: z.boolean(), voided: z.enum(['no', 'opened-elsewhere', 'water', 'blow']), because: line(300) })).max(100),
      cause: z.enum(['part', 'work', 'adjustment', 'lot', 'not-ours', 'wear', 'unclear']),
    }),
    make: async (desk, ticket, body: { lines: { line: string }[] }) => {
      const earlier = ticket.snapshot.ticket.comebackOf
      if (earlier === null) throw new Refusal('record-not-taken', { step: ticket.snapshot.ticket.step, what: 'a comeback decision', todo: 'This ticket is linked to no earlier one.' })
      const rows = await desk.tx.$queryRaw<{ line: string }[]>`select line_id as line from guarantee where ticket_id = ${earlier}::uuid`
      const known = new Set(rows.map((row) => row.line))
      const strange = body.lines.findIndex((decided) => !known.has(decided.line))
      if (strange >= 0) throw faulty([`/lines/${strange}/line`, 'is no line of the earlier ticket with a guarantee'])
      return { data: body }
    },
  },
  {
    path: 'promises',
    kind: 'promise',
    roles: counter,
    summary: 'Record the one date that was promised, or a new one told before the old one passes',
    body: z.strictObject({ on: day, words: line(200).optional() }),
    then: async (desk, ticket, body: { on: string }) => {
      await desk.tx.$executeRaw`update ticket set promised_on = ${body.on}::date, version = version + 1 where id = ${ticket.snapshot.ticket.id}::uuid`
    },
  },
  {
    path: 'releases',
    kind: 'release',
    roles: counter,
    summary: 'Compare tag, watch and pictures with this collector before the hand-over',
    body: releaseBody,
  },
]

export function refuseUnentitled(ticket: Loaded, person: string, what: 'approve' | 'collect', pointer = '/person'): void {
  if (!peopleOf(ticket.rows)[what].some((name) => samePerson(name, person))) {
    throw new Refusal('not-entitled', { person, what }, [{ pointer, detail: `is not on the list of those who may ${what}` }])
  }
}

/** Writes one thing said about a ticket. */
export async function say(desk: Desk, entry: Said, ref: string, body: Record<string, unknown>): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  const { id: ticketId, ended } = ticket.snapshot.ticket
  if (ended !== null && entry.afterEnd !== true) throw new Refusal('ticket-ended', { ended })
  if (entry.kind === 'release') {
    const { id: recordId } = await recordRelease(desk, ticket, body as Release)
    return { location: `/v1/tickets/${ticketId}`, body: { id: recordId, kind: entry.kind } }
  }
  const made = entry.make ? await entry.make(desk, ticket, body as never) : { data: body }
  const [record] = await addRecords(desk, ticketId, [{ kind: entry.kind, ...made }])
  if (entry.then) await entry.then(desk, ticket, body as never)
  return { location: `/v1/tickets/${ticketId}`, body: { id: record!.id, kind: entry.kind } }
}
