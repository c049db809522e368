import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import type { LocalSettingKey, LocalSettings } from '../../domain/local-settings.ts'
import type { ObligationKind } from '../../domain/reckoning/facts.ts'
import { type Drive, drives, type KindTally } from '../../domain/rehearsal.ts'
import type { WorkClassName } from '../../domain/tickets/classes.ts'
import { type Price, pricesOn } from '../prices/prices.ts'

/** The class of work a job of a kind falls into, by what drives the watch. */
const classOf: Readonly<Record<ObligationKind, Readonly<Record<Drive, WorkClassName>>>> = {
  'complete-service': { mechanical: 'three-hand', quartz: 'quartz' },
  'water-check': { mechanical: 'seals', quartz: 'seals' },
  'cell-change': { mechanical: 'cell', quartz: 'cell' },
  seals: { mechanical: 'seals', quartz: 'seals' },
}

/** Whether an operation of the price list is the job a kind asks for. */
const isJob: Readonly<Record<ObligationKind, (price: Price) => boolean>> = {
  'complete-service': (price) => price.completeService,
  'water-check': (price) => price.guarantee === 'water-test' && !price.completeService,
  'cell-change': (price) => price.guarantee === 'cell' && !price.completeService,
  seals: (price) => price.guarantee === 'seals' && !price.completeService,
}

const settingOf = {
  'complete-service': 'completeServiceMinutes',
  'water-check': 'waterCheckMinutes',
  'cell-change': 'cellChangeMinutes',
  seals: 'sealsMinutes',
} as const satisfies Record<ObligationKind, LocalSettingKey>

export type BenchRow = {
  kind: ObligationKind
  workClass: WorkClassName
  jobsBefore: number
  jobsAfter: number
  minutes: number | null
  minutesFrom: 'price-list' | 'local-setting' | null
  hoursBefore: number | null
  hoursAfter: number | null
}

/** Minutes of every operation that has any; parts take none of their own. */
export const operationsOn = async (db: Db, on: Day): Promise<Price[]> =>
  (await pricesOn(db, on)).filter((price) => !price.part && price.minutes > 0)

/**
 * Hands-on time of the jobs of one kind: the minutes of its operation in the price list, those of its class of work
 * before those of every class, and of several operations the longest, since a visit is not shorter than that; else what the house has set; else not known.
 */
export function benchOf(
  kind: ObligationKind,
  work: KindTally['work'],
  operations: readonly Price[],
  local: LocalSettings,
): BenchRow[] {
  const sums = new Map<WorkClassName, { before: number; after: number }>()
  for (const drive of drives) {
    const workClass = classOf[kind][drive]
    const sum = sums.get(workClass) ?? { before: 0, after: 0 }
    sums.set(workClass, { before: sum.before + work[drive].before, after: sum.after + work[drive].after })
  }
  return [...sums].map(([workClass, { before, after }]) => {
    const listed = listedMinutes(operations.filter(isJob[kind]), workClass)
    const minutes = listed ?? local[settingOf[kind]]
    const hours = (jobs: number) => (minutes === null ? null : Math.round((jobs * minutes) / 6) / 10)
    return {
      kind,
      workClass,
      jobsBefore: before,
      jobsAfter: after,
      minutes,
      minutesFrom: listed !== null ? 'price-list' : minutes !== null ? 'local-setting' : null,
      hoursBefore: hours(before),
      hoursAfter: hours(after),
    }
  })
}

function listedMinutes(jobs: readonly Price[], workClass: WorkClassName): number | null {
  const own = jobs.filter((price) => price.workClass === workClass)
  const found = own.length > 0 ? own : jobs.filter((price) => price.workClass === null)
  return found.length === 0 ? null : Math.max(...found.map((price) => price.minutes))
}

/** What would have to be said for the hours of a row to be known. */
export const missingOf = ({ kind, workClass }: BenchRow): string =>
  `${settingOf[kind]}, or the minutes of this operation for the class ${workClass} in the price list`
