import type { Money } from '../../domain/money.ts'
import { billOf } from '../../domain/tickets/estimate.ts'
import { agreedLines, newestVersion } from '../../domain/tickets/gates-yes.ts'
import type { Snapshot } from '../../domain/tickets/snapshot.ts'
import type { RecordRow, Rows } from './reading.ts'

/** What was paid, less what was returned; null where nothing was. */
export function paidOf(payments: readonly RecordRow[]): Money | null {
  const paid = payments.filter((record) => record.data.how !== 'credit')
  const first = paid[0]
  if (!first) return null
  const { currency } = first.data.amount as Money
  return {
    currency,
    amount: paid.reduce(
      (sum, record) => sum + (record.data.amount as Money).amount * (record.data.back === true ? -1 : 1),
      0,
    ),
  }
}

/** The bill: agreed lines that were done, less goodwill, never above what was agreed. Null where nothing was agreed. */
export function billFor(rows: Rows, snapshot: Snapshot): Money | null {
  const version = newestVersion(snapshot)
  const estimate = rows.estimates?.find((row) => row.n === version?.n)
  if (!estimate) return null
  // what was done before the owner took the yes back is payable
  const agreed = new Set(agreedLines({ ...snapshot, revoked: null }))
  const done = new Set(snapshot.work.filter((work) => work.state === 'done').map((work) => work.line))
  const goodwill = new Map<string, number>()
  for (const record of rows.records ?? []) {
    if (record.kind === 'goodwill' && record.line !== null) goodwill.set(record.line, record.data.amount as number)
  }
  const lines = (estimate.lines ?? []).filter((line) => agreed.has(line.id))
  const asLine = (line: (typeof lines)[number]) => ({
    id: line.id,
    quantity: line.quantity,
    unitPrice: line.unit_price ?? 0,
    taxClass: line.tax_class ?? '',
    taxRate: line.tax_rate ?? 0,
    choice: line.choice,
    requiredBy: line.required_by,
    goodwill: goodwill.get(line.id) ?? 0,
  })
  const most = billOf(
    lines.map((line) => ({ ...asLine(line), goodwill: 0 })),
    Number.MAX_SAFE_INTEGER,
    estimate.rounding,
  ).total
  const bill = billOf(lines.filter((line) => done.has(line.id)).map(asLine), most, estimate.rounding)
  return { amount: bill.total, currency: estimate.currency }
}
