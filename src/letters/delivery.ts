import { createHash, randomUUID } from 'node:crypto'
import type pg from 'pg'
import { gather } from './gather.ts'
import { type AtPoint, Fenced, type Outcome, type Outgoing, type Transport, tamed } from './outgoing.ts'
import type { Claim, Leases, Waits } from './statements.ts'
import * as sql from './statements.ts'

/**
 * Hands over what is queued, each letter by the fenced protocol:
 * claim with a lease → check again → connect, MAIL, RCPT, DATA → mark, after the 354 → body → sent, failed or in doubt.
 * A letter goes again by itself only if it is certain that no byte of its body left, if the relay answered 4yz, or if the
 * policy says so.
 */
/** `digest` is given where that of these bytes is on file already, with the contents. */
export type Ready = Outgoing & { messageId: string; digest?: Buffer }
export type Prepared = Ready | { cannot: string }

export type Refused = { noticeId: string; badAddress: string | null; response: string }

export type DeliveryOptions = {
  pool: pg.Pool
  transport: Transport
  /** the letters of these claims; what cannot be written fails with a reason */
  prepare: (claims: Claim[]) => Promise<Map<string, Prepared>>
  /** checked after the claim: the reasons, per notice, for which it may not go after all; a notice without an entry goes */
  withheld: (noticeIds: string[]) => Promise<Map<string, string[]>>
  /** told of a refusal for good, so that the counter hears of it; the address where it was refused and not the letter */
  onRefused?: (refusal: Refused) => Promise<void>
  /** called after letters were left in doubt, here or by a replica that died: each wants a person's look, once */
  tellDoubts?: () => Promise<void>
  policy: 'hold' | 'resend'
  /** an idempotent relay remembers its keys for a day; automatic re-sending ends well before that */
  resendSeconds?: number
  leases?: Leases
  waits?: Waits
  /** one claim of so many; else as many as the relay takes in half a second, so that the check before hand-over is fresh */
  batch?: number
  stop?: AbortSignal
  at?: AtPoint
  log?: { warn: (facts: object, text: string) => void; error: (facts: object, text: string) => void }
}

export type DeliveryCounts = Record<
  'sent' | 'failed' | 'putBack' | 'inDoubt' | 'withdrawn' | 'fenced' | 'swept',
  number
>

const RESEND_SECONDS = 20 * 3600
const FOR_EVER = 10 * 365 * 86_400
/** so many letters in a row that found no relay end the round; the rest wait for the next one */
const UNREACHABLE_LIMIT = 5
const LARGEST_BATCH = 200

function resendSecondsOf(options: Pick<DeliveryOptions, 'transport' | 'policy' | 'resendSeconds'>): number {
  if (options.transport.idempotent) return FOR_EVER
  return options.policy === 'resend' ? (options.resendSeconds ?? RESEND_SECONDS) : 0
}

