import fc from 'fast-check'
import { expect, test } from 'vitest'
import type { Day } from '../../../src/domain/day.ts'
import type { Override, Snapshot } from '../../../src/domain/tickets/snapshot.ts'
import { decideMove } from '../../../src/domain/tickets/walk.ts'
import { eur, mark, wholeTicket } from './whole.ts'

/**
 * Any record of a ticket, put together by chance, with any overrides anybody could have given: where the hand-over is
 * decided, the watch was tested after its last closing (or signed away), agreed, and compared as the right one. What
 * "tested" and "agreed" mean is worked out here in its own plain way.
 */
const moment = fc.integer({ min: 100, max: 180 })
const kinds = ['case-opened', 'seals-replaced', 'cell-fitted', 'cell-removed', 'movement-fitted'] as const
const gates = ['G1', 'G2', 'G3', 'G4', 'G5', 'G7', 'G10', 'G11', 'G12', 'G13', 'G15'] as const
const parts = [
  'water',
  'overpressure-dry',
  'pending-signature',
  'watch',
  'twin',
  'payment',
  'entitlement',
  'yes',
  'goodwill',
  'each-line',
  'lines',
  'complete',
  'check',
  'other-person',
  'signature',
] as const

const life = fc.record({
  openings: fc.array(fc.record({ seq: moment, kind: fc.constantFrom(...kinds) }), { maxLength: 3 }),
  closings: fc.array(moment, { maxLength: 3 }),
  tests: fc.array(
    fc.record({
      seq: moment,
      passed: fc.boolean(),
      bar: fc.constantFrom(2, 3, 5),
      counts: fc.boolean(),
      toolInDate: fc.boolean(),
    }),
    { maxLength: 4 },
  ),
  withdrawn: fc.option(fc.record({ ownerSigned: fc.boolean(), managerSigned: fc.boolean() })),
  claim: fc.constantFrom('rated' as const, 'plain' as const, 'unknown' as const, 'none' as const),
  versions: fc.integer({ min: 1, max: 3 }),
  answered: fc.integer({ min: 0, max: 3 }),
  revoked: fc.constantFrom(false, false, false, true),
  ceiling: fc.option(
    fc.record({ seq: fc.integer({ min: 15, max: 25 }), amount: fc.constantFrom(1000, 42_660, 50_000) }),
  ),
  tag: fc.constantFrom('19', '19', '19', '27'),
  matches: fc.constantFrom(true, true, true, false),
  twinAnswered: fc.constantFrom(true, true, true, false),
  overrides: fc.array(
    fc.record({
      gate: fc.constantFrom(...gates),
      part: fc.constantFrom(...parts),
      role: fc.constantFrom('manager' as const, 'final-checker' as const),
    }),
    { maxLength: 12 },
  ),
})

test('no record, however it came about, lets out a watch that was not tested, not agreed or not the right one', () => {
  let decided = 0
  fc.assert(
    fc.property(life, (l) => {
      const whole = wholeTicket()
      const t: Snapshot = {
        ...whole,
        openings: l.openings.map(({ seq, kind }) => ({ ...mark(seq, 'bert'), kind })),
        closings: l.closings.map((seq) => mark(seq, 'bert')),
        watch: { ...whole.watch, claim: l.claim },
        water: {
          ...whole.water,
          tests: l.tests.map((one) => ({ ...mark(one.seq), kind: 'overpressure-dry', toolDoubtful: false, ...one })),
          withdrawn: l.withdrawn ? { ...mark(185), ...l.withdrawn } : null,
        },
        // made before any work, so that only what is asked here differs
        versions: Array.from({ length: l.versions }, (_, i) => ({
          ...whole.versions[0]!,
          ...mark(20 + i),
          n: i + 1,
          total: eur(42_660 + i),
        })),
        answers: whole.answers.map((answer, i) => ({ ...answer, seq: 50 + i, version: l.answered })),
        revoked: l.revoked ? mark(90) : null,
        ceiling: l.ceiling ? { ...mark(l.ceiling.seq), amount: eur(l.ceiling.amount) } : null,
        release: { ...whole.release!, tagNumber: l.tag, watchMatches: l.matches, twinAnswered: l.twinAnswered },
        workers: new Map([['bert', '2026-11-24' as Day]]),
        overrides: l.overrides.map(
          (o, i): Override => ({ ...mark(900 + i, 'mona'), ...o, reason: 'hurry', lookedAt: null }),
        ),
      }
      if (!decideMove(t, 'handed-over', null).ok) return
      decided += 1
      const lastOpening = Math.max(0, ...l.openings.map((one) => one.seq))
      const lastClosing = Math.max(0, ...l.closings)
      const since = l.tests.map((one, i) => ({ ...one, i })).filter((one) => one.seq > lastClosing || lastClosing === 0)
      const newest = since.reduce<(typeof since)[number] | null>(
        (found, one) => (found === null || one.seq > found.seq ? one : found),
        null,
      )
      const tested =
        lastClosing > lastOpening &&
        newest !== null &&
        newest.passed &&
        newest.counts &&
        newest.toolInDate &&
        newest.bar >= 3
      const signedAway = l.withdrawn?.ownerSigned === true && l.withdrawn.managerSigned
      expect(l.openings.length === 0 || lastClosing > lastOpening, 'never with its case open').toBe(true)
      expect(l.openings.length === 0 || tested || signedAway || l.claim === 'none').toBe(true)
      // a goodwill override passes only a version that is not dearer: here each is dearer than the one before
      // agreed in advance: the newest version is within it, and so was every one made since
      const within = Array.from({ length: l.versions }, (_, i) => ({ seq: 20 + i, total: 42_660 + i })).every(
        ({ seq, total }, i) =>
          l.ceiling !== null && (total <= l.ceiling.amount || (seq < l.ceiling.seq && i + 1 < l.versions)),
      )
      expect(!l.revoked && (l.answered === l.versions || within)).toBe(true)
      expect([l.tag, l.matches, l.twinAnswered]).toEqual(['19', true, true])
    }),
    { numRuns: 3000 },
  )
  expect(decided).toBeGreaterThan(10)
})
