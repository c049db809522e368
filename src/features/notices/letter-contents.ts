import type pg from 'pg'
import { type Day, numberOfDay, type PartialDay, spanOf } from '../../domain/day.ts'
import type { DuePart, LetterPlan } from '../../domain/notices/types.ts'
import type { ObligationKind } from '../../domain/reckoning/facts.ts'
import {
  type GuidePrice,
  type LetterContents,
  languageOf,
  lastFourOf,
  type WatchWords,
  withoutNumber,
} from '../../letters/contents.ts'

/** What a letter is made from: the plan of the notice, and what is on file of the owner and the watches it names. */
export type LetterSource = {
  noticeId: string
  plan: LetterPlan
  owner: { name: string; formOfAddress: string | null }
}

export type Centre = LetterContents['centre']

type WatchRow = {
  id: string
  maker: string
  model: string | null
  serial: string | null
  description: string | null
  kind: string
  luminous: string
  made: PartialDay | null
  sold: PartialDay | null
  hazards: string[]
  events: { event: string; happened: PartialDay }[]
}

/** Events that can be the base of a kind where the rule is not itself an event's. */
const baseEvents: Record<ObligationKind, readonly string[]> = {
  'complete-service': ['complete-service', 'movement-fitted'],
  'water-check': ['water-test', 'complete-service'],
  'cell-change': ['cell-fitted', 'movement-fitted'],
  seals: ['seals-replaced', 'complete-service'],
}
const eventRules = new Set(['trouble', 'opened-since-test', 'not-resistant'])

/** The base as precisely as it is on file: the reckoning counts from the first day of a month, a letter says the month. */
function preciseBase(part: DuePart, watch: WatchRow): PartialDay | null {
  if (part.baseFrom === 'sold') return watch.sold
  if (part.baseFrom === 'made') return watch.made
  if (part.baseOn === null) return null
  const any = part.kind === 'water-check' && eventRules.has(part.rule)
  const onThatDay = watch.events.filter(
    (one) =>
      (any || baseEvents[part.kind].includes(one.event)) &&
      spanOf(one.happened).first === numberOfDay(part.baseOn as Day),
  )
  // of several on one first day the most precise is known for certain
  const precise = onThatDay.map((one) => one.happened).sort((a, b) => b.length - a.length)
  return precise[0] ?? (part.baseOn as unknown as PartialDay)
}

/** Contents for any number of letters, in three reads. */
export async function gatherContents(
  pool: pg.Pool | pg.PoolClient,
  sources: readonly LetterSource[],
  centre: Centre,
  today: Day,
): Promise<Map<string, LetterContents>> {
  const watchesOf = ({ plan }: LetterSource) => [
    ...new Set(
      [...plan.parts, ...(plan.recall?.watches ?? []), ...(plan.ready ? [plan.ready] : [])].map((one) => one.watchId),
    ),
  ]
  const watchIds = [...new Set(sources.flatMap(watchesOf))]
  const { rows } = await pool.query<WatchRow>({
    name: 'letters-watches',
    text: `select w.id, w.maker, w.model, w.serial, w.description, w.kind, w.luminous, w.made, w.sold,
        coalesce((select array_agg(distinct h.kind) from hazard h where h.watch_id = w.id
          and not exists (select from strike s where s.fact_id = h.id)), '{}') as hazards,
        coalesce((select jsonb_agg(jsonb_build_object('event', e.event, 'happened', e.happened)) from watch_event e where e.watch_id = w.id
          and not exists (select from strike s where s.fact_id = e.id)), '[]') as events
      from watch w where w.id = any($1)`,
    values: [watchIds],
  })
  const watches = new Map(rows.map((row) => [row.id, row]))
  const prices = await guidePricesOn(pool, today)
  return new Map(
    sources.map((source) => {
      const { noticeId, plan, owner } = source
      const mine = watchesOf(source)
        .map((id) => watches.get(id))
        .filter((row) => row !== undefined)
      const bases: Record<string, PartialDay> = {}
      for (const part of plan.parts) {
        const watch = watches.get(part.watchId)
        const base = part.part === 'due' && watch ? preciseBase(part, watch) : null
        if (part.part === 'due' && base) bases[`${part.watchId}/${part.kind}`] = base
      }
      const contents: LetterContents = {
        language: languageOf(plan.language),
        runOn: plan.runOn,
        comeBy: plan.comeBy,
        centre,
        owner,
        watches: Object.fromEntries(mine.map((row) => [row.id, wordsOf(row)])),
        bases,
        prices,
        parts: plan.parts,
        ...(plan.recall && { recall: plan.recall }),
        ...(plan.ready && { ready: plan.ready }),
      }
      return [noticeId, contents]
    }),
  )
}

const wordsOf = (row: WatchRow): WatchWords => ({
  maker: withoutNumber(row.maker, row.serial) ?? '',
  model: withoutNumber(row.model, row.serial),
  description: withoutNumber(row.description, row.serial),
  lastFour: lastFourOf(row.serial),
  kind: row.kind,
  hazards: row.hazards,
  luminous: row.luminous,
})

type PriceRow = {
  kind: ObligationKind
  amount: number
  currency: string
  until_day: Day
  takes_from: number
  takes_to: number
  takes_unit: GuidePrice['takesUnit']
}

/** The guide price of each kind in force on a day; none where the newest one has run out. */
async function guidePricesOn(pool: pg.Pool | pg.PoolClient, today: Day): Promise<LetterContents['prices']> {
  const { rows } = await pool.query<PriceRow>({
    name: 'letters-prices',
    text: `select distinct on (kind) kind, amount, currency, until_day, takes_from, takes_to, takes_unit
      from guide_price where from_day <= $1 order by kind, from_day desc, id desc`,
    values: [today],
  })
  const inForce = rows.filter((row) => row.until_day >= today)
  return Object.fromEntries(
    inForce.map((row) => [
      row.kind,
      {
        amount: Number(row.amount),
        currency: row.currency,
        until: row.until_day,
        takesFrom: row.takes_from,
        takesTo: row.takes_to,
        takesUnit: row.takes_unit,
      },
    ]),
  )
}