/** One round: until the queue is empty, the relay is out of reach, or `stop`. Rounds of several replicas may run at once. */
export async function deliverDue(options: DeliveryOptions): Promise<DeliveryCounts> {
  const { pool, transport } = options
  const leases = options.leases ?? sql.LEASES
  const waits = options.waits ?? sql.WAITS
  const resendSeconds = resendSecondsOf(options)
  const leaseOwner = randomUUID()
  const counts: DeliveryCounts = { sent: 0, failed: 0, putBack: 0, inDoubt: 0, withdrawn: 0, fenced: 0, swept: 0 }
  const take = gather((steps: sql.Step[]) => sql.takeSteps(pool, leaseOwner, steps, leases))
  const least = transport.connections * 2
  const pace = { since: performance.now(), settled: 0, batch: options.batch ?? least }

  /** As many as were settled of late in half a second. */
  function nextBatch(): number {
    if (options.batch) return options.batch
    const seconds = (performance.now() - pace.since) / 1000
    if (pace.settled >= least && seconds > 0.05) {
      pace.batch = Math.min(LARGEST_BATCH, Math.max(least, Math.round((pace.settled / seconds) * 0.5)))
      pace.since = performance.now()
      pace.settled = 0
    }
    return pace.batch
  }

  const swept = await sql.sweep(pool, resendSeconds)
  counts.swept = swept.queued + swept.doubtful.length
  for (const noticeId of swept.doubtful) doubtful(noticeId)
  await options.tellDoubts?.()

  let unreachable = 0
  let dry = false
  const ready: { claim: Claim; letter: Ready; mark: sql.Mark }[] = []
  let refilling: Promise<void> | undefined

  const ended = () => dry || unreachable >= UNREACHABLE_LIMIT || options.stop?.aborted === true

  async function refill(): Promise<void> {
    const batch = nextBatch()
    const claims = await sql.claimDue(pool, leaseOwner, batch, leases)
    if (claims.length < batch) dry = true
    if (claims.length === 0) return
    for (const claim of claims) await options.at?.('after-claim', claim.id)
    const withheld = await options.withheld(claims.map((claim) => claim.id))
    const going = claims.filter((claim) => (withheld.get(claim.id) ?? []).length === 0)
    if (going.length < claims.length) {
      const withdrawals = claims
        .filter((claim) => !going.includes(claim))
        .map((claim) => ({ id: claim.id, attempt: claim.attempt, why: (withheld.get(claim.id) ?? []).join(', ') }))
      await sql.withdrawClaimed(pool, leaseOwner, withdrawals)
      counts.withdrawn += withdrawals.length
    }
    if (going.length === 0) return
    const letters = await options.prepare(going)
    for (const claim of going) {
      const letter = letters.get(claim.id) ?? { cannot: 'the letter could not be written' }
      if ('cannot' in letter) {
        await refused(claim, letter.cannot, null)
        continue
      }
      const digest = letter.digest ?? createHash('sha256').update(letter.raw).digest()
      if (claim.digest && !claim.digest.equals(digest) && (await sql.mayHaveArrived(pool, claim.id))) {
        await sql.holdInDoubt(
          pool,
          leaseOwner,
          claim,
          'an earlier try may have arrived, and the letter would read differently now',
        )
        counts.inDoubt++
        continue
      }
      const onFile = letter.digest ?? claim.digest
      const mark = { id: claim.id, attempt: claim.attempt, messageId: letter.messageId }
      ready.push({ claim, letter, mark: { ...mark, digest: onFile?.equals(digest) ? null : digest } })
    }
  }

  function doubtful(noticeId: string): void {
    options.log?.error({ noticeId }, 'a letter may or may not have been accepted: it is held in doubt')
  }

  /** The counter is told before the row is settled: a death in between costs a second telling, which changes nothing. */
  async function refused(claim: Claim, response: string, badAddress: string | null): Promise<void> {
    await options.onRefused?.({ noticeId: claim.id, badAddress, response })
    if (await sql.recordRefused(pool, leaseOwner, claim, response)) counts.failed++
    else counts.fenced++
  }

  async function settle(claim: Claim, to: string, outcome: Outcome): Promise<void> {
    if (outcome.kind !== 'not-transmitted') unreachable = 0
    switch (outcome.kind) {
      case 'accepted': {
        await options.at?.('after-reply', claim.id)
        if (await take({ sent: { id: claim.id, attempt: claim.attempt, response: outcome.response } })) counts.sent++
        else counts.fenced++
        await options.at?.('after-record', claim.id)
        return
      }
      case 'fenced':
        counts.fenced++
        return
      case 'unknown': {
        const state = await sql.recordUnknown(pool, leaseOwner, claim, outcome.error, resendSeconds, waits)
        if (state === 'in-doubt') {
          counts.inDoubt++
          doubtful(claim.id)
        } else if (state === 'queued') counts.putBack++
        else counts.fenced++
        return
      }
      case 'refused':
        if (outcome.permanent) return refused(claim, outcome.response, outcome.at === 'recipient' ? to : null)
        return putBack(claim, 'refused-for-now', outcome.response)
      case 'not-transmitted':
        unreachable++
        return putBack(claim, 'not-handed-over', outcome.error)
    }
  }

  async function putBack(claim: Claim, outcome: 'refused-for-now' | 'not-handed-over', detail: string): Promise<void> {
    const state = await sql.putBack(pool, leaseOwner, claim, { outcome, detail }, waits)
    if (state === 'queued') counts.putBack++
    else if (state === 'failed') {
      counts.failed++
      await options.onRefused?.({ noticeId: claim.id, badAddress: null, response: detail })
    } else counts.fenced++
  }

  async function worker(): Promise<void> {
    for (;;) {
      if (unreachable >= UNREACHABLE_LIMIT || options.stop?.aborted) return
      if (ready.length < pace.batch && !ended() && !refilling) {
        refilling = refill().finally(() => {
          refilling = undefined
        })
        // whoever needs it awaits it below; unobserved it must not end the process
        refilling.catch(() => {})
      }
      const next = ready.shift()
      if (!next) {
        if (!refilling) return
        await refilling
        continue
      }
      const { claim, letter, mark } = next
      const outcome = await transport.send(letter, async () => {
        if (!(await take({ mark }))) throw new Fenced()
      })
      await settle(claim, letter.to, outcome)
      pace.settled++
    }
  }

  try {
    // twice as many hands as connections: while one letter's result is recorded, the next is on the line
    const results = await Promise.allSettled(Array.from({ length: transport.connections * 2 }, worker))
    const broken = results.find((result) => result.status === 'rejected')
    if (broken) throw broken.reason
  } finally {
    if (ready.length > 0) {
      const wait = unreachable >= UNREACHABLE_LIMIT ? (waits.unreachable[0] ?? 60) : 0
      const left = ready.splice(0).map((one) => one.claim)
      await sql.releaseClaims(pool, leaseOwner, left, wait).catch((error) => {
        options.log?.warn({ error: tamed(String(error)) }, 'claims could not be given back; their lease will run out')
      })
    }
  }
  if (counts.inDoubt > 0) await options.tellDoubts?.()
  return counts
}
