import { describe, expect, it } from 'vitest'
import type { Day } from '../../../src/domain/day.ts'
import { judgeGate, mayOverride } from '../../../src/domain/tickets/gates.ts'
import { agreedLines } from '../../../src/domain/tickets/gates-yes.ts'
import type { Answer, Override, Snapshot, Version } from '../../../src/domain/tickets/snapshot.ts'
import { decideMove } from '../../../src/domain/tickets/walk.ts'
import { broken, eur, HOUR, mark, wholeTicket } from './whole.ts'

const state = (gate: Parameters<typeof judgeGate>[0], t: Snapshot) => judgeGate(gate, t).state
const override = (seq: number, gate: Override['gate'], part: string, role: Override['role'] = 'manager'): Override => ({
  ...mark(seq, 'mona'),
  gate,
  part,
  role,
  reason: 'the owner is waiting',
  lookedAt: null,
})

describe('G1 identity', () => {
  it('takes a watch without a serial by size, pictures and marks, and an owner who will call in', () => {
    const t = wholeTicket()
    expect(state('G1', { ...t, watch: { ...t.watch, serial: null } })).toBe('open')
    expect(state('G1', { ...t, watch: { ...t.watch, serial: null, sizeMm: null } })).toBe('shut')
    expect(state('G1', { ...t, watch: { ...t.watch, serial: null }, pictures: [] })).toBe('shut')
    expect(state('G1', { ...t, owner: { ...t.owner, reach: 'will-call-in' } })).toBe('open')
  })
})

describe('G2 condition', () => {
  it('wants the clasp only where there is one', () => {
    const t = wholeTicket()
    const noClasp = { ...t, pictures: t.pictures.filter((p) => p.view !== 'clasp') }
    expect(judgeGate('G2', noClasp).why).toContain('clasp')
    expect(state('G2', { ...noClasp, condition: { ...t.condition!, clasp: 'not-there' } })).toBe('open')
  })
  it.each([
    ['at the line', 100_000, 'manager'],
    ['above the line', 100_001, 'nobody'],
    ['of unknown value', null, 'nobody'],
  ])('%s may be passed by: %s → %s', (_, amount, by) => {
    const t = broken.G2(wholeTicket())
    const answer = judgeGate('G2', { ...t, declared: { ...t.declared!, value: amount === null ? null : eur(amount) } })
    expect(answer.parts.find((part) => !part.open)?.mayOverride).toBe(by)
  })
  it('stays shut above the line whatever override is on file', () => {
    const t = { ...broken.G2(wholeTicket()), overrides: [override(500, 'G2', 'agreed')] }
    expect(state('G2', t)).toBe('open')
    expect(state('G2', { ...t, declared: { ...t.declared!, value: eur(100_001) } })).toBe('shut')
  })
})

describe('G3 value', () => {
  it('stops where the cover for one item is not set, and above it wants the rule of the insurer', () => {
    const t = wholeTicket()
    expect(state('G3', { ...t, settings: { ...t.settings, coverPerItem: null } })).toBe('shut')
    const dear = { ...t, declared: { ...t.declared!, value: eur(500_001) } }
    expect(state('G3', dear)).toBe('shut')
    expect(state('G3', { ...dear, coverArranged: mark(50) })).toBe('open')
    const dearer = { ...dear, coverArranged: mark(50), declared: { ...dear.declared!, seq: 51 } }
    expect(state('G3', dearer), 'arranged for another value').toBe('shut')
  })
})

describe('G5 hazard', () => {
  it('counts unknown old lume, asks the local rules for radium, and wants a note newer than the hazard', () => {
    const t = { ...wholeTicket(), hazards: [{ ...mark(14), kind: 'unknown-old-lume' as const, over: false }] }
    expect(state('G5', t)).toBe('open')
    expect(state('G5', { ...t, settings: { ...t.settings, radiationRules: false } })).toBe('shut')
    expect(state('G5', { ...t, hazardConfirmed: { ...mark(13), benchMay: true } })).toBe('shut')
    expect(state('G5', { ...t, hazardConfirmed: { ...mark(15), benchMay: false } })).toBe('shut')
    expect(mayOverride({ ...t, hazardConfirmed: null }, 'G5', 'note', 'manager')).toMatchObject({
      ok: false,
      fault: 'nobody-may',
    })
  })
  it('is not asked for the return of an unopened watch', () => {
    const t = { ...wholeTicket('ready', true), hazardConfirmed: null }
    expect(state('G5', { ...t, openings: [], closings: [] })).toBe('not-asked')
    expect(state('G5', t)).toBe('shut')
  })
})

