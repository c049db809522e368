import { type Db, dateOf } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { gradeOf, nextChangeOn } from '../../domain/stock/life.ts'
import { canonicalDesignation } from '../../domain/stock/sizes.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { writeEntry } from '../stock-entries/entries.ts'
import { chooseOrRefuse, type Taken, takeOrRefuse } from '../stock-entries/issue.ts'
import { lockLot } from '../stock-entries/lots.ts'
import { lifeRulesOf, stockRulesOn } from '../stock-entries/rules.ts'
import { watchFor } from '../stock-entries/tickets.ts'
import { type CellNeed, cellNeedOf, refuseMisfit } from './needs.ts'

export type ShortLife = { ownerTold: true; note: string }
export type CellWant = { designation: string; pieces: number }

/** Short life needs the manager's own signature: the key that asks must be a manager's. */
export function signedShortLife({ who }: Pick<Act, 'who'>, shortLife: ShortLife | undefined): string | null {
  if (!shortLife) return null
  if (who.role !== 'manager') throw new Refusal('role-refused', { roles: ['manager'], role: who.role })
  return who.name
}

/** The items of the designations asked for, by name under any code; unknown ones are faults of the request. */
async function itemsWanted(
  db: Db,
  wants: readonly CellWant[],
  pointer = (index: number) => `/wants/${index}/designation`,
): Promise<{ itemId: string; name: string; pieces: number }[]> {
  const names = wants.map((want) => canonicalDesignation(want.designation))
  const items = await db.stockItem.findMany({ where: { what: 'cell', name: { in: names } } })
  const faults: [string, string][] = []
  const found = wants.map((want, index) => {
    const item = items.find((one) => one.name === names[index])
    if (!item) faults.push([pointer(index), `is not on file as a designation (${names[index]})`])
    if (names.indexOf(names[index] as string) !== index) faults.push([pointer(index), 'is asked for twice'])
    return { itemId: item?.id ?? '', name: names[index] as string, pieces: want.pieces }
  })
  if (faults.length > 0) throw faulty(...faults)
  return found
}

export type CellIssue = {
  watchId?: string | undefined
  ticketId?: string | undefined
  wants?: CellWant[] | undefined
  intervalMonths?: number | undefined
  shortLife?: ShortLife | undefined
}

const shownTaken = (taken: readonly Taken[]) =>
  taken.map((t) => ({
    entryId: t.entryId,
    lotId: t.lotId,
    itemId: t.itemId,
    wantedId: t.wantedId,
    pieces: t.pieces,
    bestBefore: t.goodThrough as Day,
    grade: t.grade,
    nextChangeOn: t.nextChangeOn,
  }))

/** Takes cells from the shelf to the bench for a watch, or for a ticket that names none yet. */
export async function issueCells(act: Act, input: CellIssue): Promise<Created> {
  const { tx, today } = act
  const rules = await stockRulesOn(tx, today)
  const watchId = await watchFor(tx, input)
  const need = watchId ? await cellNeedOf(tx, watchId, today) : null
  const wants = input.wants ?? ownWants(need)
  const items = await itemsWanted(tx, wants)
  if (need) refuseMisfit(need, items)
  const taken = await takeOrRefuse(act, {
    kind: 'issued',
    what: 'cell',
    wants: items,
    intervalMonths: need?.intervalMonths ?? input.intervalMonths ?? rules.ageingMonths,
    rules: lifeRulesOf(rules),
    shortLifeBy: signedShortLife(act, input.shortLife),
    ticketId: input.ticketId,
    watchId,
    reason: input.shortLife?.note,
  })
  return { body: { cells: shownTaken(taken) } }
}

function ownWants(need: CellNeed | null): CellWant[] {
  if (!need?.designation || need.cells === 0) {
    throw faulty(['/wants', 'is needed: the calibre of the watch does not say which cell it takes'])
  }
  return [{ designation: need.designation, pieces: need.cells }]
}

/** A cell over the counter: a full-life lot in the same order, by the designation's own interval. */
export async function sellLoose(
  act: Act,
  input: { designation: string; pieces: number; note?: string | undefined },
): Promise<Created> {
  const { tx, today } = act
  const rules = await stockRulesOn(tx, today)
  const items = await itemsWanted(tx, [input], () => '/designation')
  const item = await tx.stockItem.findUniqueOrThrow({ where: { id: items[0]?.itemId ?? '' } })
  const taken = await takeOrRefuse(act, {
    kind: 'sold-loose',
    what: 'cell',
    wants: items,
    intervalMonths: item.ageingMonths ?? rules.ageingMonths,
    rules: lifeRulesOf(rules),
    shortLifeBy: null,
    reason: input.note,
  })
  return { body: { cells: shownTaken(taken) } }
}

export type NewReservation = {
  watchId?: string | undefined
  ticketId?: string | undefined
  plannedOn: Day
  wants?: CellWant[] | undefined
  shortLife?: ShortLife | undefined
}

