import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import type { Facts, HistoryEvent, WearFacts } from '../../domain/reckoning/facts.ts'

/** One watch with all that was known of it on a day, ready for the reckoning; and the rows the facts came from. */
export type WatchOnFile = {
  watchId: string
  ownerId: string | null
  /** the later of the day it was first seen and the day its present owner became known */
  firstSeen: Day
  facts: Facts
  /** ids of the history events, in the order of `facts.history` */
  eventIds: string[]
}

type WearRow = { learned: Day } & Record<
  'daily' | 'vibration' | 'heat' | 'cold' | 'water' | 'salt' | 'chlorine' | 'hotWater',
  string
>

type Row = {
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
  history: (Record<string, unknown> & { id: string })[] | null
  wear: WearRow[] | null
  notes: Facts['notes']
  guidance: Facts['guidance']
}

/**
 * Everything the reckoning wants of many watches, in one statement, as it was known on a day: facts learned later, strikes
 * made later and edits made later are left out. Rows that are struck do not count.
 */
export async function factsOf(db: Db, watchIds: readonly string[], on: Day): Promise<WatchOnFile[]> {
  if (watchIds.length === 0) return []
  const rows = await db.$queryRaw<Row[]>`
    with asked as (select unnest(${[...watchIds]}::uuid[]) as id), day as (select ${on}::date as d)
    select w.id, o.owner_id, o.learned::text as owner_learned, o.is_first as owner_is_first,
           w.first_seen::text as first_seen,
           coalesce(m.kind, e.before ->> 'kind', w.kind) as kind,
           coalesce(e.before ->> 'claimMarked', w.claim_marked) as claim_marked,
           (case when e.before is null then w.claim_bar else (e.before ->> 'claimBar')::numeric end)::float8 as claim_bar,
           case when e.before is null then w.made else e.before ->> 'made' end as made,
           case when e.before is null then w.sold else e.before ->> 'sold' end as sold,
           c.beats_per_hour as beats, h.history, r.wear, n.notes, g.guidance
    from asked join watch w on w.id = asked.id cross join day
    left join lateral (
      select before from edit where record_id = w.id and edited_on > day.d order by version limit 1
    ) e on true
    left join lateral (
      select owner_id, learned, is_first from (
        select owner_id, learned, from_day, id, row_number() over (order by from_day, id) = 1 as is_first from ownership
        where watch_id = w.id and learned <= day.d
          and not exists (select from strike s where s.fact_id = ownership.id and s.learned <= day.d)) known
      order by from_day desc, id desc limit 1
    ) o on true
    left join lateral (
      select calibre_id, kind from movement
      where watch_id = w.id and learned <= day.d and from_day <= day.d
        and not exists (select from strike s where s.fact_id = movement.id and s.learned <= day.d)
      order by from_day desc, id desc limit 1
    ) m on true
    left join calibre c on c.id = m.calibre_id
    left join lateral (
      select jsonb_agg(jsonb_strip_nulls(jsonb_build_object(
        'id', v.id, 'event', v.event, 'on', v.happened, 'source', v.source, 'learned', v.learned,
        'condition', v.condition, 'passed', v.passed, 'bar', v.bar, 'sign', v.sign, 'bestBefore', v.best_before,
        'capacityMah', v.capacity_mah, 'consumptionMicroamps', v.consumption_microamps)) order by v.id) as history
      from watch_event v
      where v.watch_id = w.id and v.learned <= day.d
        and not exists (select from strike s where s.fact_id = v.id and s.learned <= day.d)
    ) h on true
    left join lateral (
      select jsonb_agg(jsonb_build_object('daily', t.daily, 'vibration', t.vibration, 'heat', t.heat, 'cold', t.cold, 'water', t.water,
        'salt', t.salt, 'chlorine', t.chlorine, 'hotWater', t.hot_water, 'learned', t.learned) order by t.learned, t.id) as wear
      from wear_statement t
      where t.watch_id = w.id and t.owner_id is not distinct from o.owner_id and t.learned <= day.d
        and not exists (select from strike s where s.fact_id = t.id and s.learned <= day.d)
    ) r on true
    left join lateral (
      select jsonb_agg(jsonb_build_object('obligation', k.obligation, 'months', k.months, 'on', k.noted_on) order by k.id) as notes
      from watchmaker_note k
      where k.watch_id = w.id and k.noted_on <= day.d
        and not exists (select from strike s where s.fact_id = k.id and s.learned <= day.d)
    ) n on true
    left join lateral (
      select jsonb_agg(jsonb_build_object('obligation', u.obligation, 'months', u.months, 'upToMonths', u.up_to_months,
        'inForceFrom', u.in_force_from, 'learned', u.learned) order by u.for_model, u.id) as guidance
      from (
        select *, false as for_model from guidance where calibre_id = m.calibre_id
        union all
        select *, true from guidance where maker = w.maker and model = w.model
      ) u
      where u.learned <= day.d and not exists (select from strike s where s.fact_id = u.id and s.learned <= day.d)
    ) g on true
    order by w.id`
  return rows.map(onFile)
}

function onFile(row: Row): WatchOnFile {
  const known = row.owner_learned
  const firstSeen = known !== null && known > row.first_seen ? known : row.first_seen
  const history = (row.history ?? []).map(({ id: _, ...event }) => event as unknown as HistoryEvent)
  return {
    watchId: row.id,
    ownerId: row.owner_id,
    firstSeen,
    eventIds: (row.history ?? []).map((event) => event.id),
    facts: {
      watch: {
        kind: row.kind as Facts['watch']['kind'],
        beatsPerHour: row.beats,
        waterClaim: { marked: row.claim_marked as 'rated', bar: row.claim_bar },
        made: row.made as Facts['watch']['made'],
        sold: row.sold as Facts['watch']['sold'],
        firstSeen,
      },
      wear: wearOf(row),
      guidance: row.guidance ?? [],
      notes: row.notes ?? [],
      history,
    },
  }
}

const wearKeys = ['daily', 'vibration', 'heat', 'cold', 'water', 'salt', 'chlorine', 'hotWater'] as const

/** The latest statement of the present owner; `learned` is the day these answers last changed, not the day they were last confirmed. */
function wearOf(row: Row): WearFacts | null {
  const statements = row.wear ?? []
  const latest = statements.at(-1)
  if (!latest) {
    // how a former owner wore it says nothing of this one: what was known became unknown on the day the new one was known
    return row.owner_is_first === false ? { learned: row.owner_learned } : null
  }
  let changed = latest
  for (let i = statements.length - 2; i >= 0; i--) {
    const earlier = statements[i]
    if (!earlier || wearKeys.some((key) => earlier[key] !== latest[key])) break
    changed = earlier
  }
  return { ...(latest as unknown as WearFacts), learned: changed.learned }
}
