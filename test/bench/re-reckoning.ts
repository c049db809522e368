import { changeHouseRule } from '../../src/features/house-rules/change.ts'
import { runReReckonings } from '../../src/features/re-reckonings/run.ts'
import { rehearseHouseRule } from '../../src/features/rehearsals/rehearsals.ts'
import { act, type Service } from '../../src/http/service.ts'
import { eachSize, numberAsked, sizesAsked, tell } from '../support/bench.ts'
import { benchCentre, TODAY } from '../support/bench-centre.ts'

/**
 * All watches of a centre that the usual interval of the complete service touches, reckoned anew after it changed; against
 * one hand-written statement with the same rules for that kind: newest service, else sold, else made; maker's guidance, quartz,
 * high beat, wear, all else; note; signs of trouble; ninety days' fairness; windows; the next look. It reckons one kind and
 * takes no lock; the service reckons four, locks watch by watch, and can be killed. After each round both must agree.
 */
const byHand = (months: number) => `
  with touched as (
    select watch_id from obligation where kind = 'complete-service' and rule in ('usual', 'note', 'trouble')),
  happened as (
    select v.watch_id, v.event, v.sign, v.learned, v.id, v.source,
      (case length(happened) when 4 then happened || '-01-01' when 7 then happened || '-01' else happened end)::date as first,
      greatest((case length(happened) when 4 then happened || '-01-01' when 7 then happened || '-01' else happened end)::date,
        least((case length(happened) when 4 then happened || '-12-31' when 7 then to_char((happened || '-01')::date + interval '1 month - 1 day', 'YYYY-MM-DD') else happened end)::date, v.learned)) as last
    from watch_event v join touched using (watch_id)
    where v.learned <= date '${TODAY}' and v.event in ('complete-service', 'sign') and not exists (select from strike s where s.fact_id = v.id and s.learned <= date '${TODAY}')),
  base as (
    select distinct on (watch_id) watch_id, first, learned, source from happened where event = 'complete-service' and first <= date '${TODAY}'
    order by watch_id, first desc, case source when 'own-record' then 2 when 'paper' then 1 else 0 end desc, id desc),
  wear as (
    select distinct on (t.watch_id) t.* from wear_statement t join touched using (watch_id) join watch w on w.id = t.watch_id
    where t.owner_id is not distinct from w.owner_id and t.learned <= date '${TODAY}' and not exists (select from strike s where s.fact_id = t.id)
    order by t.watch_id, t.learned desc, t.id desc),
  fitted as (
    select distinct on (m.watch_id) m.watch_id, m.calibre_id, c.beats_per_hour from movement m join touched using (watch_id) join calibre c on c.id = m.calibre_id
    where not exists (select from strike s where s.fact_id = m.id) order by m.watch_id, m.from_day desc, m.id desc),
  said as (
    select distinct on (f.watch_id) f.watch_id, g.months, greatest(g.learned, g.in_force_from) as heard from fitted f join guidance g using (calibre_id)
    where g.obligation = 'complete-service' and g.learned <= date '${TODAY}' and g.in_force_from <= date '${TODAY}' order by f.watch_id, g.in_force_from desc, g.id desc),
  noted as (
    select distinct on (k.watch_id) k.* from watchmaker_note k join touched using (watch_id) where k.obligation = 'complete-service' order by k.watch_id, k.noted_on desc, k.id desc),
  signs as (
    select h.watch_id, min(h.first) as first, max(greatest(h.first, h.learned)) as word from happened h left join base b using (watch_id)
    where h.event = 'sign' and h.sign in ('stopped', 'runs-down-early', 'low-amplitude', 'loses-time', 'high-consumption', 'high-working-voltage', 'water-inside', 'heavy-blow')
      and h.first <= date '${TODAY}' and (b.first is null or h.last > b.first) group by h.watch_id),
  ruled as (
    select w.id, coalesce(b.first, case when w.sold is not null then w.sold::date when w.made is not null then w.made::date end) as base_on, s.first as sign_on, s.word,
      case when said.months is not null then said.months when w.kind in ('quartz', 'rechargeable-quartz') then 84
        when w.kind in ('electric', 'spring-quartz') then ${months} when f.beats_per_hour > 28800 then 36
        when r.daily = 'no' and r.vibration = 'no' and r.heat = 'no' and r.cold = 'no' then 84
        when 'yes' in (r.vibration, r.heat, r.cold) then 48 else ${months} end as months,
      greatest(b.learned, r.learned, said.heard, date '${TODAY}') as heard, n.months as note, n.noted_on
    from touched join watch w on w.id = touched.watch_id left join base b using (watch_id) left join wear r using (watch_id)
    left join fitted f using (watch_id) left join said using (watch_id) left join noted n using (watch_id) left join signs s using (watch_id)),
  shortened as (
    select *, case when note < months and noted_on >= base_on then note else months end as ruling from ruled),
  dated as (
    select *, (base_on + make_interval(months => ruling))::date as due from shortened),
  placed as (
    select *, case when sign_on is not null then word when due < heard then heard + 90 else due end as notices, least(sign_on, due) as due_on from dated)
  update obligation o set months = case when sign_on is null then p.ruling end, due_on = p.due_on, notices_due_on = p.notices,
    coming_up_from = p.notices - case when sign_on is null then 60 else 0 end, overdue_from = p.notices + 61, stop_on = (p.notices + interval '12 months')::date,
    notices_by = case when sign_on is not null then 'last-word' when p.notices = p.due_on then 'due-day' else 'ninety-days' end,
    next_notice_on = greatest(p.notices - 60, date '${TODAY}'),
    reconsider_on = (select min(d) from unnest(array[p.notices - 60, p.notices, p.notices + 61, (p.notices + interval '12 months')::date]) d where d > date '${TODAY}'),
    reckoned_on = date '${TODAY}', reckoned_at = now()
  from placed p where o.watch_id = p.id and o.kind = 'complete-service'`