describe('G6 price', () => {
  it('demands a pressure test with the opening of a case with a claim', () => {
    const t = wholeTicket()
    const bare = { ...t, versions: t.versions.map((v) => ({ ...v, lines: v.lines.slice(0, 1) })) }
    expect(state('G6', bare)).toBe('shut')
    expect(state('G6', { ...bare, watch: { ...t.watch, claim: 'unknown' } })).toBe('shut')
    expect(state('G6', { ...bare, watch: { ...t.watch, claim: 'none' } })).toBe('open')
    expect(state('G6', { ...t, versions: t.versions.map((v) => ({ ...v, validUntil: null })) })).toBe('shut')
  })
})

describe('G7 the yes', () => {
  const t = wholeTicket()
  const version = (n: number, seq: number, total: number): Version => ({
    ...t.versions[0]!,
    ...mark(seq),
    n,
    total: eur(total),
  })
  const answer = (n: number, seq: number, line: string, more: Partial<Answer> = {}): Answer => ({
    ...t.answers[0]!,
    ...mark(seq),
    version: n,
    line,
    ...more,
  })

  it('is for this version only', () => {
    const next = { ...t, versions: [...t.versions, version(2, 60, 44_820)] }
    expect(state('G7', next)).toBe('shut')
    expect(agreedLines(next)).toEqual([])
    expect(mayOverride(next, 'G7', 'yes', 'manager')).toMatchObject({ ok: false, fault: 'nobody-may' })
  })
  it('may be passed by the manager as goodwill where the price goes down, never up', () => {
    const cheaper = { ...t, versions: [...t.versions, version(2, 60, 42_660)] }
    expect(mayOverride(cheaper, 'G7', 'goodwill', 'manager')).toMatchObject({ ok: true })
    expect(state('G7', { ...cheaper, overrides: [override(61, 'G7', 'goodwill')] })).toBe('open')
    const dearer = {
      ...t,
      versions: [...t.versions, version(2, 60, 42_661)],
      overrides: [override(61, 'G7', 'goodwill')],
    }
    expect(state('G7', dearer)).toBe('shut')
  })
  it('counts on the last day of validity and not on the day after', () => {
    const on = (day: string) => ({ ...t, answers: t.answers.map((a) => ({ ...a, on: day as Day })) })
    expect(state('G7', on('2026-12-25'))).toBe('open')
    expect(state('G7', on('2026-12-26'))).toBe('shut')
  })
  it('needs at least one yes, an answer to each line, and somebody entitled', () => {
    expect(state('G7', { ...t, answers: t.answers.map((a) => ({ ...a, answer: 'no' as const })) })).toBe('shut')
    expect(state('G7', { ...t, answers: t.answers.map((a) => ({ ...a, entitled: false })) })).toBe('shut')
    expect(state('G7', { ...t, answers: [answer(1, 21, 'l1'), answer(1, 22, 'l2', { answer: 'no' })] })).toBe('open')
  })
  it('wants a telephone yes above the amount confirmed, and stops where the amount is not set', () => {
    const phone = { ...t, answers: t.answers.map((a) => ({ ...a, how: 'phone' as const })) }
    expect(state('G7', phone)).toBe('shut')
    expect(state('G7', { ...phone, answers: phone.answers.map((a) => ({ ...a, confirmedInWriting: true })) })).toBe(
      'open',
    )
    expect(state('G7', { ...phone, settings: { ...t.settings, phoneYesUpTo: eur(42_660) } })).toBe('open')
    expect(state('G7', { ...phone, settings: { ...t.settings, phoneYesUpTo: null } })).toBe('shut')
  })
  it('is given by the ceiling for every version up to it, until one above it, a no, or a revocation', () => {
    const withCeiling = { ...t, answers: [], ceiling: { ...mark(5), amount: eur(45_000) } }
    expect(state('G7', withCeiling)).toBe('open')
    const dearer = { ...withCeiling, versions: [...t.versions, version(2, 60, 44_820)] }
    expect(state('G7', dearer)).toBe('open')
    expect(agreedLines(dearer)).toEqual(['l1', 'l2'])
    const above = { ...dearer, versions: [...dearer.versions, version(3, 61, 45_001)] }
    expect(state('G7', above)).toBe('shut')
    expect(
      state('G7', { ...above, versions: [...above.versions, version(4, 62, 40_000)] }),
      'it has ended for good',
    ).toBe('shut')
    expect(state('G7', { ...dearer, answers: [answer(1, 59, 'l2', { answer: 'no' })] })).toBe('shut')
    expect(state('G7', { ...dearer, revoked: mark(70) })).toBe('shut')
  })
  it('is taken back by a revocation and given again by a later answer', () => {
    const revoked = { ...t, revoked: mark(70) }
    expect(state('G7', revoked)).toBe('shut')
    expect(agreedLines(revoked)).toEqual([])
    expect(state('G7', { ...revoked, answers: [...t.answers, answer(1, 71, 'l1'), answer(1, 72, 'l2')] })).toBe('open')
  })
})

