import type { Db } from '../../db/open.ts'

/** One thing on file about a watch, from wherever it is kept. */
export type StoryRow = {
  /** a record of a ticket, something else of a ticket, or the book */
  source: 'record' | 'ticket' | 'book'
  /** null where only a day is known */
  at: Date | null
  /** null where the instant says the day */
  on: string | null
  learned: Date
  number: string | null
  kind: string
  data: Record<string, unknown>
  by: string
  id: string
  seq: number
  struck: string | null
  struckBy: string | null
}

/** In the order of writing; what lies on one instant stays in it. */
export async function storyRows(db: Db, watchId: string): Promise<StoryRow[]> {
  return db.$queryRaw<StoryRow[]>`
    with mine as (select id, number from ticket where watch_id = ${watchId}::uuid),
    gone as (select r.ticket_id, r.at, r.recorded_at, r.seq from mine m join ticket_record r on r.ticket_id = m.id and r.kind = 'move' and r.data ->> 'to' = 'handed-over'),
    fact_lots as (
      select e.event_id, string_agg(distinct concat_ws(' ', i.written, l.lot_number), ', ' order by concat_ws(' ', i.written, l.lot_number)) as lots
      from stock_entry e join stock_lot l on l.id = e.lot_id join stock_item i on i.id = l.item_id
      where e.watch_id = ${watchId}::uuid and e.kind = 'fitted' and e.strikes is null and e.event_id is not null group by 1)
    select source, at, "on", learned, number, kind, data, by, id, seq::float8 as seq, struck, "struckBy" from (
      select 'record' as source, r.at, r.on_day::text as on, r.recorded_at as learned, m.number, r.kind, r.data || jsonb_strip_nulls(jsonb_build_object(
          'toolNamed', tool.name || ' ' || tool.serial, 'lotNamed', concat_ws(' ', item.written, lot.lot_number),
          'earlierNumber', case when r.kind = 'booked' then (select e.number from ticket e where e.id = (r.data ->> 'comebackOf')::uuid) end)) as data,
          r.recorded_by as by, r.id::text, r.seq, s.data ->> 'reason' as struck, s.recorded_by as "struckBy"
        from mine m join ticket_record r on r.ticket_id = m.id left join ticket_record s on s.strikes = r.id
        left join tool on tool.id = r.tool_id left join stock_lot lot on lot.id = r.lot_id left join stock_item item on item.id = lot.item_id
      union all
      select 'ticket', c.at, null, c.recorded_at, m.number, 'custody', jsonb_build_object('from', c.from_place, 'to', c.to_place, 'holder', c.holder),
        c.recorded_by, c.id::text, c.seq, null, null from mine m join custody_move c on c.ticket_id = m.id
      union all
      select 'ticket', l.recorded_at, null, l.recorded_at, m.number, 'loose-item', jsonb_build_object('bag', l.bag, 'words', l.words),
        l.recorded_by, l.id::text, l.seq, null, null from mine m join loose_item l on l.ticket_id = m.id
      union all
      select 'ticket', e.recorded_at, e.made_on::text, e.recorded_at, m.number, 'estimate', jsonb_build_object('version', e.n, 'total', e.total, 'currency', e.currency,
        'validUntil', e.valid_until, 'lines', (select jsonb_agg(l.what order by l.place) from estimate_line l where l.estimate_id = e.id)), e.recorded_by, e.id::text, e.seq, null, null
        from mine m join estimate e on e.ticket_id = m.id
      union all
      select 'ticket', a.at, a.on_day::text, a.recorded_at, m.number, 'answer', jsonb_build_object('version', a.version, 'answer', a.answer, 'person', a.person, 'how', a.how, 'line', l.what,
        'total', a.total, 'currency', e.currency), a.recorded_by, a.id::text, a.seq, null, null
        from mine m join estimate_answer a on a.ticket_id = m.id join estimate_line l on l.id = a.line_id join estimate e on e.id = l.estimate_id
      union all
      select 'ticket', p.at, null, p.recorded_at, m.number, 'picture', jsonb_build_object('view', p.view, 'stage', p.stage, 'sha256', f.sha256), p.recorded_by,
        p.id::text, p.seq, null, null from mine m join ticket_picture p on p.ticket_id = m.id join picture_file f on f.id = p.file_id
      union all
      select 'ticket', r.at, r.on_day::text, r.recorded_at, f.number, 'comeback-cost', jsonb_build_object('ticket', m.number, 'what', l.what, 'part', l.part,
        'amount', l.house_cost * l.quantity, 'currency', e.currency), r.recorded_by, r.id::text, r.seq, s.data ->> 'reason', s.recorded_by
        from mine m join ticket_record r on r.ticket_id = m.id and r.kind = 'operation' and r.data ->> 'state' = 'done'
        join estimate_line l on l.id = r.line_id and l.under_guarantee_of is not null join estimate e on e.id = l.estimate_id
        join estimate_line fl on fl.id = l.under_guarantee_of join estimate fe on fe.id = fl.estimate_id join mine f on f.id = fe.ticket_id
        left join ticket_record s on s.strikes = r.id
      union all
      select 'ticket', e.at, null, e.at, m.number, 'letter', jsonb_build_object('became', e.became), 'hand-over of letters', r.id::text, r.seq, null, null
        from mine m join ticket_record r on r.ticket_id = m.id and r.kind = 'contact' join notice n on n.id = (r.data ->> 'notice')::uuid
        cross join lateral (values (n.sent_at, 'sent'), (n.delivered_at, 'delivered'), (n.returned_at, 'returned')) as e (at, became) where e.at is not null
      union all
      select 'ticket', gone.at, g.starts_on::text, gone.recorded_at, m.number, 'guarantee', jsonb_build_object('what', g.what, 'months', g.months),
        g.recorded_by, g.id::text, gone.seq, null, null from mine m join guarantee g on g.ticket_id = m.id join gone on gone.ticket_id = m.id
      union all
      select 'ticket', gone.at, null, gone.recorded_at, m.number, 'guarantee-days', jsonb_build_object('what', g.what, 'ticket', f.number, 'days', d.days),
        d.recorded_by, g.id::text, gone.seq, null, null
        from mine m join guarantee_days d on d.ticket_id = m.id join guarantee g on g.id = d.guarantee_id join ticket f on f.id = g.ticket_id join gone on gone.ticket_id = m.id
      union all
      select 'book', null, v.happened, v.recorded_at, null, 'fact', jsonb_strip_nulls(jsonb_build_object('event', v.event, 'source', v.source, 'learned', v.learned, 'passed', v.passed,
        'bar', v.bar, 'sign', v.sign, 'bestBefore', v.best_before, 'condition', v.condition, 'note', v.note, 'lotNamed', fact_lots.lots)), v.recorded_by, v.id::text, 0, s.reason, s.recorded_by
        from watch_event v left join strike s on s.fact_id = v.id left join fact_lots on fact_lots.event_id = v.id where v.watch_id = ${watchId}::uuid
      union all
      select 'book', null, w.learned::text, w.recorded_at, null, 'wear', jsonb_build_object('daily', w.daily, 'vibration', w.vibration, 'heat', w.heat, 'cold', w.cold, 'water', w.water,
        'salt', w.salt, 'chlorine', w.chlorine, 'hotWater', w.hot_water, 'magnets', w.magnets, 'source', w.source), w.recorded_by, w.id::text, 0, s.reason, s.recorded_by
        from wear_statement w left join strike s on s.fact_id = w.id where w.watch_id = ${watchId}::uuid
      union all
      select 'book', null, n.noted_on::text, n.recorded_at, null, 'note', jsonb_build_object('obligation', n.obligation, 'months', n.months, 'reason', n.reason), n.recorded_by, n.id::text, 0,
        s.reason, s.recorded_by from watchmaker_note n left join strike s on s.fact_id = n.id where n.watch_id = ${watchId}::uuid
      union all
      select 'book', null, h.seen_on::text, h.recorded_at, null, 'hazard', jsonb_build_object('kind', h.kind, 'note', h.note, 'confirmedBy', h.confirmed_by), h.recorded_by, h.id::text, 0,
        s.reason, s.recorded_by from hazard h left join strike s on s.fact_id = h.id where h.watch_id = ${watchId}::uuid
      union all
      select 'book', null, v.from_day::text, v.recorded_at, null, 'movement', jsonb_build_object('calibre', c.name, 'serial', v.serial, 'kind', v.kind), v.recorded_by, v.id::text, 0,
        s.reason, s.recorded_by from movement v join calibre c on c.id = v.calibre_id left join strike s on s.fact_id = v.id where v.watch_id = ${watchId}::uuid
      union all
      select 'book', null, e.happened_on::text, e.recorded_at, t.number, 'part', jsonb_build_object('what', i.written, 'pieces', e.pieces, 'lotNamed', concat_ws(' ', i.written, l.lot_number),
        'note', e.reason), e.recorded_by, e.id::text, 0, coalesce(s.reason, case when s.id is not null then 'struck' end), s.recorded_by
        from stock_entry e join stock_lot l on l.id = e.lot_id join stock_item i on i.id = l.item_id and i.what = 'part' left join stock_entry s on s.strikes = e.id
        left join ticket t on t.id = e.ticket_id where e.watch_id = ${watchId}::uuid and e.kind = 'fitted' and e.strikes is null
      union all
      select 'book', null, o.from_day::text, o.recorded_at, null, 'ownership', jsonb_build_object('how', o.how, 'owner', coalesce(w.name, 'unknown')), o.recorded_by, o.id::text, 0,
        s.reason, s.recorded_by from ownership o left join owner w on w.id = o.owner_id left join strike s on s.fact_id = o.id where o.watch_id = ${watchId}::uuid
    ) as x order by x.learned, x.seq, x.id, x.kind = 'comeback-cost', x.kind limit 20000`
}
