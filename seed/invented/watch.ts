import { type Day, dayOfNumber, numberOfDay, type PartialDay } from '../../src/domain/day.ts'
import type { WatchKind, WearFacts } from '../../src/domain/reckoning/facts.ts'
import type { ImportedWatch } from '../../src/features/imports/imports.ts'
import type { Dice } from '../random.ts'
import { type Family, type InventedCalibre, ofFamily } from './calibres.ts'
import type { Language } from './people.ts'

/** The sorts of watch that come to this centre, of sixteen makers that do not exist. */
export type SortName =
  | 'everyday-quartz'
  | 'quartz-chronograph'
  | 'precise-quartz'
  | 'digital'
  | 'everyday-automatic'
  | 'slow-automatic'
  | 'automatic-diver'
  | 'quartz-diver'
  | 'dress'
  | 'old-hand-wound'
  | 'old-diver'
  | 'high-beat'
  | 'light-driven'
  | 'electric'
  | 'spring-quartz'

type Claim = { marked: 'none' | 'plain' | 'unknown' } | { marked: 'rated'; bar: number }
export type Sort = {
  name: SortName
  kind: WatchKind
  families: Family[]
  models: string[]
  claims: readonly (readonly [Claim, number])[]
  /** years in which they were made */
  made: [number, number]
  crystal: 'acrylic' | 'mineral' | 'sapphire'
  luminous: NonNullable<ImportedWatch['luminous']>
  /** how such watches are usually worn in water, where the owner was asked */
  water: readonly (readonly [NonNullable<WearFacts['water']>, number])[]
}

const none: Claim = { marked: 'none' }
const plainly: Claim = { marked: 'plain' }
const bar = (n: number): Claim => ({ marked: 'rated', bar: n })
const dry = [
  ['never', 6],
  ['now-and-then', 2],
  ['unknown', 2],
] as const
const mixed = [
  ['never', 3],
  ['now-and-then', 4],
  ['often', 1],
  ['in-water', 1],
  ['unknown', 2],
] as const
const wet = [
  ['diving', 2],
  ['often', 5],
  ['now-and-then', 3],
  ['in-water', 1],
  ['never', 1],
] as const

