import { createHash } from 'node:crypto'
import type { Db } from '../../db/open.ts'
import { Refusal } from '../../domain/refusals.ts'
import { wordsFor } from './story-words.ts'

/** One line of the story of a watch: when it happened, when it was written, what, and who signed. */
export type Entry = {
  at: string
  on: string
  learned: string
  ticket: string | null
  what: string
  words: string
  by: string
  record: string
  struck: string | null
}

type Row = {
  at: Date | string
  on: string
  learned: Date | string
  number: string | null
  kind: string
  data: Record<string, unknown>
  by: string
  id: string
  struck: string | null
}

/** Everything on file about a watch in order of time, from all its tickets and the book. */
export async function storyOf(db: Db, watchId: string) {
  const watch = await db.watch.findUnique({ where: { id: watchId } })
  if (!watch) throw new Refusal('not-found', { what: 'watch', id: watchId })
  const rows = await db.$queryRaw<Row[]>`
    with mine as (select id, number from ticket where watch_id = ${watchId}::uuid)
    select * from (
      select r.at, r.on_day::text as on, r.recorded_at as learned, m.number, r.kind, r.data || jsonb_strip_nulls(jsonb_build_object(
          'toolNamed', tool.name || ' ' || tool.serial, 'lotNamed', concat_ws(' ', item.written, lot.lot_number))) as data,
          r.recorded_by as by, r.id::text, s.data ->> 'reason' as struck, r.seq
        from mine m join ticket_record r on r.ticket_id = m.id left join ticket_record s on s.strikes = r.id
        left join tool on tool.id = r.tool_id left join stock_lot lot on lot.id = r.lot_id left join stock_item item on item.id = lot.item_id
      union all
      select c.at, (c.at at time zone 'UTC')::date::text, c.recorded_at, m.number, 'custody', jsonb_build_object('from', c.from_place, 'to', c.to_place, 'holder', c.holder),
        c.recorded_by, c.id::text, null, c.seq from mine m join custody_move c on c.ticket_id = m.id
      union all
      select e.recorded_at, e.made_on::text, e.recorded_at, m.number, 'estimate', jsonb_build_object('version', e.n, 'total', e.total, 'currency', e.currency, 'validUntil', e.valid_until,
        'lines', (select jsonb_agg(l.what order by l.place) from estimate_line l where l.estimate_id = e.id)), e.recorded_by, e.id::text, null, e.seq
        from mine m join estimate e on e.ticket_id = m.id
      union all
      select a.at, a.on_day::text, a.recorded_at, m.number, 'answer', jsonb_build_object('version', a.version, 'answer', a.answer, 'person', a.person, 'how', a.how, 'line', l.what,
        'total', a.total), a.recorded_by, a.id::text, null, a.seq
        from mine m join estimate_answer a on a.ticket_id = m.id join estimate_line l on l.id = a.line_id
      union all
      select p.at, (p.at at time zone 'UTC')::date::text, p.recorded_at, m.number, 'picture', jsonb_build_object('view', p.view, 'stage', p.stage, 'sha256', f.sha256), p.recorded_by,
        p.id::text, null, p.seq from mine m join ticket_picture p on p.ticket_id = m.id join picture_file f on f.id = p.file_id
      union all
      select r.at, r.on_day::text, r.recorded_at, f.number, 'comeback-cost', jsonb_build_object('ticket', m.number, 'what', l.what, 'part', l.part, 'amount', l.house_cost * l.quantity,
        'currency', e.currency), r.recorded_by, r.id::text, s.data ->> 'reason', r.seq
        from mine m join ticket_record r on r.ticket_id = m.id and r.kind = 'operation' and r.data ->> 'state' = 'done'
        join estimate_line l on l.id = r.line_id and l.under_guarantee_of is not null join estimate e on e.id = l.estimate_id
        join estimate_line fl on fl.id = l.under_guarantee_of join estimate fe on fe.id = fl.estimate_id join mine f on f.id = fe.ticket_id
        left join ticket_record s on s.strikes = r.id
      union all
      select e.at, (e.at at time zone 'UTC')::date::text, e.at, m.number, 'letter', jsonb_build_object('became', e.became), 'hand-over of letters', r.id::text, null, r.seq
        from mine m join ticket_record r on r.ticket_id = m.id and r.kind = 'contact' join notice n on n.id = (r.data ->> 'notice')::uuid
        cross join lateral (values (n.sent_at, 'sent'), (n.delivered_at, 'delivered'), (n.returned_at, 'returned')) as e (at, became) where e.at is not null
      union all
      select v.recorded_at, v.happened, v.recorded_at, null, 'fact', jsonb_strip_nulls(jsonb_build_object('event', v.event, 'source', v.source, 'learned', v.learned, 'passed', v.passed,
        'bar', v.bar, 'sign', v.sign, 'bestBefore', v.best_before, 'condition', v.condition, 'note', v.note)), v.recorded_by, v.id::text, s.reason, 0
        from watch_event v left join strike s on s.fact_id = v.id where v.watch_id = ${watchId}::uuid
      union all
      select o.recorded_at, o.from_day::text, o.recorded_at, null, 'ownership', jsonb_build_object('how', o.how, 'owner', coalesce(w.name, 'unknown')), o.recorded_by, o.id::text, s.reason, 0
        from ownership o left join owner w on w.id = o.owner_id left join strike s on s.fact_id = o.id where o.watch_id = ${watchId}::uuid
    ) as x order by x.at, x.seq, x.id, x.kind = 'comeback-cost', x.kind limit 20000`
  const entries = rows.map(
    (row): Entry => ({
      at: new Date(row.at).toISOString(),
      on: row.on,
      learned: new Date(row.learned).toISOString(),
      ticket: row.number,
      what: row.kind,
      words: wordsFor(row.kind, row.data),
      by: row.by,
      record: row.id,
      struck: row.struck,
    }),
  )
  return {
    watchId,
    watch: [watch.maker, watch.model, watch.reference].filter((part) => part !== null).join(' '),
    serial: watch.serial,
    kind: watch.kind,
    entries,
    fingerprint: fingerprintOf(entries),
  }
}

export type Story = Awaited<ReturnType<typeof storyOf>>

/** SHA-256 over each entry chained to the one before: a later change of any line changes the last value. */
export function fingerprintOf(entries: readonly Entry[]): string {
  let chain = ''
  for (const entry of entries) {
    const { at, on, ticket, what, words, by, record, struck } = entry
    chain = createHash('sha256')
      .update(`${chain}\n${JSON.stringify([at, on, ticket, what, words, by, record, struck])}`)
      .digest('hex')
  }
  return chain
}