const digest = `select md5(string_agg(concat(watch_id, months, due_on, notices_due_on, coming_up_from, overdue_from, stop_on, notices_by), ',' order by watch_id)) as d,
  count(*)::int as n from obligation where kind = 'complete-service'`

async function measure(service: Service, rounds: number) {
  const { pool } = service.database
  const change = (value: number) =>
    act(service, { keyId: null, name: 'bench', role: 'service' }, (doing) =>
      changeHouseRule(doing, { key: 'usualServiceMonths', value, fromDay: TODAY, reason: 'bench' }),
    )
  const hand: number[] = []
  const ours: number[] = []
  const rss: number[] = []
  let touched = 0
  for (let n = 0; n < rounds; n++) {
    const value = 48 + n
    await change(value)
    const start = performance.now()
    await runReReckonings(service, { afterBatch: () => void rss.push(process.memoryUsage.rss() / 2 ** 20) })
    ours.push((performance.now() - start) / 1000)
    const { rows } = await pool.query('select done, moved from re_reckoning order by id desc limit 1')
    touched = rows[0].done
    const first = (await pool.query(digest)).rows[0].d
    await pool.query('vacuum obligation')
    const begin = performance.now()
    const client = await pool.connect()
    await client.query('set statement_timeout = 0')
    const same = await client.query(byHand(value))
    hand.push((performance.now() - begin) / 1000)
    client.release(true)
    if (same.rowCount !== touched || (await pool.query(digest)).rows[0].d !== first)
      throw new Error('the statement by hand and the service do not agree')
    await pool.query('vacuum obligation')
  }
  const start = performance.now()
  const thought = await rehearseHouseRule(service.database, TODAY, {
    key: 'usualServiceMonths',
    value: 36,
    fromDay: TODAY,
    weeks: 26,
  })
  return { touched, hand, ours, rss, rehearsal: { seconds: (performance.now() - start) / 1000, ...thought.watches } }
}

await eachSize(import.meta.url, sizesAsked([10_000, 100_000, 1_000_000], [2000]), async (watches) => {
  const centre = await benchCentre(watches)
  try {
    const { touched, hand, ours, rss, rehearsal } = await measure(centre.service, numberAsked('rounds', 3, 2))
    const at = { size: watches, promisedAt: 1_000_000 }
    tell({
      work: 're-reckoning',
      unit: 's',
      ...at,
      baseline: hand,
      ours,
      reach: { ratioAtMost: 3 },
      more: { touched },
    })
    tell({ work: 're-reckoning, watches a second', unit: '/s', ...at, ours: ours.map((seconds) => touched / seconds) })
    tell({ work: 're-reckoning, peak memory', unit: 'MB', ...at, ours: [Math.max(...rss)], reach: { atMost: 300 } })
    tell({ work: 'its rehearsal', unit: 's', ...at, ours: [rehearsal.seconds], more: { rehearsed: rehearsal.touched } })
  } finally {
    await centre.close()
  }
})
