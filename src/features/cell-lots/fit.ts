import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { cellLifeMonths } from '../../domain/reckoning/cell-life.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { gradeOf, nextChangeOn } from '../../domain/stock/life.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { recordFacts } from '../facts/facts.ts'
import { replaceEvent } from '../facts/strikes.ts'
import { rulesInForce } from '../house-rules/house-rules.ts'
import { obligationsSummary, standingOf } from '../obligations/obligations.ts'
import { lockWatches } from '../obligations/rewrite.ts'
import { refuseFitting, writeEntry } from '../stock-entries/entries.ts'
import { type Lot, lockLots } from '../stock-entries/lots.ts'
import { lifeRulesOf, stockRulesOn } from '../stock-entries/rules.ts'
import { watchFor } from '../stock-entries/tickets.ts'
import { type ShortLife, signedShortLife } from './issue.ts'
import { type CellNeed, cellNeedOf } from './needs.ts'

export type CellFitting = {
  watchId: string
  ticketId?: string | undefined
  /** today where it is not given */
  on?: Day | undefined
  cells: readonly { lotId: string; pieces: number }[]
  consumptionMicroamps?: number | undefined
  shortLife?: ShortLife | undefined
}

type Fitted = { lot: Lot; pieces: number; grade: 'full-life' | 'short-life'; wantedId: string }

/**
 * Cells out at the bench go into a watch: the entries, the one cell-fitted fact of that day (earliest best-before,
 * smallest capacity, measured consumption) and the new dates of the watch are one transaction, the caller's. Every lot
 * is graded and tested for a block afresh, on the day of fitting.
 */
export async function fitCell(act: Act, input: CellFitting): Promise<Created> {
  const { tx, today } = act
  const on = input.on ?? today
  await watchFor(tx, input)
  const known = await lockWatches(tx, [input.watchId])
  if (!known.has(input.watchId)) throw new Refusal('not-found', { what: 'watch', id: input.watchId })
  const lots = await lockLots(
    tx,
    input.cells.map((cell) => cell.lotId),
    'cell',
  )
  const need = await cellNeedOf(tx, input.watchId, on)
  const life = lifeRulesOf(await stockRulesOn(tx, on))
  const signed = signedShortLife(act, input.shortLife)

  const fitted: Fitted[] = []
  for (const [index, { lotId, pieces }] of input.cells.entries()) {
    const pointer = `/cells/${index}`
    if (input.cells.findIndex((cell) => cell.lotId === lotId) !== index) {
      throw new Refusal('faulty-input', {}, [{ pointer: `${pointer}/lotId`, detail: 'is named twice' }])
    }
    const lot = lots.find((one) => one.id === lotId) as Lot
    refuseFitting(lot, pieces, on, today, `${pointer}/pieces`)
    const wantedId = await itemItFits(tx, need, lot)
    const bestBefore = lot.goodThrough as Day
    const grade = gradeOf(on, need.intervalMonths, bestBefore, life)
    if (grade === 'not-to-be-fitted' || lot.listedOn) throw new Refusal('lot-not-to-be-fitted', { lotId, bestBefore })
    if (grade === 'short-life' && signed === null && !(await signedAtIssue(tx, lotId, input))) {
      const nextChange = nextChangeOn(on, need.intervalMonths, bestBefore, life)
      throw new Refusal('short-life-unsigned', { lotId, bestBefore, nextChangeOn: nextChange })
    }
    fitted.push({ lot, pieces, grade, wantedId })
  }

  const given = input.cells.reduce((sum, cell) => sum + cell.pieces, 0)
  if (need.cells > 0 && given > need.cells) throw faulty(['/cells', `are ${given}; this watch takes ${need.cells}`])

  const stood = await standingOfCell(tx, input.watchId, on)
  const earlier = await fittedSameDay(tx, input.watchId, on)
  const ends = [...fitted.map((f) => f.lot.goodThrough as string), ...(earlier?.bestBefore ? [earlier.bestBefore] : [])]
  const capacities = [...fitted.map((f) => f.lot.capacityMah), ...(earlier ? [earlier.capacityMah] : [])]
  const capacity = capacities.every((c) => c !== null) ? Math.min(...(capacities as number[])) : undefined
  const consumption = input.consumptionMicroamps ?? earlier?.consumptionMicroamps ?? undefined
  const event = {
    event: 'cell-fitted' as const,
    on: on as never,
    source: 'own-record' as const,
    bestBefore: ends.sort()[0] as never,
    ...(capacity !== undefined && { capacityMah: capacity }),
    ...(consumption !== undefined && { consumptionMicroamps: consumption }),
  }
  const eventId = earlier
    ? await replaceEvent(
        act,
        input.watchId,
        earlier.id,
        event,
        'more cells were fitted on the same day; they are one fact',
      )
    : (await recordFacts(act, { events: [{ ...event, watchId: input.watchId, ticketId: input.ticketId }] })).eventIds[0]

  const entryIds: string[] = []
  for (const { lot, pieces, grade, wantedId } of fitted) {
    entryIds.push(
      await writeEntry(act, {
        lotId: lot.id,
        kind: 'fitted',
        pieces,
        on,
        ticketId: input.ticketId,
        watchId: input.watchId,
        eventId,
        wantedId,
        stood,
        grade,
        allowedBy: grade === 'short-life' ? signed : null,
        reason: input.shortLife?.note,
      }),
    )
  }
  const { rules } = await rulesInForce(tx, on)
  return {
    location: `/v1/watches/${input.watchId}/events`,
    body: {
      eventId: eventId as string,
      entryIds,
      grades: fitted.map((f) => f.grade),
      lifeMonths:
        capacity !== undefined && consumption !== undefined
          ? cellLifeMonths(capacity, consumption, rules.lifeSharePercent)
          : null,
      ...(await obligationsSummary(tx, input.watchId, today)),
    },
  }
}

