import type { Db } from '../../db/open.ts'
import { addMonths, type Day } from '../../domain/day.ts'
import { Refusal } from '../../domain/refusals.ts'
import { type LifeRules, monthsForFullLife, nextChangeOn } from '../../domain/stock/life.ts'
import type { Act } from '../../http/service.ts'
import type { What } from './lots.ts'
import { lifeRulesOf, stockRulesOn } from './rules.ts'
import { watchFor } from './tickets.ts'

export type Want = { itemId: string; pieces: number }

/** What was taken for one want. `nextChangeOn` is the day that can be promised, consumption aside. */
export type Taken = {
  wantedId: string
  itemId: string
  lotId: string
  pieces: number
  goodThrough: Day | null
  grade: 'full-life' | 'short-life'
  nextChangeOn: Day | null
  entryId: string
}

export type Taking = {
  kind: 'issued' | 'sold-loose'
  what: What
  wants: readonly Want[]
  on: Day
  by: string
  /** months to the next change; cells only */
  intervalMonths: number
  rules: LifeRules
  /** who signed for short life; null where nobody did */
  shortLifeBy: string | null
  ticketId?: string | null | undefined
  watchId?: string | null | undefined
  reason?: string | null | undefined
}

/** Runs one statement; a Prisma transaction or a plain connection alike. */
export type RunSql = <Row>(text: string, values: readonly unknown[]) => Promise<Row[]>

const through =
  (tx: Db): RunSql =>
  (text, values) =>
    tx.$queryRawUnsafe(text, ...values)

type Row = {
  want: number
  lot_id: string
  item_id: string
  good_through: Day | null
  grade: Taken['grade']
  entry_id: string | null
}

const STATEMENT = `
  select want, lot_id, item_id, good_through::text as good_through, grade, entry_id
  from issue_stock($1, $2::uuid[], $3::int[], $4::date, $5::date, $6::date, $7, $8::date, $9::uuid, $10::uuid, $11, $12, $13)`

/**
 * First to expire first, all wants or none, in one statement that locks the items, chooses the lots and writes the
 * entries: whoever comes at the same moment waits and then chooses from what is left. Days of best-before that make a
 * lot full life or short life today are reckoned here, so that the database adds no months. Without a kind nothing is
 * written. The rows say which want found what; a want without a row found nothing.
 */
export function firstToExpire(
  run: RunSql,
  taking: Omit<Taking, 'kind'> & { kind: Taking['kind'] | null },
): Promise<Row[]> {
  const { on, wants, rules, intervalMonths } = taking
  const cells = taking.what === 'cell'
  return run<Row>(STATEMENT, [
    taking.kind,
    wants.map((want) => want.itemId),
    wants.map((want) => want.pieces),
    cells ? addMonths(on, monthsForFullLife(intervalMonths, rules)) : on,
    cells ? addMonths(on, rules.shortestMonths) : on,
    addMonths(on, intervalMonths),
    taking.shortLifeBy !== null,
    on,
    taking.ticketId ?? null,
    taking.watchId ?? null,
    taking.by,
    taking.shortLifeBy,
    taking.reason ?? null,
  ])
}

/** Takes and writes inside an act, or refuses with what there is instead; nothing has moved then. */
export async function takeOrRefuse(act: Act, taking: Omit<Taking, 'on' | 'by'>): Promise<Taken[]> {
  const whole = { ...taking, on: act.today, by: act.who.name }
  return takenOrRefuse(act.tx, whole, await firstToExpire(through(act.tx), whole))
}

export type IssueOfOne = { pieces: number; watchId?: string | undefined; ticketId?: string | undefined }