/**
 * Keeps pieces of the lot that would be issued on the planned day; they stay on the shelf and are no longer available.
 * All wants or none; the lot is chosen by the same order as an issue, graded for the planned day.
 */
export async function reserveCells(act: Act, input: NewReservation): Promise<Created> {
  const { tx, today, who } = act
  if (input.plannedOn < today) throw faulty(['/plannedOn', `must not lie before today, ${today}`])
  const rules = await stockRulesOn(tx, today)
  const watchId = await watchFor(tx, input)
  const need = watchId ? await cellNeedOf(tx, watchId, today) : null
  const items = await itemsWanted(tx, input.wants ?? ownWants(need))
  if (need) refuseMisfit(need, items)
  const chosen = await chooseOrRefuse(
    { ...act, today: input.plannedOn },
    {
      what: 'cell',
      wants: items,
      intervalMonths: need?.intervalMonths ?? rules.ageingMonths,
      rules: lifeRulesOf(rules),
      shortLifeBy: signedShortLife(act, input.shortLife),
    },
  )
  const reservations = []
  for (const { lotId, wantedId, pieces, grade, goodThrough } of chosen) {
    await tx.$executeRaw`update stock_lot set reserved = reserved + ${pieces} where id = ${lotId}::uuid`
    const row = await tx.reservation.create({
      data: {
        lotId,
        wantedId,
        pieces,
        plannedOn: dateOf(input.plannedOn),
        intervalMonths: need?.intervalMonths ?? rules.ageingMonths,
        grade,
        ticketId: input.ticketId ?? null,
        watchId: watchId ?? null,
        madeBy: who.name,
      },
    })
    reservations.push({ id: row.id, lotId, wantedId, pieces, grade, bestBefore: goodThrough as Day })
  }
  return { body: { plannedOn: input.plannedOn, reservations } }
}

async function heldReservation({ tx }: Pick<Act, 'tx'>, id: string) {
  const reservation = await tx.reservation.findUnique({ where: { id } })
  if (!reservation) throw new Refusal('not-found', { what: 'reservation', id })
  const lot = await lockLot(tx, reservation.lotId, 'cell')
  const held = await tx.reservation.findUniqueOrThrow({ where: { id } })
  if (held.state !== 'held') throw new Refusal('reservation-ended', { state: held.state })
  return { reservation: held, lot }
}

async function endReservation(act: Act, id: string, lotId: string, pieces: number, state: 'issued' | 'released') {
  await act.tx.$executeRaw`update stock_lot set reserved = reserved - ${pieces} where id = ${lotId}::uuid`
  return act.tx.reservation.update({ where: { id }, data: { state, endedAt: act.now, endedBy: act.who.name } })
}

/** Gives the pieces free again; releasing a second time changes nothing. */
export async function releaseReservation(act: Act, id: string) {
  const before = await act.tx.reservation.findUnique({ where: { id } })
  if (before?.state === 'released') return { id, state: 'released' as const }
  const { reservation } = await heldReservation(act, id)
  await endReservation(act, id, reservation.lotId, reservation.pieces, 'released')
  return { id, state: 'released' as const }
}

/** Issues what was reserved, graded and tested for a block afresh on the day of issue. */
export async function issueReserved(act: Act, id: string, shortLife: ShortLife | undefined): Promise<Created> {
  const { reservation, lot } = await heldReservation(act, id)
  const rules = await stockRulesOn(act.tx, act.today)
  const intervalMonths = reservation.intervalMonths ?? rules.ageingMonths
  const signed = signedShortLife(act, shortLife)
  const bestBefore = lot.goodThrough as Day
  const grade = gradeOf(act.today, intervalMonths, bestBefore, lifeRulesOf(rules))
  if (lot.blocked) throw new Refusal('lot-blocked', { lotId: lot.id, because: lot.blocked })
  if (grade === 'not-to-be-fitted' || lot.listedOn) {
    throw new Refusal('lot-not-to-be-fitted', { lotId: lot.id, bestBefore })
  }
  const next = nextChangeOn(act.today, intervalMonths, bestBefore, lifeRulesOf(rules))
  if (grade === 'short-life' && signed === null) {
    throw new Refusal('short-life-unsigned', { lotId: lot.id, bestBefore, nextChangeOn: next })
  }
  const entryId = await writeEntry(act, {
    lotId: lot.id,
    kind: 'issued',
    pieces: reservation.pieces,
    on: act.today,
    ticketId: reservation.ticketId,
    watchId: reservation.watchId,
    wantedId: reservation.wantedId,
    grade,
    allowedBy: grade === 'short-life' ? signed : null,
    reason: shortLife?.note,
  })
  await endReservation(act, id, lot.id, reservation.pieces, 'issued')
  const { wantedId, pieces } = reservation
  const taken = {
    entryId,
    lotId: lot.id,
    itemId: lot.itemId,
    wantedId,
    pieces,
    goodThrough: bestBefore,
    grade,
    nextChangeOn: next,
  }
  return { body: { cells: shownTaken([taken]) } }
}
