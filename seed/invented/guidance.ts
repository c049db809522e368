import type { Day } from '../../src/domain/day.ts'
import type { NewGuidance } from '../../src/features/guidance/guidance.ts'
import { type Family, ofFamily } from './calibres.ts'

/** What the makers say: for a calibre by its name, or for a model. Some have changed their mind. */
export type Guidance = Omit<NewGuidance, 'calibreId'> & { calibre?: string }

const names = (family: Family) => ofFamily(family).map((calibre) => calibre.name)
const since = (day: string) => ({ inForceFrom: day as Day, learned: day as Day })
const service = (calibre: string | undefined, months: number, upToMonths?: number): Guidance => ({
  calibre: calibre ?? '',
  obligation: 'complete-service',
  months,
  ...(upToMonths !== undefined && { upToMonths }),
  ...since('2018-11-26'),
  sourcePaper: 'technical sheet of the movement',
})

const automatic = names('self-winding')
const slow = names('slow-self-winding')
const beating = names('high-beat')

export const guidance: readonly Guidance[] = [
  service(automatic[0], 60, 84),
  service(automatic[1], 72),
  service(automatic[2], 60, 120),
  service(slow[0], 48, 60),
  service(names('hand-wound')[0], 60),
  service(beating[0], 48),
  service(names('spring-quartz')[0], 60, 72),
  service(names('thermocompensated')[0], 120),
  service(names('light-driven')[0], 120),
  // lengthened: letters on the old date have been written, and are taken back
  service(automatic[3], 60),
  { ...service(automatic[3], 84), ...since('2025-07-01'), sourcePaper: 'circular of the maker, July 2025' },
  // shortened: nobody is called overdue for what the maker said yesterday
  service(slow[1], 84),
  { ...service(slow[1], 48), ...since('2026-10-01'), sourcePaper: 'circular of the maker, October 2026' },
  // said again with the same months: it is in force since the first time
  service(automatic[4], 60),
  { ...service(automatic[4], 60), ...since('2024-03-01'), sourcePaper: 'technical sheet, second edition' },
  // announced, not yet in force
  {
    ...service(beating[1], 60),
    inForceFrom: '2027-01-01' as Day,
    learned: '2026-11-10' as Day,
    sourcePaper: 'letter of the maker, November 2026',
  },
  {
    calibre: names('lithium-quartz')[0] ?? '',
    obligation: 'cell-change',
    months: 120,
    conditions: 'with the cell of the maker',
    ...since('2018-11-26'),
    sourcePaper: 'technical sheet of the movement',
  },
  {
    calibre: names('lithium-quartz')[1] ?? '',
    obligation: 'cell-change',
    months: 60,
    ...since('2018-11-26'),
    sourcePaper: 'technical sheet of the movement',
  },
  {
    calibre: names('quartz')[3] ?? '',
    obligation: 'cell-change',
    months: 30,
    upToMonths: 36,
    ...since('2021-05-01'),
    sourcePaper: 'technical sheet of the movement',
  },
  {
    maker: 'Tolmarre',
    model: 'Undertow',
    obligation: 'water-check',
    months: 6,
    upToMonths: 12,
    conditions: 'six months where it is dived with',
    ...since('2018-11-26'),
    sourcePaper: 'booklet of the watch',
  },
  {
    maker: 'Nimbrell',
    model: 'Pier Nine',
    obligation: 'water-check',
    months: 12,
    ...since('2020-02-01'),
    sourcePaper: 'booklet of the watch',
  },
  {
    maker: 'Quenvar',
    model: 'Saltmarsh',
    obligation: 'seals',
    months: 36,
    ...since('2019-06-01'),
    sourcePaper: 'booklet of the watch',
  },
]
