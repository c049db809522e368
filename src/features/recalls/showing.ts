import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { Refusal } from '../../domain/refusals.ts'
import { type MassTerms, sumOfTerms, unaccounted } from '../../domain/stock/ledger.ts'
import type { What } from '../stock-entries/lots.ts'
import { fittedBy } from './fitted.ts'

type TermsRow = Omit<MassTerms, 'fitted'> & {
  lotId: string
  lotNumber: string | null
  receivedOn: Day
}

/** Each term of the mass from its own record: shelf from the stored figure, fitted from the fitting facts, the rest from the entries. */
async function massOf(db: Db, lotIds: readonly string[], fitted: ReadonlyMap<string, number>) {
  const rows = await db.$queryRaw<TermsRow[]>`
    select l.id as "lotId", l.lot_number as "lotNumber", l.received_on::text as "receivedOn", l.shelf,
      coalesce(sum(e.pieces) filter (where e.kind = 'received'), 0)::int as received,
      coalesce(sum(e.bench_change), 0)::int as "outAtBench",
      coalesce(sum(e.pieces) filter (where e.kind = 'sold-loose'), 0)::int as "soldLoose",
      coalesce(sum(e.pieces) filter (where e.kind in ('damaged-on-shelf', 'damaged-at-bench')), 0)::int as damaged,
      coalesce(sum(e.pieces) filter (where e.kind = 'returned-to-supplier'), 0)::int as "returnedToSupplier",
      coalesce(sum(e.pieces) filter (where e.kind = 'written-off'), 0)::int as "writtenOff",
      coalesce(sum(e.pieces) filter (where e.kind = 'counted-difference'), 0)::int as "countedDifference"
    from stock_lot l left join stock_entry e on e.lot_id = l.id
    where l.id = any(${[...lotIds]}::uuid[]) group by l.id order by l.received_on, l.id`
  const lots = rows.map(({ lotId, lotNumber, receivedOn, ...rest }) => {
    const terms: MassTerms = { ...rest, fitted: fitted.get(lotId) ?? 0 }
    return { lotId, lotNumber, receivedOn, ...terms, unaccounted: unaccounted(terms) }
  })
  const sum = sumOfTerms(lots)
  return { lots, sum: { ...sum, unaccounted: unaccounted(sum) }, balances: lots.every((lot) => lot.unaccounted === 0) }
}

export const reaches = [
  'reachable',
  'in-house',
  'owner-erased',
  'owner-deceased',
  'owner-unknown',
  'no-contact',
] as const
export type Reach = (typeof reaches)[number]
export type ListedWatch = {
  watchId: string
  certainty: 'fitted' | 'possible'
  pieces: number
  state: 'to-tell' | 'letter-queued' | 'tell-at-next-sight' | 'told' | 'settled'
  note: string | null
  ticketId: string | null
  noticeId: string | null
  /** what became of its letter */
  letter: string | null
  maker: string
  model: string | null
  serialEnd: string | null
  /** of merged records the kept one */
  ownerId: string | null
  reach: Reach
  byMail: boolean
}

/**
 * The list of a recall as it stands today. Whoever has the watch now is its owner; a letter that was withdrawn, failed
 * or went to an owner before this one told nobody, so its watch is to be told again; one that came back is not sent a
 * second time, its watch waits for the next sight.
 */
async function listedWatches(db: Db, recallId: string): Promise<ListedWatch[]> {
  return db.$queryRaw<ListedWatch[]>`
    select r.watch_id as "watchId", r.certainty, r.pieces, r.note, r.ticket_id as "ticketId",
      w.maker, w.model, right(w.serial, 4) as "serialEnd", o.id as "ownerId", c.mail as "byMail", told.letter, r.notice_id as "noticeId",
      case when r.state = 'letter-queued' and (told.letter in ('withdrawn', 'failed') or told.owner_id is distinct from o.id)
        then 'to-tell' when r.state = 'letter-queued' and told.returned_at is not null then 'tell-at-next-sight' else r.state end as state,
      case when w.in_house then 'in-house'
        when o.id is null then 'owner-unknown'
        when o.erased_on is not null then 'owner-erased'
        when o.deceased_on is not null then 'owner-deceased'
        when c.any then 'reachable'
        else 'no-contact' end as reach
    from recall_watch r join watch w on w.id = r.watch_id
    left join owner held on held.id = w.owner_id
    left join owner o on o.id = coalesce(held.merged_into, held.id)
    left join lateral (
      select n.state as letter, n.returned_at, coalesce(t.merged_into, t.id) as owner_id
      from notice n join owner t on t.id = n.owner_id where n.id = r.notice_id) told on true
    cross join lateral (
      select coalesce(bool_or(true), false) as any, coalesce(bool_or(c.means = 'e-mail'), false) as mail
      from contact c where c.owner_id = o.id and c.ended_on is null and c.failed_on is null) c
    where r.recall_id = ${recallId}::uuid order by r.certainty, r.watch_id`
}

