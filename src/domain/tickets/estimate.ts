import { type Rounding, taxOn } from '../money.ts'

/** A line of an estimate. Prices are without tax, in minor units; rates of tax in hundredths of a percent. */
export type EstimateLine = {
  readonly id: string
  readonly quantity: number
  readonly unitPrice: number
  readonly taxClass: string
  readonly taxRate: number
  readonly choice: 'must' | 'should' | 'could'
  /** The line that cannot be done without this one: to refuse this is to refuse that. */
  readonly requiredBy: string | null
}

export type Totals = { readonly net: number; readonly tax: number; readonly total: number }

const netOf = (line: Pick<EstimateLine, 'quantity' | 'unitPrice'>): number => line.quantity * line.unitPrice

/**
 * Net, tax and total of lines. Per line: the tax of each line is rounded. Per total: the lines of a tax class are summed
 * and the tax of the sum is rounded, once for each rate. Halves up. The rule is frozen in the version.
 */
export function totalsOf(
  lines: readonly Pick<EstimateLine, 'quantity' | 'unitPrice' | 'taxRate' | 'taxClass'>[],
  rounding: Rounding,
): Totals {
  const net = lines.reduce((sum, line) => sum + netOf(line), 0)
  let tax = 0
  if (rounding === 'per-line') {
    for (const line of lines) tax += taxOn(netOf(line), line.taxRate)
  } else {
    const byClass = new Map<string, { net: number; rate: number }>()
    for (const line of lines) {
      const key = `${line.taxClass} ${line.taxRate}`
      byClass.set(key, { net: (byClass.get(key)?.net ?? 0) + netOf(line), rate: line.taxRate })
    }
    for (const { net: sum, rate } of byClass.values()) tax += taxOn(sum, rate)
  }
  return { net, tax, total: net + tax }
}

/** `by`: the line that leans on the faulty one; its name is known where the lines have names. */
export type AnswerFault = { readonly line: string; readonly detail: string; readonly by?: string }

/**
 * Faults of a set of answers to one version: a line that is not in it, one left out, and a line refused on which a line
 * said yes to depends. Refusing a must refuses what depends on it.
 */
export function answerFaults(
  lines: readonly EstimateLine[],
  answers: ReadonlyMap<string, 'yes' | 'no'>,
): AnswerFault[] {
  const faults: AnswerFault[] = []
  const known = new Map(lines.map((line) => [line.id, line]))
  for (const id of answers.keys())
    if (!known.has(id)) faults.push({ line: id, detail: 'is not a line of this version' })
  for (const line of lines) {
    if (answers.get(line.id) !== 'no' || line.requiredBy === null) continue
    if (answers.get(line.requiredBy) === 'yes') {
      faults.push({
        line: line.id,
        detail: 'cannot be refused alone: refuse with it what depends on it',
        by: line.requiredBy,
      })
    }
  }
  return faults
}

/** `requiredBy` must name another line of the version, and lead round in no circle. */
export function requirementFaults(lines: readonly EstimateLine[]): AnswerFault[] {
  const byId = new Map(lines.map((line) => [line.id, line]))
  return lines.flatMap((line): AnswerFault[] => {
    if (line.requiredBy === null) return []
    if (!byId.has(line.requiredBy)) return [{ line: line.id, detail: 'requiredBy names no line of this version' }]
    let at: EstimateLine | undefined = byId.get(line.requiredBy)
    for (let hops = 0; at && hops <= lines.length; hops++) {
      if (at.id === line.id) return [{ line: line.id, detail: 'requiredBy leads round in a circle' }]
      at = at.requiredBy === null ? undefined : byId.get(at.requiredBy)
    }
    return []
  })
}

/** Total of the lines said yes to, by the version's own rounding. */
export const agreedTotal = (lines: readonly EstimateLine[], yes: ReadonlySet<string>, rounding: Rounding): Totals =>
  totalsOf(
    lines.filter((line) => yes.has(line.id)),
    rounding,
  )

export type BillLine = EstimateLine & {
  /** Taken off the net of this line as goodwill; never more than the line. */
  readonly goodwill: number
}

/**
 * The bill: the agreed lines that were done, at the agreed prices or less, by the same rounding, and never above what was
 * agreed. With fewer lines or lower prices no rounding makes the total larger; the cap states it all the same.
 */
export function billOf(done: readonly BillLine[], agreed: number, rounding: Rounding): Totals {
  const reduced = done.map((line) => {
    const net = Math.max(0, netOf(line) - line.goodwill)
    return { quantity: 1, unitPrice: net, taxRate: line.taxRate, taxClass: line.taxClass }
  })
  const totals = totalsOf(reduced, rounding)
  if (totals.total <= agreed) return totals
  return { ...totals, tax: agreed - totals.net, total: agreed }
}

export type Paid = { readonly how: 'paid' | 'deposit' | 'returned' | 'credit'; readonly amount: number }

/** A deposit is the owner's until the watch is handed over: held till then, used by the bill on that day, or returned. */
export type Deposits = {
  readonly received: number
  readonly returned: number
  readonly held: number
  readonly used: number
}

/** `bill` of a watch that was handed over; null while it was not. Null where no deposit was taken. */
export function depositsOf(payments: readonly Paid[], bill: number | null): Deposits | null {
  const sum = (how: Paid['how']) => payments.reduce((all, one) => (one.how === how ? all + one.amount : all), 0)
  const received = sum('deposit')
  if (received === 0) return null
  // what was paid beyond the deposits is returned first of what is not one
  const returned = Math.min(received, Math.max(0, sum('returned') - sum('paid')))
  const used = bill === null ? 0 : Math.min(received - returned, bill)
  return { received, returned, used, held: received - returned - used }
}

/** What is still to be paid of an amount; below zero it is to be returned. */
export const balanceOf = (amount: number, paid: number): number => amount - paid

/**
 * What goes with a line where it is refused, in words to be shown with the answer; null where nothing depends on it. Who
 * refuses what a water test needs has no promise about water.
 */
export function ifRefused(
  lines: readonly {
    readonly id: string
    readonly what: string
    readonly requiredBy: string | null
    readonly pressureTest: boolean
  }[],
  id: string,
): string | null {
  const line = lines.find((one) => one.id === id)
  const lost: (typeof lines)[number][] = []
  for (let at = line; at?.requiredBy != null && lost.length < lines.length; ) {
    const next = lines.find((one) => one.id === at!.requiredBy)
    if (next) lost.push(next)
    at = next
  }
  if (!line || lost.length === 0) return null
  const names = lost.map((one) => `"${one.what}"`).join(' and ')
  const water = line.pressureTest || lost.some((one) => one.pressureTest)
  return `Without "${line.what}" we cannot do ${names}${water ? ', nor test or promise water resistance' : ''}.`
}