describe('parts of the estimate', () => {
  const t = wholeTicket()
  const part = { ...t.versions[0]!.lines[1]!, id: 'l3', what: 'Case-back gasket', part: true, requiredBy: null }
  const priced: Snapshot = {
    ...t,
    versions: t.versions.map((version) => ({ ...version, lines: [...version.lines, part] })),
    answers: [...t.answers, { ...t.answers[0]!, ...mark(23), line: 'l3' }],
  }
  it('are on hand only where somebody said so, whatever the list leaves out (G8)', () => {
    const found = judgeGate('G8', { ...priced, parts: [] })
    expect(found).toMatchObject({ state: 'shut', why: 'nobody has said whether it is on hand: Case-back gasket' })
    const listed = (line: string | null, what: string, onHand = true) =>
      state('G8', { ...priced, parts: [{ ...t.parts[0]!, line, what, onHand }] })
    expect(listed(null, 'crystal')).toBe('shut')
    expect(listed(null, 'case-back gasket')).toBe('open')
    expect(listed('l3', 'the gasket')).toBe('open')
    expect(listed('l3', 'the gasket', false)).toBe('shut')
    const refused = priced.answers.map((one) => (one.line === 'l3' ? { ...one, answer: 'no' as const } : one))
    expect(state('G8', { ...priced, parts: [], answers: refused }), 'not agreed').toBe('not-asked')
  })
  it('lie in the kit, which is checked anew for each version (G9)', () => {
    expect(judgeGate('G9', priced)).toMatchObject({ state: 'shut', why: 'not in the kit: Case-back gasket' })
    expect(state('G9', { ...priced, kit: { ...t.kit!, lines: ['l3'] } })).toBe('open')
    const next = { ...t.versions[0]!, ...mark(60), n: 2 }
    const later = {
      ...t,
      versions: [...t.versions, next],
      answers: t.answers.map((one) => ({ ...one, version: 2, seq: 61 })),
    }
    expect(judgeGate('G9', later)).toMatchObject({
      state: 'shut',
      why: 'the kit was checked before version 2 was made',
    })
    expect(state('G9', { ...later, kit: { ...t.kit!, ...mark(62) } })).toBe('open')
  })
})

describe('G9 kit', () => {
  it('lets a manager pass a short-life cell only with the note, and a dead one never', () => {
    const t = wholeTicket()
    const kit = (cell: 'short' | 'not-to-be-fitted', shortLifeNote: boolean) => ({
      ...t,
      kit: { ...t.kit!, cell, shortLifeNote },
    })
    expect(mayOverride(kit('short', false), 'G9', 'cell', 'manager').ok).toBe(false)
    expect(mayOverride(kit('short', true), 'G9', 'cell', 'manager').ok).toBe(true)
    expect(mayOverride(kit('not-to-be-fitted', true), 'G9', 'cell', 'manager').ok).toBe(false)
    expect(mayOverride(broken.G9(t), 'G9', 'gaskets', 'manager').ok).toBe(false)
  })
})