const sorts: readonly (readonly [Sort, number])[] = [
  [
    {
      name: 'everyday-quartz',
      kind: 'quartz',
      families: ['quartz', 'quartz', 'lithium-quartz'],
      models: ['Errand', 'Tuesday', 'Footpath', 'Small Talk'],
      claims: [
        [bar(3), 3],
        [bar(5), 4],
        [bar(10), 2],
        [plainly, 2],
        [none, 1],
      ],
      made: [2004, 2025],
      crystal: 'mineral',
      luminous: 'photoluminescent',
      water: mixed,
    },
    30,
  ],
  [
    {
      name: 'quartz-chronograph',
      kind: 'quartz',
      families: ['quartz-chronograph'],
      models: ['Third Lap', 'Towpath'],
      claims: [
        [bar(5), 2],
        [bar(10), 3],
      ],
      made: [2006, 2025],
      crystal: 'mineral',
      luminous: 'photoluminescent',
      water: mixed,
    },
    7,
  ],
  [
    {
      name: 'precise-quartz',
      kind: 'quartz',
      families: ['thermocompensated'],
      models: ['Steady Hand'],
      claims: [
        [bar(5), 1],
        [bar(10), 1],
      ],
      made: [2010, 2025],
      crystal: 'sapphire',
      luminous: 'none',
      water: mixed,
    },
    2,
  ],
  [
    {
      name: 'digital',
      kind: 'quartz',
      families: ['digital'],
      models: ['Signal Box'],
      claims: [
        [bar(10), 1],
        [bar(20), 1],
      ],
      made: [2012, 2025],
      crystal: 'mineral',
      luminous: 'none',
      water: wet,
    },
    2,
  ],
  [
    {
      name: 'everyday-automatic',
      kind: 'self-winding',
      families: ['self-winding'],
      models: ['Workbench', 'Long Way Home', 'Ninepence'],
      claims: [
        [bar(5), 3],
        [bar(10), 3],
        [plainly, 1],
      ],
      made: [1996, 2025],
      crystal: 'sapphire',
      luminous: 'photoluminescent',
      water: mixed,
    },
    18,
  ],
  [
    {
      name: 'slow-automatic',
      kind: 'self-winding',
      families: ['slow-self-winding'],
      models: ['Sunday Best', 'Hedgerow'],
      claims: [
        [bar(3), 2],
        [bar(5), 2],
        [plainly, 2],
        [none, 1],
      ],
      made: [1985, 2025],
      crystal: 'mineral',
      luminous: 'photoluminescent',
      water: mixed,
    },
    8,
  ],
  [
    {
      name: 'automatic-diver',
      kind: 'self-winding',
      families: ['self-winding', 'slow-self-winding'],
      models: ['Undertow', 'Pier Nine'],
      claims: [
        [bar(20), 4],
        [bar(30), 1],
      ],
      made: [1998, 2025],
      crystal: 'sapphire',
      luminous: 'photoluminescent',
      water: wet,
    },
    7,
  ],
  [
    {
      name: 'quartz-diver',
      kind: 'quartz',
      families: ['quartz'],
      models: ['Saltmarsh', 'Undertow Q'],
      claims: [[bar(20), 1]],
      made: [2002, 2025],
      crystal: 'mineral',
      luminous: 'photoluminescent',
      water: wet,
    },
    4,
  ],
  [
    {
      name: 'dress',
      kind: 'hand-wound',
      families: ['hand-wound'],
      models: ['Evensong', 'Quiet Hour'],
      claims: [
        [none, 4],
        [plainly, 3],
        [bar(3), 1],
      ],
      made: [1978, 2025],
      crystal: 'sapphire',
      luminous: 'none',
      water: dry,
    },
    7,
  ],
  [
    {
      name: 'old-hand-wound',
      kind: 'hand-wound',
      families: ['old-hand-wound'],
      models: ['Lamplighter', 'Old Parade', 'Milk Round'],
      claims: [
        [none, 4],
        [{ marked: 'unknown' }, 2],
      ],
      made: [1938, 1972],
      crystal: 'acrylic',
      luminous: 'unknown-old',
      water: dry,
    },
    6,
  ],
  [
    {
      name: 'old-diver',
      kind: 'self-winding',
      families: ['slow-self-winding'],
      models: ['Harbour Wall'],
      claims: [[bar(20), 1]],
      made: [1968, 1994],
      crystal: 'acrylic',
      luminous: 'tritium-paint',
      water: [
        ['now-and-then', 2],
        ['never', 2],
        ['unknown', 1],
      ],
    },
    2,
  ],
  [
    {
      name: 'high-beat',
      kind: 'self-winding',
      families: ['high-beat'],
      models: ['Hummingwheel'],
      claims: [
        [bar(5), 1],
        [bar(10), 2],
      ],
      made: [2009, 2025],
      crystal: 'sapphire',
      luminous: 'photoluminescent',
      water: mixed,
    },
    3,
  ],
  [
    {
      name: 'light-driven',
      kind: 'rechargeable-quartz',
      families: ['light-driven'],
      models: ['Windowsill', 'Greenhouse'],
      claims: [
        [bar(10), 3],
        [bar(20), 1],
      ],
      made: [2003, 2025],
      crystal: 'mineral',
      luminous: 'photoluminescent',
      water: mixed,
    },
    5,
  ],
  [
    {
      name: 'electric',
      kind: 'electric',
      families: ['electric'],
      models: ['Hearing Aid', 'Humdinger'],
      claims: [
        [none, 1],
        [plainly, 1],
      ],
      made: [1961, 1976],
      crystal: 'acrylic',
      luminous: 'unknown-old',
      water: dry,
    },
    2,
  ],
  [
    {
      name: 'spring-quartz',
      kind: 'spring-quartz',
      families: ['spring-quartz'],
      models: ['Glidewell'],
      claims: [[bar(10), 1]],
      made: [2008, 2025],
      crystal: 'sapphire',
      luminous: 'photoluminescent',
      water: mixed,
    },
    2,
  ],
]

export const makers =
  'Quenvar Brisselhof Tolmarre Nimbrell Ombrasco Velquort Skarrowby Dunmerle Pellovane Irrathen Castorvik Yondrelle Marrowfeld Thessaby Kolvenarde Uplandry'.split(
    ' ',
  )

export const anySort = (dice: Dice): Sort => dice.weighed(sorts)
export function sortOf(name: SortName): Sort {
  const found = sorts.find(([sort]) => sort.name === name)
  if (!found) throw new Error(`no sort of watch ${name}`)
  return found[0]
}

