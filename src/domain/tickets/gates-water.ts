import { decided, type GateRule, looksAt, open, type Part, shut } from './gate-parts.ts'
import { isAfter, latest, type Snapshot, type TestKind } from './snapshot.ts'

type Test = Snapshot['water']['tests'][number]

/** The newest result of each kind of test since the case was last closed. */
export function newestTests(t: Snapshot): ReadonlyMap<TestKind, Test> {
  const closing = latest(t.closings)
  const found = new Map<TestKind, Test>()
  for (const test of t.water.tests) {
    if (closing && !isAfter(test, closing)) continue
    const earlier = found.get(test.kind)
    if (!earlier || isAfter(test, earlier)) found.set(test.kind, test)
  }
  return found
}

export const caseIsOpen = (t: Pick<Snapshot, 'openings' | 'closings'>): boolean => {
  const opening = latest(t.openings)
  const closing = latest(t.closings)
  return opening !== null && (closing === null || !isAfter(closing, opening))
}

/** One position, however it is written. */
export const positionKey = (position: string): string => position.toLowerCase().replace(/[^\p{L}\p{N}]+/gu, '')

/** Seals last seen otherwise than supple and not replaced since: no test counts before they are. */
export function sealsToReplace(t: Pick<Snapshot, 'seals'>): readonly Snapshot['seals'][number][] {
  const last = new Map<string, Snapshot['seals'][number]>()
  for (const seal of t.seals) {
    const key = positionKey(seal.position)
    const earlier = last.get(key)
    if (!earlier || isAfter(seal, earlier)) last.set(key, seal)
  }
  return [...last.values()].filter((seal) => seal.seen !== null && seal.seen !== 'supple')
}

/** As people at a counter say it. */
export const testWords: Readonly<Record<TestKind, string>> = {
  'vacuum-dry': 'vacuum test',
  'overpressure-dry': 'dry pressure test',
  'overpressure-wet': 'wet pressure test',
  immersion: 'immersion test',
  condensation: 'condensation test',
}

export const sealsInWords = (seals: readonly Snapshot['seals'][number][]): string =>
  seals
    .map(({ position, seen }) => `the seal at ${position} ${seen === 'set' ? 'has taken a set' : `is ${seen}`}`)
    .join(', ')

const positionsOf = (seals: readonly Snapshot['seals'][number][]): string =>
  seals.map((seal) => seal.position).join(' and at ')

/** The signed word of owner and manager that the watch is no longer to be treated as water-resistant. */
export const isWithdrawn = (t: Snapshot): boolean =>
  t.water.withdrawn?.ownerSigned === true && t.water.withdrawn.managerSigned

const waiver = 'owner and manager sign that it is no longer to be treated as water-resistant'

/**
 * G11: a case that was opened is closed, whatever the watch claims and whoever signed; nobody passes an open one. One with a
 * water claim (unknown counts as one) has passed, after that closing, each needed kind of test at the agreed pressure on a
 * tester in calibration; or owner and manager signed it away. A seal that was seen to be no longer supple is replaced before
 * any test counts.
 */
export const waterGate: GateRule = (t) => {
  if (t.openings.length === 0) return { notAsked: 'the case was not opened' }
  const opening = latest(t.openings)!
  const marks = looksAt(opening, latest(t.closings), t.water.withdrawn, ...t.seals, ...t.water.tests)
  const old = sealsToReplace(t)
  if (caseIsOpen(t)) {
    if (t.watch.claim === 'none' || isWithdrawn(t))
      return { parts: [shut('water', 'the case is open', 'close the case', 'nobody')], ...marks }
    const why = old.length === 0 ? 'the case is open' : `the case is open, and ${sealsInWords(old)}`
    const seals = old.length === 0 ? '' : `replace the seal at ${positionsOf(old)}, `
    const opens = `${seals}close the case, then let it pass the test, or ${waiver}`
    return { parts: [shut('water', why, opens, 'nobody')], ...marks }
  }
  if (t.watch.claim === 'none') return { notAsked: 'the watch makes no water claim, and its case is closed' }
  if (isWithdrawn(t)) return { parts: [open('water', 'signed: no longer to be treated as water-resistant')], ...marks }
  // a watch on its way back undone is not opened again
  const mend = (how: string) => (t.ticket.step === 'return-undone' ? waiver : `${how}, or ${waiver}`)
  const newest = newestTests(t)
  const failed = [...newest.values()].filter((test) => !test.passed)
  if (failed.length > 0) {
    const why = `failed since the case was closed: the ${failed.map((test) => testWords[test.kind]).join(' and the ')}`
    const opens = mend('open the case, mend it, close it and let it pass the test')
    const pending = `${opens}; until the owner signs, a manager may let it into "ready"`
    return { parts: [shut('pending-signature', why, pending, 'manager')], ...marks }
  }
  if (old.length > 0) {
    const why = `${sealsInWords(old)} and was not replaced, so no water test counts`
    const opens = mend(`open the case, replace the seal at ${positionsOf(old)}, close it and test it again`)
    return { parts: [shut('seals', why, opens, 'nobody')], ...marks }
  }
  if (t.water.agreedBar === null && t.water.needed.some((kind) => kind !== 'condensation')) {
    return { parts: [shut('water', 'no test pressure is agreed', 'agree the test pressure', 'nobody')], ...marks }
  }
  const parts: Part[] = t.water.needed.map((kind) => {
    const why = whyNotPassed(newest.get(kind), kind, t.water.agreedBar)
    return decided(
      why === null,
      kind,
      `the ${testWords[kind]} was passed after the last closing`,
      why ?? '',
      `let it pass the test, or ${waiver}`,
      'nobody',
    )
  })
  if (parts.length === 0)
    parts.push(shut('water', 'no kind of test is named for this watch', 'name the tests it needs', 'nobody'))
  return { parts, ...marks }
}

function whyNotPassed(test: Test | undefined, kind: TestKind, agreedBar: number | null): string | null {
  if (!test) return `there was no ${testWords[kind]} since the case was last closed`
  if (!test.counts) return `the ${testWords[kind]} was not made as such a test has to be made`
  if (!test.toolInDate) return `the ${testWords[kind]} was made on a tester out of calibration`
  if (test.toolDoubtful) return `the tester of the ${testWords[kind]} was since found out of tolerance`
  if (kind !== 'condensation' && kind !== 'immersion' && !reaches(test.bar, agreedBar)) {
    return `the ${testWords[kind]} was made at ${test.bar ?? 'no'} bar and ${agreedBar} bar is agreed`
  }
  return null
}

/** A test at a higher pressure of the same sign covers the agreed one; vacuum is a negative pressure. */
const reaches = (bar: number | null, agreed: number | null): boolean =>
  bar !== null && agreed !== null && (bar < 0 ? agreed > 0 || bar <= agreed : agreed >= 0 && bar >= agreed)