describe('G11 water', () => {
  it('counts no test before a seal that was found not supple is replaced', () => {
    const t = wholeTicket()
    const seen = (seal: (typeof t.seals)[number]['seen'], at: number, position = 'crown') => ({
      ...mark(at, 'bert'),
      position,
      seen: seal,
    })
    for (const condition of ['set', 'flattened', 'hard', 'cracked', 'swollen', 'missing'] as const) {
      const found = judgeGate('G11', { ...t, seals: [...t.seals, seen(condition, 104)] })
      expect(found).toMatchObject({ state: 'shut', parts: [{ part: 'seals', mayOverride: 'nobody' }] })
      expect(found.why).toContain('the seal at crown ')
      expect(found.opens[0]).toContain('replace the seal at crown')
    }
    expect(state('G11', { ...t, seals: [...t.seals, seen('supple', 104)] })).toBe('open')
    expect(state('G11', { ...t, seals: [...t.seals, seen('hard', 104), seen(null, 105)] })).toBe('open')
    expect(state('G11', { ...t, seals: [seen(null, 105), seen('hard', 106)] }), 'seen after the replacement').toBe(
      'shut',
    )
    expect(state('G11', { ...t, seals: [seen('hard', 104), seen(null, 105, 'case back')] }), 'another seal').toBe(
      'shut',
    )
  })

  const t = wholeTicket()
  it('arms itself again when the case is opened after its test', () => {
    expect(state('G11', t)).toBe('open')
    for (const kind of ['case-opened', 'seals-replaced', 'cell-fitted', 'cell-removed', 'movement-fitted'] as const) {
      const again = { ...t, openings: [...t.openings, { ...mark(400), kind }] }
      expect(judgeGate('G11', again), kind).toMatchObject({ state: 'shut', why: 'the case is open' })
      const closed = { ...again, closings: [...t.closings, mark(401)] }
      expect(state('G11', closed), 'closed and not tested').toBe('shut')
      const tested = {
        ...closed,
        water: { ...t.water, tests: [...t.water.tests, { ...t.water.tests[0]!, ...mark(402) }] },
      }
      expect(state('G11', tested)).toBe('open')
    }
  })
  it('counts an unknown claim as one, and asks nothing of a watch without claim or never opened', () => {
    expect(state('G11', { ...t, watch: { ...t.watch, claim: 'unknown' }, water: { ...t.water, tests: [] } })).toBe(
      'shut',
    )
    expect(state('G11', { ...t, watch: { ...t.watch, claim: 'none' }, water: { ...t.water, tests: [] } })).toBe(
      'not-asked',
    )
    expect(state('G11', { ...t, openings: [], closings: [], water: { ...t.water, tests: [] } })).toBe('not-asked')
  })
  it('is shut by an open case whatever the watch claims and whoever signed, and nobody may override that', () => {
    const open = { ...t, openings: [...t.openings, { ...mark(400), kind: 'case-opened' as const }] }
    const withdrawn = { ...mark(401), ownerSigned: true, managerSigned: true }
    for (const one of [
      { ...open, watch: { ...t.watch, claim: 'none' as const } },
      { ...open, water: { ...t.water, withdrawn } },
    ]) {
      expect(judgeGate('G11', one)).toMatchObject({ state: 'shut', why: 'the case is open', opens: ['close the case'] })
      expect(mayOverride(one, 'G11', 'water', 'manager')).toMatchObject({ ok: false, fault: 'nobody-may' })
      const overridden = { ...one, overrides: [override(500, 'G11', 'water')] }
      expect(decideMove(overridden, 'handed-over', null)).toMatchObject({ ok: false, gate: { gate: 'G11' } })
    }
    const closed = { ...open, closings: [...t.closings, mark(402)] }
    expect(state('G11', { ...closed, watch: { ...t.watch, claim: 'none' } })).toBe('not-asked')
    expect(state('G11', { ...closed, water: { ...t.water, withdrawn } })).toBe('open')
  })
  it('advises no opening to a watch on its way back undone, which is not opened again', () => {
    const failed = {
      ...wholeTicket('return-undone', true),
      water: { ...t.water, tests: [{ ...t.water.tests[0]!, passed: false }] },
    }
    for (const one of [
      failed,
      { ...failed, water: t.water, seals: [{ ...mark(105), position: 'crown', seen: 'hard' as const }] },
    ]) {
      const { opens } = judgeGate('G11', one)
      expect(opens.join()).toContain('sign that it is no longer')
      expect(opens.join()).not.toContain('open the case')
      const atTheBench = { ...one, ticket: { ...one.ticket, step: 'on-the-bench' as const } }
      expect(judgeGate('G11', atTheBench).opens.join()).toContain('open the case')
    }
  })
  it.each([
    ['at a lower pressure', { bar: 2.9 }],
    ['on a tester out of calibration', { toolInDate: false }],
    ['on a tester since found out of tolerance', { toolDoubtful: true }],
    ['not made as its kind asks', { counts: false }],
    ['failed', { passed: false }],
  ])('is shut by a test %s', (_, change) => {
    expect(state('G11', { ...t, water: { ...t.water, tests: [{ ...t.water.tests[0]!, ...change }] } })).toBe('shut')
  })
  it('is shut where another kind of test failed later, though the needed one passed', () => {
    const wet = { ...t.water.tests[0]!, ...mark(121), kind: 'overpressure-wet' as const, passed: false }
    expect(state('G11', { ...t, water: { ...t.water, tests: [...t.water.tests, wet] } })).toBe('shut')
  })
  it('lets a failed watch into ready pending the signature, which the hand-over then asks', () => {
    const failed = { ...t, water: { ...t.water, tests: [{ ...t.water.tests[0]!, passed: false }] } }
    expect(mayOverride(failed, 'G11', 'pending-signature', 'manager').ok).toBe(true)
    const pending = { ...failed, overrides: [override(500, 'G11', 'pending-signature')] }
    expect(
      decideMove({ ...pending, ticket: { ...pending.ticket, step: 'closed' } }, 'under-observation', null).ok,
    ).toBe(true)
    expect(decideMove(pending, 'handed-over', null)).toMatchObject({ ok: false, gate: { gate: 'G15' } })
    const signed = {
      ...pending,
      water: { ...pending.water, withdrawn: { ...mark(501), ownerSigned: true, managerSigned: true } },
    }
    expect(decideMove(signed, 'handed-over', null).ok).toBe(true)
    const half = {
      ...pending,
      water: { ...pending.water, withdrawn: { ...mark(501), ownerSigned: true, managerSigned: false } },
    }
    expect(decideMove(half, 'handed-over', null).ok).toBe(false)
  })
  it('has no override for a case that was not tested', () => {
    expect(mayOverride({ ...t, water: { ...t.water, tests: [] } }, 'G11', 'overpressure-dry', 'manager')).toMatchObject(
      { fault: 'nobody-may' },
    )
  })
})

