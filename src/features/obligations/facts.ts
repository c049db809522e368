import type { Sql } from '../../db/sql.ts'
import type { Day, PartialDay } from '../../domain/day.ts'
import type {
  ClaimMark,
  Facts,
  GuidanceFact,
  HistoryEvent,
  NoteFact,
  WatchKind,
  WearFacts,
} from '../../domain/reckoning/facts.ts'
import { Prisma } from '../../generated/prisma/client.ts'

/** One watch with all that was known of it on a day, ready for the reckoning; and the rows the facts came from. */
export type WatchOnFile = {
  watchId: string
  ownerId: string | null
  /** the later of the day it was first seen and the day its present owner became known */
  firstSeen: Day
  facts: Facts
  /** ids of the history events, in the order of `facts.history`; empty texts unless they were asked for */
  eventIds: string[]
}

const wearKeys = ['daily', 'vibration', 'heat', 'cold', 'water', 'salt', 'chlorine', 'hotWater'] as const

type EventRow = [
  id: string | null,
  event: string,
  on: string,
  source: string,
  learned: string,
  condition: string | null,
  passed: boolean | null,
  bar: number | null,
  sign: string | null,
  bestBefore: string | null,
  capacityMah: number | null,
  consumptionMicroamps: number | null,
]
/** owner, the answers in the order of `wearKeys`, the day they were learned */
type WearRow = [ownerId: string | null, ...answers: string[]]
type NoteRow = [obligation: string, months: number, on: string]
type GuidanceRow = [obligation: string, months: number, upToMonths: number | null, inForceFrom: string, learned: string]

/**
 * Facts of one watch as the database tells them, still closed: the lists come as JSON text, since one row a watch is
 * several times cheaper to carry than one row a fact.
 */
export type FactsRead = {
  id: string
  owner_id: string | null
  owner_learned: Day | null
  owner_is_first: boolean | null
  first_seen: Day
  kind: string
  claim_marked: string
  claim_bar: number | null
  made: string | null
  sold: string | null
  beats: number | null
  history: string | null
  wear: string | null
  notes: string | null
  calibre_guidance: string | null
  model_guidance: string | null
}

export type FactsOptions = {
  /** fills `eventIds` */
  eventIds?: boolean
  /** leaves out what was recorded after this instant, of the day itself, too */
  until?: Date | null
}

/** Everything the reckoning wants of many watches, as it was known on a day. In the order of ids. */
export async function factsOf(
  db: Sql,
  watchIds: readonly string[],
  on: Day,
  options: FactsOptions = {},
): Promise<WatchOnFile[]> {
  return [...filesOf(await readFacts(db, watchIds, on, options))]
}

/** What `readFacts` read, opened one watch after another: of many watches only the one being reckoned is held open. */
export function* filesOf(rows: readonly FactsRead[]): Generator<WatchOnFile, void> {
  const guidance = guidanceReader()
  for (const row of rows) yield onFile(row, guidance)
}

/**
 * One statement for all watches asked for: facts learned later, strikes made later and edits made later are left out.
 * Rows that are struck do not count. Each table is read once, along its index by watch; the ids of the events only where
 * they are wanted.
 */
export async function readFacts(
  db: Sql,
  watchIds: readonly string[],
  on: Day,
  options: FactsOptions = {},
): Promise<FactsRead[]> {
  if (watchIds.length === 0) return []
  const ids = [...watchIds]
  const until = options.until ?? null
  const recorded = until === null ? Prisma.empty : Prisma.sql`and recorded_at <= ${until}::timestamptz`
  return db.$queryRaw<FactsRead[]>`
    with struck as materialized (
      select fact_id from strike where watch_id = any(${ids}::uuid[]) and learned <= ${on}::date ${recorded}
    )
    select w.id, o.owner_id, o.learned::text as owner_learned, o.is_first as owner_is_first,
           w.first_seen::text as first_seen,
           coalesce(m.kind, e.before ->> 'kind', w.kind) as kind,
           coalesce(e.before ->> 'claimMarked', w.claim_marked) as claim_marked,
           (case when e.before is null then w.claim_bar else (e.before ->> 'claimBar')::numeric end)::float8 as claim_bar,
           case when e.before is null then w.made else e.before ->> 'made' end as made,
           case when e.before is null then w.sold else e.before ->> 'sold' end as sold,
           c.beats_per_hour as beats, h.history, r.wear, n.notes, gc.guidance as calibre_guidance, gm.guidance as model_guidance
    from watch w
    left join (
      select distinct on (record_id) record_id, before from edit
      where record_id = any(${ids}::uuid[]) and (edited_on > ${on}::date ${until === null ? Prisma.empty : Prisma.sql`or recorded_at > ${until}::timestamptz`})
      order by record_id, version
    ) e on e.record_id = w.id
    left join (
      select distinct on (watch_id) watch_id, owner_id, learned, count(*) over (partition by watch_id) = 1 as is_first from ownership v
      where watch_id = any(${ids}::uuid[]) and learned <= ${on}::date ${recorded} and not exists (select from struck where fact_id = v.id)
      order by watch_id, from_day desc, id desc
    ) o on o.watch_id = w.id
    left join (
      select distinct on (watch_id) watch_id, calibre_id, kind from movement v
      where watch_id = any(${ids}::uuid[]) and learned <= ${on}::date and from_day <= ${on}::date ${recorded}
        and not exists (select from struck where fact_id = v.id)
      order by watch_id, from_day desc, id desc
    ) m on m.watch_id = w.id
    left join calibre c on c.id = m.calibre_id
    left join (
      select watch_id, json_agg(json_build_array(case when ${options.eventIds ?? false} then id end, event, happened, source, learned,
        condition, passed, bar, sign, best_before, capacity_mah, consumption_microamps) order by id)::text as history
      from watch_event v
      where watch_id = any(${ids}::uuid[]) and learned <= ${on}::date ${recorded} and not exists (select from struck where fact_id = v.id)
      group by watch_id
    ) h on h.watch_id = w.id
    left join (
      select watch_id, json_agg(json_build_array(owner_id, daily, vibration, heat, cold, water, salt, chlorine, hot_water, learned)
        order by learned, id)::text as wear
      from wear_statement v
      where watch_id = any(${ids}::uuid[]) and learned <= ${on}::date ${recorded} and not exists (select from struck where fact_id = v.id)
      group by watch_id
    ) r on r.watch_id = w.id
    left join (
      select watch_id, json_agg(json_build_array(obligation, months, noted_on) order by id)::text as notes
      from watchmaker_note v
      where watch_id = any(${ids}::uuid[]) and noted_on <= ${on}::date ${recorded} and not exists (select from struck where fact_id = v.id)
      group by watch_id
    ) n on n.watch_id = w.id
    left join lateral (
      select json_agg(json_build_array(obligation, months, up_to_months, in_force_from, learned) order by id)::text as guidance
      from guidance u
      where u.calibre_id = m.calibre_id and u.learned <= ${on}::date ${recorded}
        and not exists (select from strike where fact_id = u.id and learned <= ${on}::date ${recorded})
    ) gc on m.calibre_id is not null
    left join lateral (
      select json_agg(json_build_array(obligation, months, up_to_months, in_force_from, learned) order by id)::text as guidance
      from guidance u
      where u.maker = w.maker and u.model = w.model and u.learned <= ${on}::date ${recorded}
        and not exists (select from strike where fact_id = u.id and learned <= ${on}::date ${recorded})
    ) gm on w.model is not null
    where w.id = any(${ids}::uuid[])
    order by w.id`
}

