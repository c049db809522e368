import { type Db, dateOf, dayFrom } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import type { ObligationKind } from '../../domain/reckoning/facts.ts'
import { Refusal } from '../../domain/refusals.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { refuseFuture } from '../facts/facts.ts'
import { startReReckoning } from '../re-reckonings/re-reckonings.ts'
import type { DatesScope } from '../re-reckonings/scope.ts'

export type NewGuidance = {
  calibreId?: string | undefined
  maker?: string | undefined
  model?: string | undefined
  obligation: ObligationKind
  months: number
  upToMonths?: number | undefined
  conditions?: string | undefined
  inForceFrom: Day
  learned?: Day | undefined
  sourcePaper: string
}

/** Whom the maker's word is about, and the day it was learned; refuses what cannot be on file. */
export function readGuidance(input: Omit<NewGuidance, 'sourcePaper'>, today: Day): { scope: DatesScope; learned: Day } {
  const { calibreId, maker, model } = input
  const forModel = maker !== undefined || model !== undefined
  if (forModel === (calibreId !== undefined) || (forModel && !(maker && model)))
    throw new Refusal('faulty-input', {}, [
      { pointer: '', detail: 'must name either calibreId, or maker and model together' },
    ])
  if (input.upToMonths !== undefined && input.upToMonths < input.months)
    throw new Refusal('faulty-input', {}, [{ pointer: '/upToMonths', detail: 'must not be below months' }])
  refuseFuture('The day it was learned', input.learned, today, '/learned')
  return {
    scope: calibreId ? { of: 'calibre', calibreId } : { of: 'model', maker: maker ?? '', model: model ?? '' },
    learned: input.learned ?? today,
  }
}

/** What the maker says, for a calibre or a model; a newer word is a new row, and every watch it touches is reckoned again. */
export async function addGuidance(act: Act, input: NewGuidance): Promise<Created> {
  const { tx, today, who } = act
  const { scope, learned } = readGuidance(input, today)
  const row = await tx.guidance.create({
    data: {
      calibreId: input.calibreId ?? null,
      maker: input.maker ?? null,
      model: input.model ?? null,
      obligation: input.obligation,
      months: input.months,
      upToMonths: input.upToMonths ?? null,
      conditions: input.conditions ?? null,
      inForceFrom: dateOf(input.inForceFrom),
      learned: dateOf(learned),
      sourcePaper: input.sourcePaper,
      recordedBy: who.name,
    },
  })
  const reReckoning = await startReReckoning(act, { guidanceId: row.id }, scope, input.inForceFrom)
  return { location: '/v1/guidance', body: { ...shown(row), reReckoning } }
}

type Row = Awaited<ReturnType<Db['guidance']['findUniqueOrThrow']>>

const shown = (row: Row) => ({
  id: row.id,
  calibreId: row.calibreId,
  maker: row.maker,
  model: row.model,
  obligation: row.obligation,
  months: row.months,
  upToMonths: row.upToMonths,
  conditions: row.conditions,
  inForceFrom: dayFrom(row.inForceFrom),
  learned: dayFrom(row.learned),
  sourcePaper: row.sourcePaper,
  recordedBy: row.recordedBy,
})

export async function listGuidance(
  db: Db,
  filter: { calibreId?: string | undefined; maker?: string | undefined; model?: string | undefined },
  after: readonly string[] | null,
  limit: number,
) {
  const rows = await db.guidance.findMany({
    where: {
      ...(filter.calibreId && { calibreId: filter.calibreId }),
      ...(filter.maker && { maker: filter.maker }),
      ...(filter.model && { model: filter.model }),
      ...(after && { id: { gt: String(after[0]) } }),
    },
    orderBy: { id: 'asc' },
    take: limit + 1,
  })
  return rows.map(shown)
}
