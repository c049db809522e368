import type { Day } from '../../../src/domain/day.ts'
import { houseClassTable } from '../../../src/domain/readings/limits.ts'
import type { Mark, Snapshot } from '../../../src/domain/tickets/snapshot.ts'
import type { GateName, Step } from '../../../src/domain/tickets/steps.ts'

export const HOUR = 3_600_000
export const eur = (amount: number) => ({ amount, currency: 'EUR' })

/** A record of the given order; a minute passes between two of them. */
export const mark = (seq: number, by = 'anna'): Mark => ({ id: `r${seq}`, seq, at: seq * 60_000, by })

/**
 * A ticket of which every gate asks something and every gate is open: a come-back with a hazard, parts, an opened case
 * with a claim, readings. `broken` shuts one gate each and touches no other.
 */
export function wholeTicket(step: Step = 'ready', undone = false): Snapshot {
  const readings = (['full', 'after-24'] as const).flatMap((wind, i) =>
    ['CH', '6H'].map((position, j) => ({
      ...mark(200 + i * 2 + j),
      at: 200 * 60_000 + (i === 0 ? 2 : 26) * HOUR,
      wind,
      position,
      hoursSinceWound: i === 0 ? 2 : 26,
      values: { rate: 3, amplitude: 280, beatError: 0.3 },
      toolInDate: true,
      toolDoubtful: false,
    })),
  )
  return {
    now: 200 * 60_000 + 30 * HOUR,
    today: '2026-11-25' as Day,
    ticket: { id: 't', number: '19', step, side: null, ended: null, undone, comebackOf: 'earlier', steppedSeq: 300 },
    owner: { ...mark(1), known: true, reach: 'yes', deceased: false },
    watch: { ...mark(2), serial: 'A1', sizeMm: 38, claim: 'rated', lumeMayBeRadium: false },
    pictures: (['dial', 'back', 'crown-side', 'opposite-side', 'clasp'] as const).map((view, i) => ({
      ...mark(3 + i),
      view,
    })),
    finalPictures: (['dial', 'back', 'crown-side', 'opposite-side', 'clasp'] as const).map((view, i) => ({
      ...mark(240 + i, 'carl'),
      view,
    })),
    condition: { ...mark(10), marks: 2, clasp: 'there', agreed: 'owner' },
    declared: { ...mark(11), value: eur(90_000) },
    coverArranged: null,
    custody: [
      { ...mark(12), from: null, to: 'counter', holder: 'anna' },
      { ...mark(13), from: 'counter', to: 'safe', holder: 'bert' },
    ],
    hazards: [{ ...mark(14), kind: 'water-inside', over: false }],
    hazardConfirmed: { ...mark(15), benchMay: true },
    versions: [
      {
        ...mark(20),
        n: 1,
        total: eur(42_660),
        validUntil: '2026-12-25' as Day,
        lines: [
          {
            id: 'l1',
            what: 'complete service',
            part: false,
            priced: true,
            taxClassKnown: true,
            opensCase: true,
            pressureTest: false,
            requiredBy: null,
          },
          {
            id: 'l2',
            what: 'pressure test',
            part: false,
            priced: true,
            taxClassKnown: true,
            opensCase: false,
            pressureTest: true,
            requiredBy: 'l1',
          },
        ],
      },
    ],
    answers: ['l1', 'l2'].map((line, i) => ({
      ...mark(21 + i),
      version: 1,
      line,
      answer: 'yes' as const,
      on: '2026-11-25' as Day,
      entitled: true,
      how: 'signed' as const,
      total: eur(42_660),
      confirmedInWriting: false,
    })),
    revoked: null,
    ceiling: null,
    parts: [
      { ...mark(30), line: null, what: 'crystal', onHand: true, special: true, deposit: 'received', expectedOn: null },
    ],
    kit: {
      ...mark(31),
      lines: [],
      designationRight: true,
      cell: 'full',
      shortLifeNote: false,
      gasketsInLife: true,
      toolsInDate: true,
      benchHasSkill: true,
    },
    work: [
      { ...mark(101, 'bert'), line: 'l1', state: 'done', reason: null, endedAt: 101 * 60_000 },
      { ...mark(102), line: 'l2', state: 'struck', reason: 'the owner waived it', endedAt: 102 * 60_000 },
    ],
    seals: [
      { ...mark(103, 'bert'), position: 'case back', seen: 'hard' },
      { ...mark(103, 'bert'), at: 103 * 60_000 + 1, position: 'Case-back', seen: null },
    ],
    fitted: [{ ...mark(103, 'bert'), what: 'case-back gasket', lotKnown: true, because: null, recalled: false }],
    openings: [{ ...mark(100, 'bert'), kind: 'case-opened' }],
    closings: [{ ...mark(110, 'bert') }],
    water: {
      needed: ['overpressure-dry'],
      agreedBar: 3,
      withdrawn: null,
      tests: [
        {
          ...mark(120),
          kind: 'overpressure-dry',
          passed: true,
          bar: 3,
          counts: true,
          toolInDate: true,
          toolDoubtful: false,
        },
      ],
    },
    observation: {
      classKnown: true,
      classSaid: mark(12),
      movementWorked: true,
      asked: { kind: 'mechanical', positions: ['CH', '6H'], winds: ['full', 'after-24'], hours: 24 },
      started: { at: 200 * 60_000, seq: 199 },
      readings: { kind: 'mechanical', list: readings },
      tolerances: { source: 'house-class', ...houseClassTable.default['three-hand'] },
      powerReserveHours: 42,
      accepted: null,
    },
    finalCheck: { ...mark(250, 'carl'), passed: true, on: '2026-11-25' as Day, mayCheck: true },
    workers: new Map([['bert', '2026-11-25' as Day]]),
    struck: [],
    notices: [{ ...mark(310), kind: 'ready', state: 'delivered' }],
    atCounter: null,
    release: {
      ...mark(320),
      tagNumber: '19',
      watchMatches: true,
      picturesMatch: true,
      collectorEntitled: true,
      slip: 'shown',
      twinAnswered: true,
      looseReturned: ['bag 1'],
      papersShown: false,
    },
    twins: 1,
    loose: ['bag 1'],
    bill: eur(42_660),
    paid: [mark(321)],
    paidTotal: eur(42_660),
    creditAllowed: false,
    comeback: { ...mark(40), linesDecided: 2, linesAsked: 2, reasonsGiven: true },
    overrides: [],
    settings: {
      conditionLine: eur(100_000),
      coverPerItem: eur(500_000),
      phoneYesUpTo: eur(20_000),
      radiationRules: true,
      depositForSpecialOrders: true,
      sameCheckerNextDay: false,
    },
  }
}

