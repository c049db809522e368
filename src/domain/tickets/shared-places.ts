import { type Bounds, type HouseTable, rowsOfNumbers } from '../house-tables.ts'
import { type Load, loadOf } from './benches.ts'
import { type WorkClassName, workClassNames } from './classes.ts'
import type { Step } from './steps.ts'

/** Places that all benches share and where a queue stays unseen: what each watch takes of them, by class of work. */
export const sharedPlaces = ['washing-machine', 'timing-stand', 'winder', 'pressure-tester', 'hot-plate'] as const
export type SharedPlace = (typeof sharedPlaces)[number]
type Column = 'atOnce' | 'minutesADay' | WorkClassName
export type SharedPlaces = Readonly<Record<SharedPlace, Readonly<Partial<Record<Column, number>>>>>

const classes = (minutes: number, ...names: WorkClassName[]) => Object.fromEntries(names.map((name) => [name, minutes]))
const services = ['quartz', 'quartz-chronograph', 'thermocompensated', 'three-hand', 'chronograph', 'vintage'] as const
const mechanical = ['three-hand', 'chronograph', 'vintage'] as const

const first: SharedPlaces = {
  'washing-machine': { atOnce: 1, minutesADay: 480, ...classes(40, ...services) },
  'timing-stand': { atOnce: 1, minutesADay: 480, ...classes(20, ...mechanical) },
  winder: { atOnce: 6, minutesADay: 1440, ...classes(1440, ...mechanical) },
  'pressure-tester': { atOnce: 1, minutesADay: 480, ...classes(5, 'cell', 'seals', 'case', ...services) },
  'hot-plate': { atOnce: 1, minutesADay: 480, ...classes(15, 'seals', ...services) },
}

const minutes: Bounds = { min: 0, max: 10_080, unit: 'minutes', whole: true }
const bounds = {
  ...(Object.fromEntries(workClassNames.map((name) => [name, minutes])) as Record<WorkClassName, Bounds>),
  atOnce: { min: 0, max: 100, unit: 'watches', whole: true },
  minutesADay: { min: 0, max: 1440, unit: 'minutes', whole: true },
} satisfies Record<Column, Bounds>

export const sharedPlacesTable: HouseTable<SharedPlaces> = {
  default: first,
  shape: `{ place: { "atOnce": watches it takes at once, "minutesADay": minutes it can be used on a working day, class: minutes a watch takes, … } }; places: ${sharedPlaces.join(', ')}; a place left out keeps its first row, a class left out takes nothing there`,
  words: 'What the places that all benches share can take, and what a watch of each class of work takes of them',
  source:
    'common practice of the trade (a wash of 40 minutes, a dry test of 5, a hot plate of 10 to 20, 24 hours on the winder), no source; how many a house has is for the house to say',
  read: rowsOfNumbers(first, bounds, []),
}

/** Steps before which a place is still to be used: what is closed is washed no more. */
const before: Readonly<Record<SharedPlace, ReadonlySet<Step>>> = (() => {
  const open: readonly Step[] = ['ready-for-bench', 'on-the-bench']
  const closed = new Set<Step>([...open, 'closed'])
  const observed = new Set<Step>([...closed, 'under-observation'])
  return {
    'washing-machine': new Set(open),
    'timing-stand': observed,
    winder: observed,
    'pressure-tester': closed,
    'hot-plate': closed,
  }
})()

/** The load of each shared place by the watches at the benches and after them, in so many working days. */
export function placeLoads(
  watches: readonly { readonly step: Step; readonly workClass: WorkClassName | null }[],
  table: SharedPlaces,
  workingDays: number,
  tightPercent: number,
): readonly (Load & { place: SharedPlace; watches: number })[] {
  return sharedPlaces.map((place) => {
    const row = table[place]
    const taken = watches.flatMap(({ step, workClass }) => {
      const minutes = workClass === null || !before[place].has(step) ? 0 : (row[workClass] ?? 0)
      return minutes > 0 ? [minutes] : []
    })
    const needed = taken.reduce((sum, each) => sum + each, 0)
    const available = (row.atOnce ?? 0) * (row.minutesADay ?? 0) * workingDays
    return { place, watches: taken.length, ...loadOf(needed, available, tightPercent) }
  })
}

/**
 * Mean working days of a watch in the house: those in it by those leaving a day, whatever the benches say (a law of queues,
 * J. D. C. Little, Operations Research 9, 1961). Null where none has left.
 */
export const daysThroughTheHouse = (inTheHouse: number, left: number, workingDays: number): number | null =>
  left === 0 || workingDays === 0 ? null : Math.round((inTheHouse * workingDays * 10) / left) / 10