describe('overrides', () => {
  it('end with a later fact that bears on the gate, and stand through one that does not', () => {
    const t = { ...broken.G13(wholeTicket()), overrides: [override(500, 'G13', 'other-person')] }
    expect(state('G13', t)).toBe('open')
    expect(state('G13', { ...t, paid: [mark(501)] })).toBe('open')
    // a test bears on the second pair of eyes without shutting anything by itself
    const tested = { ...t.water.tests[0]!, ...mark(502, 'bert') }
    const later = { ...t, water: { ...t.water, tests: [...t.water.tests, tested] } }
    expect(state('G13', later)).toBe('shut')
    expect(judgeGate('G13', later).why).toContain('it was overridden before')
    expect(judgeGate('G13', { ...later, overrides: [] }).why).not.toContain('overridden')
    expect(state('G13', { ...t, water: { ...t.water, tests: [...t.water.tests, { ...tested, seq: 499 }] } })).toBe(
      'open',
    )
  })
  it('are by the named role and for the named part', () => {
    const t = broken.G12(wholeTicket())
    expect(state('G12', { ...t, overrides: [override(500, 'G12', 'complete', 'manager')] })).toBe('shut')
    expect(state('G12', { ...t, overrides: [override(500, 'G12', 'complete', 'final-checker')] })).toBe('open')
    expect(mayOverride(t, 'G12', 'complete', 'manager')).toMatchObject({ ok: false, fault: 'wrong-role' })
    expect(mayOverride(t, 'G12', 'everything', 'final-checker')).toMatchObject({ ok: false, fault: 'no-such-part' })
    expect(mayOverride(t, 'G12', 'hours', 'final-checker')).toMatchObject({ ok: false, fault: 'already-open' })
  })
  it('do not exist for custody, hazard, the right watch, the twin and the papers', () => {
    const t = wholeTicket()
    const dead = { ...t, owner: { ...t.owner, deceased: true } }
    const tries: [Snapshot, Override['gate'], string][] = [
      [broken.G4(t), 'G4', 'custody'],
      [broken.G5(t), 'G5', 'note'],
      [{ ...t, release: { ...t.release!, tagNumber: '27' } }, 'G15', 'watch'],
      [{ ...t, release: { ...t.release!, twinAnswered: false } }, 'G15', 'twin'],
      [dead, 'G15', 'papers'],
    ]
    for (const [snapshot, gate, part] of tries) {
      expect(mayOverride(snapshot, gate, part, 'manager'), `${gate} ${part}`).toMatchObject({
        ok: false,
        fault: 'nobody-may',
      })
      expect(state(gate, { ...snapshot, overrides: [override(900, gate, part)] })).toBe('shut')
    }
  })
})

