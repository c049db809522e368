import type { Db } from '../../db/open.ts'
import { dateOf, dayFrom } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import type { ObligationKind } from '../../domain/reckoning/facts.ts'
import { Refusal } from '../../domain/refusals.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'

/**
 * What a visit costs, about, as letters say it: the whole visit, tax included. Where none is in force a letter says that
 * the price is told before anything is done.
 */
export type NewGuidePrice = {
  kind: ObligationKind
  from: Day
  until: Day
  amount: number
  currency: string
  takes: { from: number; to: number; unit: 'minutes' | 'days' | 'weeks' }
}

type Row = Awaited<ReturnType<Db['guidePrice']['findUniqueOrThrow']>>

const shown = (row: Row) => ({
  id: row.id,
  kind: row.kind,
  from: dayFrom(row.fromDay),
  until: dayFrom(row.untilDay),
  amount: Number(row.amount),
  currency: row.currency,
  takes: { from: row.takesFrom, to: row.takesTo, unit: row.takesUnit },
  recordedBy: row.recordedBy,
})

export async function addGuidePrice({ tx, today, who }: Act, input: NewGuidePrice): Promise<Created> {
  if (input.from < today) throw new Refusal('guide-price-in-past', { earliest: today })
  const faults = [
    ...(input.until < input.from ? [{ pointer: '/until', detail: 'lies before from' }] : []),
    ...(input.takes.to < input.takes.from ? [{ pointer: '/takes/to', detail: 'is less than takes.from' }] : []),
  ]
  if (faults.length > 0) throw new Refusal('faulty-input', {}, faults)
  const row = await tx.guidePrice.create({
    data: {
      kind: input.kind,
      fromDay: dateOf(input.from),
      untilDay: dateOf(input.until),
      amount: BigInt(input.amount),
      currency: input.currency,
      takesFrom: input.takes.from,
      takesTo: input.takes.to,
      takesUnit: input.takes.unit,
      recordedBy: who.name,
    },
  })
  return { location: '/v1/guide-prices', body: shown(row) }
}

export async function listGuidePrices(db: Db, after: readonly string[] | null, limit: number) {
  const rows = await db.guidePrice.findMany({
    where: after ? { id: { lt: String(after[0]) } } : {},
    orderBy: { id: 'desc' },
    take: limit + 1,
  })
  return rows.map(shown)
}
