import type { Day, PartialDay } from '../../src/domain/day.ts'
import type { DuePart, LetterPart } from '../../src/domain/notices/types.ts'
import type { LetterContents } from '../../src/letters/contents.ts'
import type { Language } from '../../src/letters/texts/sentences.ts'

/** Parts and contents to write letters from: an invented centre, owner and watches. */
export const WATCH = '0193aa00-0000-7000-8000-000000000001'
export const OTHER = '0193aa00-0000-7000-8000-000000000002'

const day = (text: string) => text as Day

export const due = (more: Partial<DuePart> = {}): DuePart => ({
  part: 'due',
  watchId: WATCH,
  recordId: 'owner',
  kind: 'cell-change',
  rule: 'usual',
  standing: 'coming-up',
  cycle: 'base:2024-12-10',
  round: day('2026-10-26'),
  stage: '1',
  books: true,
  skips: [],
  dueOn: day('2026-12-10'),
  reckonedDueOn: day('2026-12-10'),
  baseOn: day('2024-12-10'),
  baseFrom: 'own-record',
  months: 24,
  foldedUnder: null,
  bundled: false,
  wentOut: 'none',
  unsure: false,
  ...more,
})

export const contents = (
  parts: readonly LetterPart[],
  more: Partial<LetterContents> & { language?: Language } = {},
): LetterContents => ({
  language: 'en',
  runOn: day('2026-11-25'),
  comeBy: day('2026-12-10'),
  centre: {
    name: 'Lindholm Watch Service',
    address: 'Quay 4, 9000 Marrenhaven',
    phone: '+41 44 668 18 00',
    mail: 'letters@centre.example',
  },
  owner: { name: 'Nadia Ferrant', formOfAddress: 'Ms' },
  watches: {
    [WATCH]: {
      maker: 'Brackwater',
      model: 'Tidal 38',
      description: 'small steel watch with a blue dial',
      lastFour: '4417',
      kind: 'quartz',
      hazards: [],
      luminous: 'none',
    },
    [OTHER]: {
      maker: 'Ostrava & Sons',
      model: null,
      description: null,
      lastFour: null,
      kind: 'hand-wound',
      hazards: ['radium'],
      luminous: 'radium',
    },
  },
  bases: {},
  prices: {
    'cell-change': {
      amount: 3200,
      currency: 'CHF',
      until: day('2027-03-31'),
      takesFrom: 30,
      takesTo: 30,
      takesUnit: 'minutes',
    },
  },
  parts,
  ...more,
})

export const partial = (text: string) => text as PartialDay
