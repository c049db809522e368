import type { Day } from '../../src/domain/day.ts'
import type { Book } from '../../src/features/imports/imports.ts'
import { cases } from './cases.ts'
import { firm, type Group, household, inventing } from './groups.ts'
import { firmNames } from './people.ts'

/** The whole book of the centre, in groups that hang together. */
export type Centre = {
  groups: readonly Group[]
  /** case → the groups that were made for it */
  cases: ReadonlyMap<string, readonly Group[]>
}

export type Size = {
  owners: number
  watches: number /** share of the times each nasty case is made, at least once */
  cases: number
}
export const wholeCentre: Size = { owners: 2100, watches: 3300, cases: 1 }

/** The same seed, day and size give the same centre, to the letter. */
export function inventCentre(seed: number, today: Day, size: Size = wholeCentre): Centre {
  const numbers = { owner: 0, watch: 0 }
  const made = new Map<string, Group[]>()
  for (const { name, times, make } of cases) {
    const invent = inventing(seed, name, today, numbers)
    const count = Math.max(1, Math.round(times * size.cases))
    made.set(
      name,
      Array.from({ length: count }, (_, nth) => make(invent, nth)),
    )
  }
  const business = inventing(seed, 'firms', today, numbers)
  const groups = [...made.values()].flat()
  for (const name of firmNames.slice(0, Math.max(1, Math.round(firmNames.length * size.cases))))
    groups.push(firm(business, name))
  const ordinary = inventing(seed, 'households', today, numbers)
  while (numbers.owner < size.owners || numbers.watch < size.watches) groups.push(household(ordinary))
  return { groups, cases: made }
}

export function bookOf(groups: readonly Group[]): Book {
  return { owners: groups.flatMap((group) => group.owners), watches: groups.flatMap((group) => group.watches) }
}

/** The groups in lots of about so many watches: each lot is one request, and one transaction. */
export function lotsOf(groups: readonly Group[], watches: number): Group[][] {
  const lots: Group[][] = []
  let lot: Group[] = []
  let count = 0
  for (const group of groups) {
    lot.push(group)
    count += group.watches.length
    if (count >= watches) {
      lots.push(lot)
      lot = []
      count = 0
    }
  }
  if (lot.length > 0) lots.push(lot)
  return lots
}

export const factsIn = (book: Book): number =>
  book.watches.reduce(
    (sum, watch) => sum + (watch.events?.length ?? 0) + (watch.wear?.length ?? 0) + (watch.notes?.length ?? 0),
    0,
  )