describe('G12 keeps time', () => {
  const t = wholeTicket()
  it('judges readings after the last work only', () => {
    expect(state('G12', { ...t, closings: [...t.closings, { ...mark(400), at: t.now }] })).toBe('shut')
  })
  it('is void where the reading lies past the power reserve', () => {
    const late = t.observation.readings.list.map((r) => (r.wind === 'after-24' ? { ...r, hoursSinceWound: 63 } : r))
    const friday = { ...t, observation: { ...t.observation, readings: { ...t.observation.readings, list: late } } }
    expect(state('G12', friday)).toBe('shut')
    expect(state('G12', { ...friday, observation: { ...friday.observation, powerReserveHours: 72 } })).toBe('open')
  })
  it('waits for the hours and stops where they are not set', () => {
    expect(state('G12', { ...t, now: t.observation.started!.at + 24 * HOUR - 1 })).toBe('shut')
    const unset = { ...t, observation: { ...t.observation, asked: { ...t.observation.asked!, hours: null } } }
    expect(judgeGate('G12', unset as Snapshot).why).toContain('not set')
  })
  it('takes values outside the tolerance when accepted by name after the readings', () => {
    const slow = t.observation.readings.list.map((r) => ({ ...r, values: { ...r.values, rate: -9 } }))
    const outside = { ...t, observation: { ...t.observation, readings: { ...t.observation.readings, list: slow } } }
    expect(judgeGate('G12', outside).why).toContain('mean rate')
    const accepted = (seq: number) => ({
      ...outside,
      observation: { ...outside.observation, accepted: { ...mark(seq, 'carl'), reason: 'worn pivots, told' } },
    })
    expect(state('G12', accepted(240))).toBe('open')
    expect(state('G12', accepted(150))).toBe('shut')
  })
  const unread = (classKnown: boolean, movementWorked: boolean, more: Partial<Snapshot> = {}): Snapshot => ({
    ...t,
    ...more,
    observation: { ...t.observation, asked: null, classKnown, movementWorked },
  })
  const untouched = { work: [], openings: [], closings: [], fitted: [] }
  it('is not asked where the class of work needs none', () => {
    expect(state('G12', unread(true, false))).toBe('not-asked')
    expect(state('G12', unread(false, false, untouched)), 'nothing was done').toBe('not-asked')
    expect(state('G12', unread(false, true, { ticket: { ...t.ticket, undone: true } })), 'undone').toBe('not-asked')
  })
  it.each([
    ['no class was named', unread(false, false)],
    ['it was opened only', unread(false, false, { ...untouched, openings: t.openings })],
    ['only an operation was done', unread(false, false, { ...untouched, work: t.work })],
    ['the class named asks nothing, and a complete service was done', unread(true, true)],
  ])('is shut by work of an unknown class: %s', (_, one) => {
    expect(judgeGate('G12', one)).toMatchObject({
      state: 'shut',
      parts: [{ part: 'class', mayOverride: 'final-checker' }],
      opens: ['record a look that names the class of the work that was done'],
    })
  })
  it.each([
    ['out of calibration or blocked', { toolInDate: false }],
    ['since found out of tolerance', { toolDoubtful: true }],
    ['with a beat error alone', { values: { rate: null, amplitude: null, beatError: 0.3 } }],
    ['without an amplitude', { values: { rate: 3, amplitude: null, beatError: 0.3 } }],
  ])('counts no reading %s', (_, change) => {
    const list = t.observation.readings.list.map((reading, i) => (i === 0 ? { ...reading, ...change } : reading))
    const one = { ...t, observation: { ...t.observation, readings: { ...t.observation.readings, list } } }
    const found = judgeGate('G12', one)
    expect(found).toMatchObject({ state: 'shut', why: expect.stringContaining('CH at full wind') })
    expect(found.why.includes('out of calibration, blocked or in doubt')).toBe(!('values' in change))
  })
})

