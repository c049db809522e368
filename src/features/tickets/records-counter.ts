import { z } from 'zod'
import type { Day } from '../../domain/day.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { day, id, line, money, prose } from '../../http/shapes.ts'
import { closeReadyTask } from '../notices/ready-letters.ts'
import { contactTested, recordTest } from '../owners/owners.ts'
import { happened, instantFrom } from './desk.ts'
import { writeFacts } from './facts.ts'
import { type PeopleSaid, refuseUnauthorised } from './people.ts'
import { warningsAgainst } from './promise.ts'
import { closePromiseTask } from './promise-task.ts'
import { conditionBody, counter, doNot, manager, refuseUnentitled, releaseBody, type Said } from './said.ts'

type ContactSaid = {
  about: string
  means: 'e-mail' | 'phone' | 'post' | 'registered-post' | 'in-person'
  result: string
  contact?: string
  words?: string
  at?: string
}

/** What the counter and the manager say. */
export const counterSaid: readonly Said[] = [
  {
    path: 'people',
    kind: 'people',
    whileFrozen: true,
    roles: counter,
    summary:
      'Say who may approve and who may collect, each list for itself; the owner is on both. A name is added on the word of somebody entitled to approve',
    body: z.strictObject({
      approve: z.array(line(120)).max(20),
      collect: z.array(line(120)).max(20),
      willCallIn: z.boolean().default(false),
      authorisedBy: line(120).optional(),
      how: z.enum(['in-person', 'signed', 'e-mail', 'phone', 'papers']).optional(),
    }),
    make: (desk, ticket, body: PeopleSaid) => {
      refuseUnauthorised(desk, ticket, body)
      return { data: body }
    },
  },
  {
    path: 'conditions',
    kind: 'condition',
    roles: counter,
    summary: 'Record the condition, as the owner has seen it',
    body: conditionBody,
  },
  {
    path: 'declared-values',
    kind: 'value',
    roles: counter,
    summary: 'Record what the owner declares the watch to be worth',
    body: z.strictObject({ value: money.nullable() }),
    after: async (desk, ticket, body: { value: { amount: number; currency: string } | null }) => {
      await desk.tx.$executeRaw`
        update ticket set declared_value = ${body.value?.amount ?? null}::bigint, declared_currency = ${body.value?.currency ?? null}, version = version + 1
        where id = ${ticket.snapshot.ticket.id}::uuid`
    },
  },
  {
    path: 'cover-arrangements',
    kind: 'cover',
    whileFrozen: true,
    roles: manager,
    summary: "Record what the insurer's rule demands for a dear watch",
    body: z.strictObject({ words: prose(1000) }),
  },
  {
    path: 'do-not-lists',
    kind: 'do-not',
    whileFrozen: true,
    roles: counter,
    summary: 'Say what must not be done',
    body: z.strictObject({ list: z.array(doNot).max(20) }),
  },
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
      const facts =
        whole && !already ? await writeFacts(desk, ticket, desk.now, [{ event: 'water-claim-withdrawn' }]) : []
      return { data: { ...body, ownerSigned, managerSigned, facts } }
    },
  },
  {
    path: 'contacts',
    kind: 'contact',
    whileFrozen: true,
    roles: counter,
    summary: 'Record an attempt to reach the owner, or a word from the owner',
    body: z.strictObject({
      about: z.enum(['ready', 'estimate', 'question', 'delay', 'unclaimed', 'owner-called', 'test']),
      means: z.enum(['e-mail', 'phone', 'post', 'registered-post', 'in-person']),
      result: z.enum(['sent', 'delivered', 'failed']),
      contact: id
        .optional()
        .describe('a test: which contact of the owner was tried; not needed where there is one of its means'),
      words: line(400).optional(),
      at: happened,
    }),
    make: async (desk, ticket, body: ContactSaid) => {
      if (body.about === 'ready' && ticket.snapshot.ticket.step !== 'ready')
        throw new Refusal('record-not-taken', { step: ticket.snapshot.ticket.step, what: 'a "ready" notice' })
      if (body.about !== 'test' && body.contact !== undefined) throw faulty(['/contact', 'is named for a test only'])
      if (body.about === 'test' && body.result !== 'sent') {
        if (body.means === 'in-person') throw faulty(['/means', 'is no contact that can be tested'])
        const ownerId = String(ticket.rows.ticket.owner_id)
        const means = body.means === 'registered-post' ? 'post' : body.means
        const tested = await contactTested(desk.tx, ownerId, means, body.contact)
        await recordTest(desk, ownerId, tested, body.result === 'delivered', body.words)
      }
      const { at, ...data } = body
      // the clock of what nobody fetches runs from a delivered "ready": there was none before the watch was
      const ready = ticket.records.findLast((record) => record.kind === 'move' && record.data.to === 'ready')
      const after = body.about === 'ready' && ready ? { at: ready.at, what: 'the watch was ready' } : null
      return { at: instantFrom(desk, ticket, at, { after }), data }
    },
    after: async (desk, ticket, body: { about: string; result: string }) => {
      if (body.about === 'delay' && body.result !== 'failed')
        await closePromiseTask(desk, ticket, 'the owner was told of the delay')
      if (body.about === 'ready' && body.result === 'delivered')
        await closeReadyTask(desk, ticket.snapshot.ticket.id, 'the owner was told')
    },
  },
  {
    path: 'payments',
    kind: 'payment',
    whileFrozen: true,
    roles: counter,
    // a business on credit pays after its watch has gone
    afterEnd: true,
    summary: 'Record a payment, a deposit, money returned, or credit to a business account',
    body: z.strictObject({
      amount: money,
      how: z.enum(['paid', 'deposit', 'returned', 'credit']),
      words: line(200).optional(),
    }),
    make: (_desk, ticket, body: { amount: { amount: number; currency: string }; how: string }) => {
      const { paidTotal } = ticket.snapshot
      const estimate = ticket.rows.estimates?.at(-1)
      const wanted = estimate?.currency ?? paidTotal?.currency
      if (wanted !== undefined && wanted !== body.amount.currency)
        throw faulty(['/amount/currency', `must be ${wanted}, as the ${estimate ? 'estimate' : 'payment before'}`])
      if (body.amount.amount === 0 && body.how !== 'credit')
        throw faulty(['/amount/amount', 'must be more than nothing'])
      if (body.how === 'returned' && body.amount.amount > (paidTotal?.amount ?? 0))
        throw faulty([
          '/amount/amount',
          `must be at most ${paidTotal?.amount ?? 0}: no more was received and not returned`,
        ])
      if (body.how === 'credit' && ticket.rows.owner.standing !== 'business-account')
        throw faulty(['/how', 'credit is for business accounts only'])
      return { data: { ...body, back: body.how === 'returned' } }
    },
  },
  {
    path: 'counter-arrivals',
    kind: 'at-counter',
    roles: counter,
    summary: 'Sign that the collector stands at the counter',
    body: z.strictObject({ collector: line(120) }),
  },
  {
    path: 'revocations',
    kind: 'revocation',
    whileFrozen: true,
    roles: counter,
    summary: 'The owner takes the yes back; what was done by then is payable',
    body: z.strictObject({
      person: line(120),
      how: z.enum(['in-person', 'signed', 'e-mail', 'phone']),
      words: line(400).optional(),
    }),
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
      if (!ticket.snapshot.answers.some((answer) => answer.version === body.version))
        throw faulty(['/version', 'has no answer to confirm'])
      return { data: body }
    },
  },
  {
    path: 'promises',
    kind: 'promise',
    whileFrozen: true,
    roles: counter,
    summary:
      'Record the one date that was promised, or a new one told before the old one passes; one earlier than the reckoned date is answered with a warning',
    body: z.strictObject({ on: day, words: line(200).optional() }),
    warn: ({ tx, today }, ticket, { on }: { on: Day }) => warningsAgainst(tx, today, ticket.snapshot.ticket.id, on),
    after: async (desk, ticket, body: { on: string }) => {
      await closePromiseTask(desk, ticket, `a new date was promised, ${body.on}`)
      await desk.tx
        .$executeRaw`update ticket set promised_on = ${body.on}::date, version = version + 1 where id = ${ticket.snapshot.ticket.id}::uuid`
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