function onFile(row: FactsRead, guidance: (row: FactsRead) => GuidanceFact[]): WatchOnFile {
  const known = row.owner_learned
  const firstSeen = known !== null && known > row.first_seen ? known : row.first_seen
  const events = row.history === null ? [] : (JSON.parse(row.history) as EventRow[])
  return {
    watchId: row.id,
    ownerId: row.owner_id,
    firstSeen,
    eventIds: events.map(([id]) => id ?? ''),
    facts: {
      watch: {
        kind: row.kind as WatchKind,
        beatsPerHour: row.beats,
        waterClaim: { marked: row.claim_marked as ClaimMark, bar: row.claim_bar },
        made: row.made as PartialDay | null,
        sold: row.sold as PartialDay | null,
        firstSeen,
      },
      wear: wearOf(row),
      guidance: guidance(row),
      notes: row.notes === null ? [] : (JSON.parse(row.notes) as NoteRow[]).map(noteOf),
      history: events.map(eventOf),
    },
  }
}

const noteOf = ([obligation, months, on]: NoteRow) => ({ obligation, months, on }) as NoteFact

/** Only the parts that belong to the event, as a request would hold them. */
function eventOf(row: EventRow): HistoryEvent {
  const [, event, on, source, learned, condition, passed, bar, sign, bestBefore, capacityMah, consumptionMicroamps] =
    row
  switch (event) {
    case 'water-test':
      return { event, on, source, learned, passed, bar } as HistoryEvent
    case 'sign':
      return { event, on, source, learned, sign } as HistoryEvent
    case 'cell-fitted':
      return { event, on, source, learned, bestBefore, capacityMah, consumptionMicroamps } as HistoryEvent
    case 'movement-fitted':
      return { event, on, source, learned, condition } as HistoryEvent
    default:
      return { event, on, source, learned } as HistoryEvent
  }
}

/** What the maker says of the calibre, then of the model. Many watches share it: each text is read once. */
function guidanceReader(): (row: FactsRead) => GuidanceFact[] {
  const read = new Map<string, GuidanceFact[]>()
  const of = (text: string | null): GuidanceFact[] => {
    if (text === null) return []
    let facts = read.get(text)
    if (facts === undefined) {
      facts = (JSON.parse(text) as GuidanceRow[]).map(
        ([obligation, months, upToMonths, inForceFrom, learned]) =>
          ({ obligation, months, upToMonths, inForceFrom, learned }) as GuidanceFact,
      )
      read.set(text, facts)
    }
    return facts
  }
  return (row) => {
    if (row.calibre_guidance === null) return of(row.model_guidance)
    return row.model_guidance === null
      ? of(row.calibre_guidance)
      : [...of(row.calibre_guidance), ...of(row.model_guidance)]
  }
}

/** The latest statement of the present owner; `learned` is the day these answers last changed, not the day they were last confirmed. */
function wearOf(row: FactsRead): WearFacts | null {
  const statements = (row.wear === null ? [] : (JSON.parse(row.wear) as WearRow[])).filter(
    ([ownerId]) => ownerId === row.owner_id,
  )
  const latest = statements.at(-1)
  if (!latest) {
    // how a former owner wore it says nothing of this one: what was known became unknown on the day the new one was known
    return row.owner_is_first === false ? { learned: row.owner_learned } : null
  }
  let changed = latest
  for (let i = statements.length - 2; i >= 0; i--) {
    const earlier = statements[i] as WearRow
    if (wearKeys.some((_, key) => earlier[key + 1] !== latest[key + 1])) break
    changed = earlier
  }
  const answers = Object.fromEntries(wearKeys.map((key, index) => [key, latest[index + 1]]))
  return { ...answers, learned: changed.at(-1) } as WearFacts
}