/** For each gate one change of the record that shuts it, and it alone. */
export const broken: Readonly<Record<GateName, (t: Snapshot) => Snapshot>> = {
  G1: (t) => ({ ...t, owner: { ...t.owner, reach: 'no' } }),
  G2: (t) => ({ ...t, condition: { ...t.condition!, agreed: null } }),
  G3: (t) => ({ ...t, declared: { ...t.declared!, value: null } }),
  G4: (t) => ({ ...t, custody: [...t.custody, { ...mark(16), from: 'bench 2', to: 'safe', holder: 'bert' }] }),
  G5: (t) => ({ ...t, hazards: [...t.hazards, { ...mark(17), kind: 'leaking-cell', over: false }] }),
  G6: (t) => ({
    ...t,
    versions: t.versions.map((v) => ({ ...v, lines: v.lines.map((l) => ({ ...l, taxClassKnown: false })) })),
  }),
  G7: (t) => ({ ...t, answers: t.answers.slice(0, 1) }),
  G8: (t) => ({ ...t, parts: t.parts.map((p) => ({ ...p, onHand: false })) }),
  G9: (t) => ({ ...t, kit: { ...t.kit!, gasketsInLife: false } }),
  G10: (t) => ({ ...t, work: t.work.slice(0, 1) }),
  G11: (t) => ({ ...t, water: { ...t.water, tests: t.water.tests.map((test) => ({ ...test, bar: 2 })) } }),
  G12: (t) => ({
    ...t,
    observation: {
      ...t.observation,
      readings: { ...t.observation.readings, list: t.observation.readings.list.slice(1) },
    },
  }),
  G13: (t) => ({ ...t, workers: new Map([...t.workers, ['carl', '2026-11-25' as Day]]) }),
  G14: (t) => ({ ...t, notices: [], release: { ...t.release!, seq: 320 }, atCounter: null }),
  G15: (t) => ({ ...t, paid: [], paidTotal: null }),
  G16: (t) => ({ ...t, comeback: null }),
}