type Words = { metals: string[]; colours: string[]; dial: (metal: string, colour: string) => string }
/** "Small steel watch with the blue dial", in the words of the owner's language: letters name the watch by it. */
const words: Record<Language, Words> = {
  en: {
    metals: ['steel', 'gold-plated', 'titanium', 'two-tone'],
    colours: ['blue', 'black', 'white', 'silver', 'green'],
    dial: (m, c) => `${m} watch with the ${c} dial`,
  },
  de: {
    metals: ['Stahluhr', 'vergoldete Uhr', 'Titanuhr', 'zweifarbige Uhr'],
    colours: ['blauem', 'schwarzem', 'weissem', 'silbernem', 'grünem'],
    dial: (m, c) => `${m} mit ${c} Zifferblatt`,
  },
  fr: {
    metals: ['acier', 'plaqué or', 'titane', 'acier et or'],
    colours: ['bleu', 'noir', 'blanc', 'argenté', 'vert'],
    dial: (m, c) => `montre en ${m} au cadran ${c}`,
  },
  es: {
    metals: ['acero', 'chapado en oro', 'titanio', 'acero y oro'],
    colours: ['azul', 'negra', 'blanca', 'plateada', 'verde'],
    dial: (m, c) => `reloj de ${m} con esfera ${c}`,
  },
  pt: {
    metals: ['aço', 'plaqué de ouro', 'titânio', 'aço e ouro'],
    colours: ['azul', 'preto', 'branco', 'prateado', 'verde'],
    dial: (m, c) => `relógio em ${m} com mostrador ${c}`,
  },
}

/** "2019", "2019-06" or the day itself: known as well as such dates usually are. */
export function vaguely(
  dice: Dice,
  day: Day,
  share: { year: number; month: number } = { year: 0.3, month: 0.4 },
): PartialDay {
  const at = dice.next()
  return day.slice(0, at < share.year ? 4 : at < share.year + share.month ? 7 : 10) as PartialDay
}

export type Invented = { watch: ImportedWatch & { firstSeen: Day }; sort: Sort; calibre: InventedCalibre }

/** One watch of a sort, as it was booked in on the day it was first seen: no facts yet. `n` numbers the watches of the centre. */
export function inventWatch(
  dice: Dice,
  sort: Sort,
  n: number,
  firstSeen: Day,
  owner: { ref: string; language: Language },
): Invented {
  const maker = makers[(((sort.models[0]?.length ?? 0) * 3) % makers.length) + dice.whole(0, 2)] ?? dice.pick(makers)
  const calibre = dice.pick(ofFamily(dice.pick(sort.families)))
  const { metals, colours, dial } = words[owner.language]
  const lastYear = Math.min(sort.made[1], Number(firstSeen.slice(0, 4)) - 1)
  const firstYear = Math.min(sort.made[0], lastYear)
  const made = dayOfNumber(
    numberOfDay(`${firstYear}-01-01` as Day) + dice.whole(0, (lastYear - firstYear + 1) * 365 - 1),
  )
  const sold = dayOfNumber(Math.min(numberOfDay(made) + dice.whole(30, 700), numberOfDay(firstSeen)))
  const letter = 'ABCDEFGHJKLMNPRSTUVWXYZ'
  const old = sort.made[1] < 1995
  return {
    sort,
    calibre,
    watch: {
      ref: `watch-${n}`,
      owner: owner.ref,
      maker,
      model: dice.pick(sort.models),
      reference: `${letter[n % 23]}${dice.whole(10, 99)}.${dice.whole(100, 999)}`,
      // some numbers are worn away; the rest are stamped in all manners
      ...(dice.chance(old ? 0.25 : 0.03)
        ? {}
        : {
            serial: `${letter[(n * 7) % 23]}${dice.pick(['', ' ', '-'])}${100_000 + n * 7}${dice.pick(['', 'O', 'I', '-0'])}`,
          }),
      description: dial(dice.pick(metals), dice.pick(colours)),
      kind: sort.kind,
      display: sort.name === 'digital' ? 'digital' : 'analogue',
      waterClaim: dice.weighed(sort.claims),
      diameterMm: dice.whole(48, 86) / 2,
      crystal: sort.crystal,
      luminous: sort.luminous,
      ...(dice.chance(old ? 0.6 : 0.8) ? { made: vaguely(dice, made) } : {}),
      ...(dice.chance(old ? 0.1 : 0.6) ? { sold: vaguely(dice, sold) } : {}),
      ...(dice.chance(0.03) ? { doNot: ['no polish'] } : {}),
      firstSeen,
      calibre: calibre.name,
      ...(dice.chance(0.5) ? { movementSerial: `M${200_000 + n}` } : {}),
    },
  }
}
