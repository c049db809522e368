import { isAbove } from '../money.ts'
import { decided, type GateRule, looksAt, type Part, shut } from './gate-parts.ts'
import { lastWrittenSeq } from './gates-after.ts'
import { isWithdrawn, newestTests } from './gates-water.ts'
import type { Snapshot } from './snapshot.ts'

/** G14: "ready" was sent during this stay, or the collector stands at the counter. */
const told: GateRule = (t) => {
  const tellings = t.notices.filter((notice) => notice.seq > t.ticket.steppedSeq)
  const sent = tellings.filter((notice) => notice.state === 'sent' || notice.state === 'delivered')
  const here = t.atCounter !== null && t.atCounter.seq > t.ticket.steppedSeq
  return {
    parts: [
      decided(
        sent.length > 0 || here || releaseOf(t) !== null,
        'told',
        here || sent.length === 0 ? 'the collector is at the counter' : 'the owner was told that it is ready',
        tellings.some((notice) => notice.state === 'queued')
          ? 'the letter that it is ready has not gone out yet'
          : 'nobody was told that it is ready',
        'tell the owner and record it, or sign that the collector is at the counter',
        'nobody',
      ),
    ],
    ...looksAt(t.atCounter, ...t.notices),
  }
}

/**
 * Releases count for the present stay at "ready" only: after a way back to the bench everything is compared again. So it is
 * after any work, wherever it was done: tags are swapped on the way through the house.
 */
const releaseOf = (t: Snapshot) =>
  t.release && t.release.seq > t.ticket.steppedSeq && t.release.seq > lastWrittenSeq(t) ? t.release : null

/** G15: the right watch, to somebody entitled, paid, with everything that came with it. */
const handOver: GateRule = (t) => {
  const release = releaseOf(t)
  const marks = looksAt(t.release, t.owner, ...t.paid)
  if (!release) {
    return {
      parts: [
        shut(
          'watch',
          'tag, number and pictures were not compared',
          'compare tag, watch and pictures at the counter',
          'nobody',
        ),
      ],
      ...marks,
    }
  }
  const right = release.tagNumber === t.ticket.number && release.watchMatches && release.picturesMatch
  const missing = t.loose.filter((item) => !release.looseReturned.includes(item))
  const parts: Part[] = [
    decided(
      right,
      'watch',
      'tag, number and pictures are those of this watch',
      release.tagNumber === t.ticket.number
        ? 'the watch in hand does not match its number or pictures'
        : 'the tag is not the tag of this ticket',
      'stop: find the right watch and compare again; where its serial lies inside the case, say so and compare pictures and marks',
      'nobody',
    ),
    decided(
      t.twins === 0 || release.twinAnswered,
      'twin',
      t.twins === 0 ? 'no watch like it is in the house' : 'the twin warning was answered',
      `${t.twins === 1 ? 'another watch' : `${t.twins} other watches`} of the same look in the house, and the warning was not answered`,
      'compare number and pictures with the twin and answer the warning',
      'nobody',
    ),
    decided(
      release.collectorEntitled && release.slip === 'shown',
      'entitlement',
      'the collector is entitled and showed the slip',
      release.collectorEntitled
        ? 'the slip was not shown'
        : 'the collector is not on the list of those who may collect',
      'let an entitled person collect with the slip; for a lost slip a manager accepts identity, description and picture',
      'manager',
    ),
    payment(t),
    decided(
      missing.length === 0,
      'loose-items',
      'all that came with it goes with it',
      `not returned: ${missing.join(', ')}`,
      'return the loose items',
      'nobody',
    ),
  ]
  if (t.owner.deceased) {
    parts.push(
      decided(
        release.papersShown,
        'papers',
        'the papers of the heirs were shown',
        'the owner has died and no papers were shown',
        'wait for the papers of the heirs; the manager alone releases it',
        'nobody',
      ),
    )
  }
  if (t.openings.length > 0 && t.watch.claim !== 'none' && [...newestTests(t).values()].some((test) => !test.passed)) {
    parts.push(
      decided(
        isWithdrawn(t),
        'signature',
        'the owner signed that it is no longer to be treated as water-resistant',
        'the water test failed and the owner has not signed',
        'let the owner sign that it is no longer to be treated as water-resistant',
        'nobody',
      ),
    )
  }
  return { parts, ...marks }
}

function payment(t: Snapshot): Part {
  const owed = t.bill
  const paid = owed === null || owed.amount === 0 || (t.paidTotal !== null && isAbove(owed, t.paidTotal) === false)
  return decided(
    paid || t.creditAllowed,
    'payment',
    paid ? 'paid' : 'on credit, as agreed with this business',
    'the bill is not paid',
    'take the payment, or let a manager allow it',
    'manager',
  )
}

/** G16: for a watch that came back: each line of the earlier ticket decided, covered or not, with the reason. */
const comeback: GateRule = (t) => {
  if (t.ticket.comebackOf === null) return { notAsked: 'the watch did not come back under an earlier ticket' }
  const decision = t.comeback
  return {
    parts: [
      decided(
        decision !== null && decision.linesDecided >= decision.linesAsked && decision.reasonsGiven,
        'guarantee',
        'the guarantee was decided line by line',
        'the guarantee of the earlier ticket is not decided line by line with a reason',
        'decide each line of the earlier ticket, covered or not, and say why',
        'manager',
      ),
    ],
    ...looksAt(decision),
  }
}

export const handOverGates = { G14: told, G15: handOver, G16: comeback }
