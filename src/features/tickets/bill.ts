import type { Money } from '../../domain/money.ts'
import {
  agreedTotal,
  balanceOf,
  billOf,
  type Deposits,
  depositsOf,
  type EstimateLine,
  type Paid,
} from '../../domain/tickets/estimate.ts'
import { agreedLines } from '../../domain/tickets/gates-yes.ts'
import type { Snapshot } from '../../domain/tickets/snapshot.ts'
import type { EstimateRow, LineRow, RecordRow, Rows } from './reading.ts'

const asPaid = (payments: readonly RecordRow[]): Paid[] =>
  payments.map((record) => ({
    how: record.data.how as Paid['how'],
    amount: (record.data.amount as Money).amount,
  }))

/** Whether a deposit was received and not returned: what was received says so, not somebody's word. */
export const holdsDeposit = (payments: readonly RecordRow[]): boolean =>
  (depositsOf(asPaid(payments), null)?.held ?? 0) > 0

/** What was paid, less what was returned; null where nothing was. */
export function paidOf(payments: readonly RecordRow[]): Money | null {
  const paid = payments.filter((record) => record.data.how !== 'credit')
  const first = paid[0]
  if (!first) return null
  const { currency } = first.data.amount as Money
  return {
    currency,
    amount: asPaid(paid).reduce((sum, { how, amount }) => sum + (how === 'returned' ? -amount : amount), 0),
  }
}

export const asLine = (line: LineRow): EstimateLine => ({
  id: line.id,
  quantity: line.quantity,
  unitPrice: line.unit_price ?? 0,
  taxClass: line.tax_class ?? '',
  taxRate: line.tax_rate ?? 0,
  choice: line.choice,
  requiredBy: line.required_by,
})

/** Goodwill on a line so far: each word takes more off, and none puts anything back. */
export const goodwillOn = (records: readonly RecordRow[], line: string): number =>
  records.reduce(
    (sum, record) => (record.kind === 'goodwill' && record.line === line ? sum + (record.data.amount as number) : sum),
    0,
  )

const linesDone = (snapshot: Pick<Snapshot, 'work'>): ReadonlySet<string | null> =>
  new Set(snapshot.work.filter((work) => work.state === 'done').map((work) => work.line))

/**
 * The version that is billed: the newest under which something was agreed or done, a yes taken back since included, for what
 * was done before is payable. While a new version has no yes, and where it gets none, what was done is payable by the one
 * before; a new version that gets its yes says all that is to be paid, so that the fee of a first look is credited by it.
 */
export function billedVersion(rows: Rows, snapshot: Snapshot): EstimateRow | null {
  const carried = new Set(
    (rows.records ?? []).filter((one) => one.data.carriedFrom !== undefined).map((one) => one.line),
  )
  const done = linesDone(snapshot)
  const versions = [...(rows.estimates ?? [])].reverse()
  const counts = ({ n, lines }: EstimateRow): boolean =>
    (lines ?? []).some((line) => done.has(line.id) && !carried.has(line.id)) ||
    agreedLines({
      ...snapshot,
      revoked: null,
      versions: snapshot.versions.filter((version) => version.n <= n),
      answers: snapshot.answers.filter((answer) => answer.version <= n),
    }).length > 0
  return versions.find(counts) ?? versions[0] ?? null
}

/** The bill: the lines that were done, each of which was agreed then, less goodwill, never above what was agreed. Null without an estimate. */
export function billFor(rows: Rows, snapshot: Snapshot): Money | null {
  const estimate = billedVersion(rows, snapshot)
  if (!estimate) return null
  const agreed = new Set(agreedLines({ ...snapshot, revoked: null }))
  const done = linesDone(snapshot)
  const lines = estimate.lines ?? []
  const most = agreedTotal(
    lines.map(asLine),
    new Set(lines.flatMap(({ id }) => (agreed.has(id) || done.has(id) ? [id] : []))),
    estimate.rounding,
  ).total
  const bill = billOf(
    lines
      .filter((line) => done.has(line.id))
      .map((line) => ({ ...asLine(line), goodwill: goodwillOn(rows.records ?? [], line.id) })),
    most,
    estimate.rounding,
  )
  return { amount: bill.total, currency: estimate.currency }
}

export type Account = {
  /** what the lines come to that are agreed now; null where none is */
  readonly agreedTotal: Money | null
  readonly deposits: { readonly [K in keyof Deposits]: Money } | null
  /** what is still to be paid; below zero: what is to be returned */
  readonly balance: Money | null
}

/** How a ticket stands with money: what is agreed, the deposits, and what is still to be paid. */
export function accountOf(rows: Rows, snapshot: Snapshot): Account {
  const { bill, paidTotal, ticket } = snapshot
  const currency = (bill ?? paidTotal)?.currency
  if (currency === undefined) return { agreedTotal: null, deposits: null, balance: null }
  const money = (amount: number): Money => ({ amount, currency })
  const newest = rows.estimates?.at(-1)
  const agreed = new Set(agreedLines(snapshot))
  const total =
    newest && agreed.size > 0 ? agreedTotal((newest.lines ?? []).map(asLine), agreed, newest.rounding).total : null
  const payments = asPaid((rows.records ?? []).filter((record) => record.kind === 'payment'))
  const done = ticket.ended !== null || ticket.undone || ticket.step === 'ready'
  const deposits = depositsOf(payments, ticket.ended === 'handed-over' ? (bill?.amount ?? 0) : null)
  return {
    agreedTotal: total === null ? null : money(total),
    deposits:
      deposits === null
        ? null
        : {
            received: money(deposits.received),
            returned: money(deposits.returned),
            held: money(deposits.held),
            used: money(deposits.used),
          },
    balance: money(balanceOf(done ? (bill?.amount ?? 0) : (total ?? bill?.amount ?? 0), paidTotal?.amount ?? 0)),
  }
}