/** What is called back, as its row says it. */
export async function readRecall(db: Db, id: string) {
  const [recall] = await db.$queryRaw<
    {
      itemId: string
      what: What
      name: string
      supplier: string
      lotNumber: string | null
      from: Day | null
      to: Day | null
      reason: string
      openedOn: Day
      openedBy: string
      closedOn: Day | null
      closingNote: string | null
    }[]
  >`select i.id as "itemId", i.what, i.name, r.supplier, r.lot_number as "lotNumber", r.from_day::text as "from", r.to_day::text as "to", r.reason,
      r.opened_on::text as "openedOn", r.opened_by as "openedBy", r.closed_on::text as "closedOn", r.closing_note as "closingNote"
    from recall r join stock_item i on i.id = r.item_id where r.id = ${id}::uuid`
  if (!recall) throw new Refusal('not-found', { what: 'recall', id })
  return recall
}

/** A recall whole: the mass first, then what lies where, who holds what, and what is left to do. */
export async function showRecall(db: Db, id: string, today: Day) {
  const recall = await readRecall(db, id)
  const lotIds = (await db.recallLot.findMany({ where: { recallId: id } })).map((row) => row.lotId)
  const fittings = await fittedBy(db, lotIds)
  const fitted = new Map<string, number>()
  for (const row of fittings) fitted.set(row.lotId, (fitted.get(row.lotId) ?? 0) + row.pieces)
  const mass = await massOf(db, lotIds, fitted)
  const reserved = await db.$queryRaw<
    { reservationId: string; lotId: string; ticketId: string | null; watchId: string | null; pieces: number }[]
  >`
    select id as "reservationId", lot_id as "lotId", ticket_id as "ticketId", watch_id as "watchId", pieces
    from reservation where state = 'held' and lot_id = any(${lotIds}::uuid[]) order by id`
  const atBench = await db.$queryRaw<
    { lotId: string; ticketId: string | null; watchId: string | null; pieces: number }[]
  >`
    select e.lot_id as "lotId", e.ticket_id as "ticketId", e.watch_id as "watchId", sum(e.bench_change)::int as pieces
    from stock_entry e join stock_lot l on l.id = e.lot_id and l.bench > 0
    where e.lot_id = any(${lotIds}::uuid[]) group by 1, 2, 3 having sum(e.bench_change) > 0 order by 1, 2, 3`
  const stillIn = new Set(fittings.filter((row) => row.stillIn).map((row) => row.watchId))
  const watches = (await listedWatches(db, id)).map((row) => ({
    ...row,
    // a piece that has come out since asks for nothing more
    state: row.certainty === 'fitted' && !stillIn.has(row.watchId) ? ('settled' as const) : row.state,
  }))
  const takenOut = fittings.filter((row) => !row.stillIn)
  const known = watches.filter((row) => row.certainty === 'fitted')
  const count = (reach: Reach) => known.filter((row) => row.reach === reach).length
  const owners = new Set(known.filter((row) => row.reach === 'reachable' && row.byMail).map((row) => row.ownerId))
  return {
    id,
    on: today,
    ...recall,
    mass,
    reserved,
    atBench,
    fitted: {
      pieces: fittings.reduce((sum, row) => sum + (row.stillIn ? row.pieces : 0), 0),
      watches: known,
      reachable: count('reachable'),
      inHouse: count('in-house'),
      ownersToWriteTo: owners.size,
      tellAtNextSight: known.length - count('reachable') - count('in-house'),
    },
    takenOutSince: takenOut.map(({ watchId, pieces }) => ({ watchId, pieces })),
    possible: watches.filter((row) => row.certainty === 'possible'),
    progress: {
      all: known.length,
      settled: known.filter((row) => row.state === 'settled').length,
      open: known.filter((row) => row.state !== 'settled').length,
    },
  }
}