describe('G13 second pair of eyes', () => {
  it('lets the same person check from the next calendar day where the house says so', () => {
    const t = broken.G13(wholeTicket())
    const house = { ...t, settings: { ...t.settings, sameCheckerNextDay: true } }
    expect(state('G13', house)).toBe('shut')
    expect(state('G13', { ...house, finalCheck: { ...t.finalCheck!, on: '2026-11-26' as Day } })).toBe('open')
    expect(state('G13', { ...t, finalCheck: { ...t.finalCheck!, on: '2026-11-26' as Day } })).toBe('shut')
  })
  it('wants the views of the booking-in taken again after the last work, and no others', () => {
    const t = wholeTicket()
    const without = { ...t, finalPictures: t.finalPictures.slice(1) }
    expect(judgeGate('G13', without)).toMatchObject({ state: 'shut', why: expect.stringMatching(/last work: dial$/) })
    expect(state('G13', { ...without, pictures: t.pictures.slice(1) }), 'the dial was not taken then either').toBe(
      'open',
    )
    const early = t.finalPictures.map((picture, i) => (i === 0 ? { ...picture, ...mark(105) } : picture))
    expect(state('G13', { ...t, finalPictures: early }), 'before the closing').toBe('shut')
    expect(mayOverride(without, 'G13', 'pictures', 'manager').ok).toBe(true)
  })
  it('wants a check that came after the last work', () => {
    const t = wholeTicket()
    expect(
      state('G13', {
        ...t,
        work: [...t.work, { ...mark(400, 'bert'), line: 'l3', state: 'done', reason: null, endedAt: 400 * 60_000 }],
      }),
    ).toBe('shut')
  })
})

describe('G15 hand-over', () => {
  const t = wholeTicket()
  it.each([
    ['another tag', { tagNumber: '27' }],
    ['other pictures', { picturesMatch: false }],
    ['the twin not answered', { twinAnswered: false }],
    ['somebody not entitled', { collectorEntitled: false }],
    ['no slip', { slip: 'not-shown' as const }],
    ['a loose item kept', { looseReturned: [] }],
  ])('is shut by %s', (_, change) => {
    expect(state('G15', { ...t, release: { ...t.release!, ...change } })).toBe('shut')
  })
  it('takes credit, a manager for payment and for a lost slip', () => {
    const unpaid = broken.G15(t)
    expect(state('G15', { ...unpaid, creditAllowed: true })).toBe('open')
    expect(state('G15', { ...unpaid, overrides: [override(500, 'G15', 'payment')] })).toBe('open')
    const lost = { ...t, release: { ...t.release!, slip: 'lost' as const } }
    expect(mayOverride(lost, 'G15', 'entitlement', 'manager').ok).toBe(true)
    expect(mayOverride(lost, 'G15', 'entitlement', 'final-checker').ok).toBe(false)
  })
  it('compares again after a way back to the bench', () => {
    expect(state('G15', { ...t, ticket: { ...t.ticket, steppedSeq: 330 } })).toBe('shut')
  })
  it('asks the papers where the owner has died', () => {
    const dead = { ...t, owner: { ...t.owner, deceased: true } }
    expect(state('G15', dead)).toBe('shut')
    expect(state('G15', { ...dead, release: { ...t.release!, papersShown: true } })).toBe('open')
  })
})