/** The designation the watch asked for that this lot serves: its own, or one it is an approved substitute for. */
/** The item that a lot stands for in this watch. @throws designation-does-not-fit */
export async function itemItFits(db: Db, need: CellNeed, lot: Lot): Promise<string> {
  if (need.designation === null || need.designation === lot.name) return lot.itemId
  const [own] = await db.$queryRaw<{ id: string }[]>`
    select i.id from stock_item i join substitute s on s.item_id = i.id and s.withdrawn_on is null
    where i.what = 'cell' and i.name = ${need.designation} and s.substitute_id = ${lot.itemId}::uuid`
  if (!own) throw new Refusal('designation-does-not-fit', { wanted: lot.name, fits: need.designation })
  return own.id
}

/** Was this lot issued for this watch or ticket with the short-life signature? */
async function signedAtIssue(db: Db, lotId: string, { watchId, ticketId }: CellFitting): Promise<boolean> {
  const rows = await db.$queryRaw<{ one: number }[]>`
    select 1 as one from stock_entry e where e.lot_id = ${lotId}::uuid and e.kind = 'issued' and e.allowed_by is not null
      and (e.watch_id = ${watchId}::uuid or e.ticket_id = ${ticketId ?? null}::uuid)
      and e.strikes is null and not exists (select from stock_entry s where s.strikes = e.id) limit 1`
  return rows.length > 0
}

/** The stage its cell change stood in before this fitting: what the measured shares are made of. */
async function standingOfCell(db: Db, watchId: string, on: Day): Promise<string> {
  const row = await db.obligation.findUnique({ where: { watchId_kind: { watchId, kind: 'cell-change' } } })
  return row?.rule ? standingOf(row, on) : 'none'
}

type Earlier = {
  id: string
  bestBefore: string | null
  capacityMah: number | null
  consumptionMicroamps: number | null
}

async function fittedSameDay(db: Db, watchId: string, on: Day): Promise<Earlier | null> {
  const [row] = await db.$queryRaw<Earlier[]>`
    select v.id, v.best_before as "bestBefore", v.capacity_mah::float8 as "capacityMah", v.consumption_microamps::float8 as "consumptionMicroamps"
    from watch_event v where v.watch_id = ${watchId}::uuid and v.event = 'cell-fitted' and v.happened = ${on} and v.source = 'own-record'
      and not exists (select from strike s where s.fact_id = v.id) order by v.id desc limit 1`
  return row ?? null
}
