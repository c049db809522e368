import { faulty } from '../../domain/refusals.ts'
import { type GuaranteeKind, usualGuaranteeMonths } from '../../domain/tickets/guarantee.ts'
import type { TicketRules } from '../../domain/tickets/rules.ts'
import { priceFor, pricesOn } from '../prices/prices.ts'
import type { Desk } from '../tickets/desk.ts'
import type { EstimateRow, LineRow, RecordRow } from '../tickets/reading.ts'
import type { Loaded } from '../tickets/snapshot.ts'

export type NewLine = {
  code?: string | undefined
  what?: string | undefined
  part?: boolean | undefined
  quantity?: number | undefined
  unitPrice?: number | null | undefined
  taxClass?: string | null | undefined
  choice?: 'must' | 'should' | 'could' | undefined
  /** index of the line that cannot be done without this one */
  requiredBy?: number | null | undefined
  /** left out: by the house rule for the kind of work */
  guaranteeMonths?: number | undefined
  guarantee?: GuaranteeKind | undefined
  /** a line of the earlier ticket whose guarantee covers this one: the owner pays nothing, the price is the house's cost */
  underGuaranteeOf?: string | undefined
  /** a line of the version before that this one repeats: it says what is left out, and what was done of it stays done */
  sameAs?: string | undefined
  opensCase?: boolean | undefined
  pressureTest?: boolean | undefined
  completeService?: boolean | undefined
}

/** The line of the version before that a new one repeats. */
export function repeatedLine({ sameAs }: NewLine, i: number, earlier: EstimateRow | undefined): LineRow | undefined {
  if (sameAs === undefined) return undefined
  const found = earlier?.lines?.find((line) => line.id === sameAs)
  if (!found) throw faulty([`/lines/${i}/sameAs`, 'is no line of the version before'])
  return found
}

/** What the new line leaves out is as it was. */
export function withRepeated(line: NewLine, before: LineRow | undefined): NewLine {
  if (!before) return line
  const guarantee =
    line.guarantee !== undefined || line.guaranteeMonths !== undefined || before.under_guarantee_of !== null
      ? {}
      : before.guarantee_kind !== null
        ? { guarantee: before.guarantee_kind }
        : { guaranteeMonths: before.guarantee_months }
  return {
    ...line,
    ...guarantee,
    code: line.code ?? before.code ?? undefined,
    what: line.what ?? before.what,
    part: line.part ?? before.part,
    quantity: line.quantity ?? before.quantity,
    choice: line.choice ?? before.choice,
    unitPrice: line.unitPrice === undefined ? (before.house_cost ?? before.unit_price) : line.unitPrice,
    taxClass: line.taxClass === undefined ? before.tax_class : line.taxClass,
    underGuaranteeOf: line.underGuaranteeOf ?? before.under_guarantee_of ?? undefined,
    opensCase: line.opensCase ?? before.opens_case,
    pressureTest: line.pressureTest ?? before.pressure_test,
    completeService: line.completeService ?? before.complete_service,
  }
}

/** The record by which a repeated line was done: it was agreed at its price then, and becomes no dearer by a new version. */
export function doneBefore(
  ticket: Loaded,
  line: FullLine,
  i: number,
  before: LineRow | undefined,
): RecordRow | undefined {
  if (!before) return undefined
  const record = ticket.records.findLast(
    (one) => one.kind === 'operation' && one.line === before.id && one.data.state === 'done',
  )
  const net = line.quantity * (line.unitPrice ?? 0)
  const most = before.quantity * (before.house_cost ?? before.unit_price ?? 0)
  if (record && (net > most || line.taxClass !== before.tax_class))
    throw faulty([
      `/lines/${i}/${line.taxClass === before.tax_class ? 'unitPrice' : 'taxClass'}`,
      `was agreed and done: as it stood in the version before, at ${most} without tax or less`,
    ])
  return record
}

type FullLine = Omit<NewLine, 'what' | 'unitPrice' | 'taxClass' | 'quantity' | 'choice'> & {
  what: string
  choice: 'must' | 'should' | 'could'
  quantity: number
  unitPrice: number | null
  taxClass: string | null
}

