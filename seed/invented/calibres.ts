import type { CalibreFields } from '../../src/features/calibres/calibres.ts'

/**
 * Seventy calibres of three movement makers that do not exist, named after birds. Their figures lie where such figures
 * usually lie (trade knowledge, no source); cells are
 * named by chemistry letter, size and suffix, as they are sold everywhere.
 */
export type Family =
  | 'self-winding'
  | 'slow-self-winding'
  | 'hand-wound'
  | 'old-hand-wound'
  | 'high-beat'
  | 'quartz'
  | 'quartz-chronograph'
  | 'lithium-quartz'
  | 'digital'
  | 'thermocompensated'
  | 'light-driven'
  | 'electric'
  | 'spring-quartz'

export type InventedCalibre = CalibreFields & { family: Family; capacityMah?: number }

const houses = ['Ordwin', 'Tessengale', 'Brackwater']
const birds =
  'Avocet Bittern Bunting Buzzard Chough Corncrake Curlew Dabchick Dipper Dotterel Dunlin Dunnock Fieldfare Finch Firecrest Fulmar Gannet Godwit Goldcrest Goosander Grebe Guillemot Harrier Heron Hobby Hoopoe Jackdaw Kestrel Kite Knot Lapwing Linnet Swallow Merlin Moorhen Nightjar Nuthatch Oriole Osprey Ouzel Peewit Petrel Pipit Plover Pochard Quail Rail Redpoll Redshank Redstart Ruff Sanderling Serin Shrike Siskin Skua Smew Snipe Sparrow Starling Stonechat Swift Tern Thrush Treecreeper Turnstone Twite Wagtail Warbler Whimbrel'.split(
    ' ',
  )

type Makings = {
  family: Family
  count: number
  make: (i: number) => Partial<CalibreFields> & Pick<CalibreFields, 'energy'> & { capacityMah?: number }
}

const mechanical = (beatsPerHour: number, jewels: number, lift: number, reserve: number, diameterMm: number) => ({
  energy: 'none' as const,
  beatsPerHour,
  jewels,
  liftAngleDegrees: lift,
  powerReserveHours: reserve,
  diameterMm,
})

const cells = [
  { cellDesignation: 'SR621SW', capacityMah: 23 },
  { cellDesignation: 'SR626SW', capacityMah: 28 },
  { cellDesignation: 'SR920SW', capacityMah: 45 },
  { cellDesignation: 'SR927W', capacityMah: 55 },
]
const cell = (i: number) => cells[i % cells.length] ?? { cellDesignation: 'SR626SW', capacityMah: 28 }

const quartz = {
  energy: 'primary-cell' as const,
  frequencyHertz: 32_768,
  inhibitionPeriodSeconds: 60,
  motorPulseSeconds: 1,
  cellCount: 1,
  workingVoltageMax: 1.3,
  endOfLifeSign: 'seconds jump every 4 s',
}

const makings: Makings[] = [
  {
    family: 'self-winding',
    count: 13,
    make: (i) => mechanical(28_800, 21 + (i % 6) * 2, 49 + (i % 5), 38 + i * 3, 25.6),
  },
  { family: 'slow-self-winding', count: 7, make: (i) => mechanical(i < 5 ? 21_600 : 25_200, 17 + i, 52, 40 + i, 27.4) },
  {
    family: 'hand-wound',
    count: 7,
    make: (i) => mechanical(i < 4 ? 21_600 : 28_800, 17, 50 + (i % 3), 42 + i * 2, 23.3),
  },
  {
    family: 'old-hand-wound',
    count: 9,
    make: (i) => mechanical(i < 8 ? 18_000 : 19_800, 15 + (i % 3), 44 + i, 36, 26 + i / 2),
  },
  { family: 'high-beat', count: 5, make: (i) => mechanical(i < 4 ? 36_000 : 43_200, 25 + i, 48, 50, 26) },
  {
    family: 'quartz',
    count: 10,
    make: (i) => ({ ...quartz, ...cell(i), jewels: i % 8, consumptionMaxMicroamps: 1.5 + (i % 3) / 4 }),
  },
  {
    family: 'quartz-chronograph',
    count: 5,
    make: (i) => ({ ...quartz, ...cell(i + 2), jewels: 5 + i, consumptionMaxMicroamps: 3 }),
  },
  {
    family: 'lithium-quartz',
    count: 2,
    make: () => ({
      ...quartz,
      cellDesignation: 'CR2016',
      capacityMah: 90,
      workingVoltageMax: 2.4,
      consumptionMaxMicroamps: 2.2,
      motorPulseSeconds: 20,
    }),
  },
  {
    family: 'digital',
    count: 2,
    make: () => ({
      ...quartz,
      cellDesignation: 'CR2025',
      capacityMah: 160,
      workingVoltageMax: 2.4,
      consumptionMaxMicroamps: 3.5,
      endOfLifeSign: 'display blinks',
    }),
  },
  {
    family: 'thermocompensated',
    count: 2,
    make: (i) => ({
      ...quartz,
      ...cell(i + 2),
      inhibitionPeriodSeconds: 960,
      thermocompensated: true,
      consumptionMaxMicroamps: 1.2,
    }),
  },
  {
    family: 'light-driven',
    count: 4,
    make: () => ({
      energy: 'rechargeable',
      frequencyHertz: 32_768,
      inhibitionPeriodSeconds: 60,
      motorPulseSeconds: 1,
      cellCount: 0,
      endOfLifeSign: 'seconds jump every 2 s',
    }),
  },
  {
    family: 'electric',
    count: 2,
    make: (i) => ({
      energy: 'primary-cell',
      beatsPerHour: i === 0 ? 18_000 : null,
      jewels: 17,
      cellCount: 1,
      cellDesignation: 'SR44W',
      capacityMah: 165,
      consumptionMaxMicroamps: 12,
      workingVoltageMax: 1.35,
    }),
  },
  {
    family: 'spring-quartz',
    count: 2,
    make: () => ({ energy: 'none', frequencyHertz: 32_768, jewels: 30, powerReserveHours: 72 }),
  },
]

export const calibres: readonly InventedCalibre[] = makings
  .flatMap(({ family, count, make }) => Array.from({ length: count }, (_, i) => ({ family, made: make(i) })))
  .map(({ family, made }, at) => ({ family, name: `${houses[at % houses.length]} ${birds[at]}`, ...made }))

export const ofFamily = (family: Family): InventedCalibre[] => calibres.filter((calibre) => calibre.family === family)

/** Without what is ours alone, as the use case takes it. */
export const onFile = ({ family: _, capacityMah: _c, ...fields }: InventedCalibre): CalibreFields => fields