/** Takes gaskets or parts of one kind for a watch or a ticket: what it keeps to is good on the day, no interval is asked. */
export async function issueOfOne(
  act: Act,
  what: 'gasket' | 'part',
  itemId: string,
  { pieces, watchId, ticketId }: IssueOfOne,
): Promise<{ entryId: string; lotId: string; pieces: number; goodThrough: Day | null }[]> {
  const taken = await takeOrRefuse(act, {
    kind: 'issued',
    what,
    wants: [{ itemId, pieces }],
    intervalMonths: 0,
    rules: lifeRulesOf(await stockRulesOn(act.tx, act.today)),
    shortLifeBy: null,
    ticketId,
    watchId: await watchFor(act.tx, { watchId, ticketId }),
  })
  return taken.map((one) => ({
    entryId: one.entryId,
    lotId: one.lotId,
    pieces: one.pieces,
    goodThrough: one.goodThrough,
  }))
}

/** Chooses as an issue on `act.today` would, and writes nothing. */
export async function chooseOrRefuse(
  act: Act,
  taking: Omit<Taking, 'on' | 'by' | 'kind'>,
): Promise<Omit<Taken, 'entryId'>[]> {
  const whole = { ...taking, on: act.today, by: act.who.name }
  return takenOrRefuse(act.tx, whole, await firstToExpire(through(act.tx), { ...whole, kind: null }))
}

async function takenOrRefuse(db: Db, taking: Omit<Taking, 'kind'>, rows: readonly Row[]): Promise<Taken[]> {
  const { wants, on, intervalMonths, rules } = taking
  const missing = wants.findIndex((_, index) => !rows.some((row) => row.want === index + 1))
  if (missing >= 0) throw await shortageOf(db, taking, wants[missing] as Want)
  const taken = rows.map((row): Taken => {
    const want = wants[row.want - 1] as Want
    return {
      wantedId: want.itemId,
      itemId: row.item_id,
      lotId: row.lot_id,
      pieces: want.pieces,
      goodThrough: row.good_through,
      grade: row.grade,
      nextChangeOn:
        taking.what === 'cell' && row.good_through ? nextChangeOn(on, intervalMonths, row.good_through, rules) : null,
      entryId: row.entry_id as string,
    }
  })
  const unsigned = taking.shortLifeBy === null ? taken.find((one) => one.grade === 'short-life') : undefined
  if (unsigned) {
    const { lotId, goodThrough: bestBefore, nextChangeOn: promised } = unsigned
    throw new Refusal('short-life-unsigned', { lotId, bestBefore, nextChangeOn: promised })
  }
  return taken
}

/** Why a want cannot be met: what lies there of it and its substitutes, by what keeps it there. */
async function shortageOf(db: Db, taking: Omit<Taking, 'kind'>, want: Want): Promise<Refusal> {
  const shortFrom = taking.what === 'cell' ? addMonths(taking.on, taking.rules.shortestMonths) : taking.on
  const [found] = await db.$queryRaw<{ name: string; most: number; reserved: number; blocked: number; old: number }[]>`
    select (select name from stock_item where id = ${want.itemId}::uuid) as name,
      coalesce(max(case when usable then greatest(l.shelf - l.reserved, 0) end), 0)::int as most,
      coalesce(sum(case when usable then least(l.reserved, l.shelf) end), 0)::int as reserved,
      coalesce(sum(case when l.blocked is not null then l.shelf end), 0)::int as blocked,
      coalesce(sum(case when l.blocked is null and not usable then l.shelf end), 0)::int as old
    from (
      select lot.*, lot.blocked is null and lot.listed_on is null
        and (lot.good_through is null or lot.good_through >= ${shortFrom}::date) as usable
      from stock_lot lot
      where lot.item_id = ${want.itemId}::uuid or lot.item_id in (
        select substitute_id from substitute where item_id = ${want.itemId}::uuid and withdrawn_on is null)
    ) l`
  return new Refusal('stock-short', {
    name: found?.name ?? '',
    wanted: want.pieces,
    mostInOneLot: found?.most ?? 0,
    reserved: found?.reserved ?? 0,
    blocked: found?.blocked ?? 0,
    tooOld: found?.old ?? 0,
  })
}