/** What a line leaves out comes from the price list of today, by its code and the class of work; what it says stands. */
export async function fromPriceList(
  desk: Desk,
  ticket: Loaded,
  lines: readonly NewLine[],
  currency: string,
): Promise<FullLine[]> {
  const asks = lines.some((line) => line.code !== undefined)
  const list = asks ? await pricesOn(desk.tx, desk.today) : []
  const workClass = (ticket.rows.ticket.work_class as string | null) ?? null
  return lines.map((line, i) => {
    const price = line.code === undefined ? null : priceFor(list, line.code, workClass)
    const { what = price?.what } = line
    const missing = (name: string) =>
      faulty([
        `/lines/${i}/${name}`,
        line.code === undefined
          ? 'is missing'
          : `is missing, and the price list of ${desk.today} has no "${line.code}" for this class of work`,
      ])
    if (what === undefined) throw missing('what')
    if (line.choice === undefined)
      throw faulty([`/lines/${i}/choice`, 'is missing: a line says whether it must, should or could be done'])
    if (line.unitPrice === undefined && price === null) throw missing('unitPrice')
    if (line.taxClass === undefined && price === null) throw missing('taxClass')
    if (line.unitPrice === undefined && price !== null && price.currency !== currency)
      throw faulty([
        `/lines/${i}/unitPrice`,
        `is missing: the price list has it in ${price.currency}, not in ${currency}`,
      ])
    const byList = price !== null && line.guaranteeMonths === undefined && line.underGuaranteeOf === undefined
    return {
      ...line,
      what,
      quantity: line.quantity ?? 1,
      choice: line.choice,
      unitPrice: line.unitPrice === undefined ? (price?.amount ?? null) : line.unitPrice,
      taxClass: line.taxClass === undefined ? (price?.taxClass ?? null) : line.taxClass,
      part: line.part ?? price?.part,
      opensCase: line.opensCase ?? price?.opensCase,
      pressureTest: line.pressureTest ?? price?.pressureTest,
      completeService: line.completeService ?? price?.completeService,
      guarantee: line.guarantee ?? (byList ? price.guarantee : undefined),
    }
  })
}

/** The months the owner is told: those the line names, else the house rule of today for its kind of work. */
export function guaranteeOf(line: FullLine, i: number, rules: TicketRules) {
  if (line.guaranteeMonths !== undefined) {
    if (line.guarantee !== undefined)
      throw faulty([`/lines/${i}/guarantee`, 'give either the months or the kind of work, not both'])
    return { guaranteeKind: null, guaranteeMonths: line.guaranteeMonths }
  }
  // work under the guarantee of an earlier line lengthens that one by the days in the house
  if (line.underGuaranteeOf !== undefined) return { guaranteeKind: null, guaranteeMonths: 0 }
  const kind =
    line.guarantee ??
    (line.completeService === true ? 'complete-service' : line.pressureTest === true ? 'water-test' : 'repair')
  return { guaranteeKind: kind, guaranteeMonths: usualGuaranteeMonths(kind, rules) }
}

/** Lines of the earlier ticket that were decided to be covered. */
export const coveredLines = (ticket: Loaded): ReadonlySet<string> =>
  new Set(
    (
      (ticket.records.findLast((record) => record.kind === 'comeback')?.data.lines ?? []) as {
        line: string
        covered: boolean
      }[]
    ).flatMap((decided) => (decided.covered ? [decided.line] : [])),
  )

/** What the owner pays for a piece, and what it costs the house where a guarantee covers it. */
export function priceOf(line: FullLine, i: number, covered: ReadonlySet<string>) {
  if (line.underGuaranteeOf === undefined) return { houseCost: null, underGuaranteeOf: null }
  if (!covered.has(line.underGuaranteeOf))
    throw faulty([
      `/lines/${i}/underGuaranteeOf`,
      'is no line of the earlier ticket that was decided to be covered; record the comeback decision first',
    ])
  if (line.unitPrice === null)
    throw faulty([`/lines/${i}/unitPrice`, 'is missing: say what it costs the house; the owner pays nothing'])
  return { unitPrice: 0, houseCost: line.unitPrice, underGuaranteeOf: line.underGuaranteeOf }
}

/** The line that cannot be done without this one; a repeated line leans as it did, where that line is repeated too. */
export function requirement(
  line: FullLine,
  i: number,
  ids: readonly string[],
  repeated: readonly (LineRow | undefined)[],
): string | null {
  if (line.requiredBy === null) return null
  if (line.requiredBy === undefined) {
    const leant = repeated[i]?.required_by ?? null
    return leant === null ? null : (ids[repeated.findIndex((other) => other?.id === leant)] ?? null)
  }
  const by = ids[line.requiredBy]
  if (by === undefined || line.requiredBy === i)
    throw faulty([`/lines/${i}/requiredBy`, 'must be the index of another line'])
  return by
}

export function rateOf(line: FullLine, i: number, rates: Readonly<Record<string, number>>): number | null {
  if (line.taxClass === null) return null
  // a name like "constructor" is found in any object
  const rate = Object.hasOwn(rates, line.taxClass) ? rates[line.taxClass] : undefined
  if (rate === undefined) throw faulty([`/lines/${i}/taxClass`, `must be one of ${Object.keys(rates).join(', ')}`])
  return rate
}
