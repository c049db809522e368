import { addDays, addMonths, type Day } from '../day.ts'
import { type HouseTable, numbers } from '../house-tables.ts'

/** A tool and the certificates it has had. A result found out of tolerance says that the tool was off when it came in. */
export type Certificate = {
  readonly id: string
  readonly on: Day
  readonly asFound: 'in-tolerance' | 'out-of-tolerance' | 'not-stated'
  readonly asLeft: 'in-tolerance' | 'out-of-tolerance'
  readonly months: number
}

const byDay = (certificates: readonly Certificate[]): Certificate[] =>
  certificates
    .map((c, i) => [c, i] as const)
    .sort((a, b) => (a[0].on < b[0].on ? -1 : a[0].on > b[0].on ? 1 : a[1] - b[1]))
    .map(([c]) => c)

/** Last day on which the tool is in calibration, inclusive; null where it has no certificate that left it in tolerance. */
export function validUntil(certificates: readonly Certificate[], on: Day): Day | null {
  const last = byDay(certificates)
    .filter((certificate) => certificate.on <= on)
    .at(-1)
  return last && last.asLeft === 'in-tolerance' ? addMonths(last.on, last.months) : null
}

/** From a daily check that failed to the day of the next that passed; `to` null while none has. */
export type FailedCheck = { readonly from: Day; readonly to: Day | null }

/** From the day after the due day its results open no gate; of a blocked tool or one that failed its daily check neither. */
export function isInDate(
  certificates: readonly Certificate[],
  failed: readonly FailedCheck[],
  on: Day,
  blocked: boolean,
): boolean {
  const until = validUntil(certificates, on)
  const failing = failed.some((check) => on >= check.from && (check.to === null || on < check.to))
  return !blocked && !failing && until !== null && on <= until
}

/**
 * The days whose results are in doubt because a certificate found the tool out of tolerance: from the last good
 * certificate before it to the day of the finding, both included. `from` is null where there never was a good one.
 */
export function doubtfulSpans(
  certificates: readonly Certificate[],
): { readonly certificate: string; readonly from: Day | null; readonly to: Day }[] {
  const ordered = byDay(certificates)
  return ordered.flatMap((found, i) => {
    if (found.asFound !== 'out-of-tolerance') return []
    const lastGood =
      ordered
        .slice(0, i)
        .filter((earlier) => earlier.asLeft === 'in-tolerance')
        .at(-1)?.on ?? null
    return [{ certificate: found.id, from: lastGood, to: found.on }]
  })
}

/** Day of the first reminder to the manager. */
export const reminderOn = (dueOn: Day, leadDays: number): Day => addDays(dueOn, -leadDays)

const firstMonths = {
  'pressure-tester': 12,
  'timing-machine': 12,
  'quartz-tester': 12,
  'torque-driver': 12,
  'hot-plate-thermometer': 24,
  'demagnetiser-check': 12,
  'radiation-meter': 12,
  scales: 12,
}
export type ToolKind = keyof typeof firstMonths
export type ToolMonths = Readonly<Record<ToolKind, number>>
export const toolKinds = Object.keys(firstMonths) as ToolKind[]
const monthsBounds = { min: 1, max: 240, unit: 'months', whole: true }

export const toolMonthsTable: HouseTable<ToolMonths> = {
  default: firstMonths,
  shape: `{ kind: whole months from 1 to 240 }; kinds: ${toolKinds.join(', ')}; a kind left out keeps its first value`,
  words: 'Months from one certificate to the next, by kind of tool, where neither tool nor certificate says otherwise',
  source: 'common practice of the trade, no source',
  read: numbers(firstMonths, {
    'pressure-tester': monthsBounds,
    'timing-machine': monthsBounds,
    'quartz-tester': monthsBounds,
    'torque-driver': monthsBounds,
    'hot-plate-thermometer': monthsBounds,
    'demagnetiser-check': monthsBounds,
    'radiation-meter': monthsBounds,
    scales: monthsBounds,
  }),
}
