import type { Db } from '../../db/open.ts'
import { judgeReading, type Verdict } from '../../domain/readings/judge.ts'
import { Refusal } from '../../domain/refusals.ts'
import { Prisma } from '../../generated/prisma/client.ts'
import type { Signer } from '../../http/service.ts'
import type { Loaded } from './snapshot.ts'
import { wordsFor } from './story-words.ts'

type Row = {
  id: string
  seq: number
  kind: string
  at: Date
  on: string
  recordedAt: Date
  by: string
  data: Record<string, unknown>
  line: { id: string; what: string } | null
  tool: { id: string; kind: string; serial: string; name: string } | null
  lot: { id: string; item: string; number: string | null } | null
  strikes: string | null
  struck: { record: string; by: string; on: string; why: string } | null
}

export type ShownRecord = ReturnType<typeof shown>

export type RecordPage = { kind?: string | undefined; id?: string | undefined; after: number; limit: number }

/** What was said and done about a ticket, in the order it was recorded; what was struck stands among it, marked so. */
export async function listRecords(db: Db, ticketId: string, wanted: RecordPage): Promise<Row[]> {
  return db.$queryRaw<Row[]>`
    select r.id, r.seq::float8 as seq, r.kind, r.at, r.on_day::text as on, r.recorded_at as "recordedAt", r.recorded_by as by, r.data,
      case when l.id is not null then jsonb_build_object('id', l.id, 'what', l.what) end as line,
      case when tool.id is not null then jsonb_build_object('id', tool.id, 'kind', tool.kind, 'serial', tool.serial, 'name', tool.name) end as tool,
      case when lot.id is not null then jsonb_build_object('id', lot.id, 'item', item.written, 'number', lot.lot_number) end as lot, r.strikes,
      case when s.id is not null then jsonb_build_object('record', s.id, 'by', s.recorded_by, 'on', s.on_day, 'why', s.data ->> 'reason') end as struck
    from ticket_record r left join ticket_record s on s.strikes = r.id left join estimate_line l on l.id = r.line_id
      left join tool on tool.id = r.tool_id left join stock_lot lot on lot.id = r.lot_id left join stock_item item on item.id = lot.item_id
    where r.ticket_id = ${ticketId}::uuid and r.seq > ${wanted.after}
      ${wanted.kind === undefined ? Prisma.empty : Prisma.sql`and r.kind = ${wanted.kind}`}
      ${wanted.id === undefined ? Prisma.empty : Prisma.sql`and r.id = ${wanted.id}::uuid`}
    order by r.seq limit ${wanted.limit + 1}`
}

export async function oneRecord(db: Db, ticketId: string, id: string): Promise<Row> {
  const [row] = await listRecords(db, ticketId, { id, after: 0, limit: 1 })
  if (!row) throw new Refusal('not-found', { what: 'record of this ticket', id })
  return row
}

/** What proves who somebody is, is for those who hand watches over. */
const proofs = new Set(['identityProof', 'papers'])
const contentFor = (data: Record<string, unknown>, role: Signer['role']) =>
  role === 'counter' || role === 'manager'
    ? data
    : Object.fromEntries(Object.entries(data).filter(([name]) => !proofs.has(name)))

/** By the limits it is judged by at the gate; a struck reading is judged no more. */
function verdictsOf(row: Row, ticket: Loaded | null): readonly Verdict[] | null {
  if (row.kind !== 'reading' || ticket === null) return null
  const { readings, tolerances } = ticket.snapshot.observation
  const reading = readings.list.find((one) => one.seq === row.seq)
  return reading === undefined
    ? null
    : judgeReading(row.data.family === 'quartz' ? 'quartz' : 'mechanical', reading, tolerances)
}

/** `ticket` is needed only where a reading is to be judged by the tolerances of its watch. */
export const shown = (row: Row, role: Signer['role'], ticket: Loaded | null) => ({
  id: row.id,
  kind: row.kind,
  at: row.at.toISOString(),
  on: row.on,
  recordedAt: row.recordedAt.toISOString(),
  by: row.by,
  words: wordsFor(row.kind, {
    ...row.data,
    ...(row.lot && { lotNamed: `${row.lot.item} ${row.lot.number ?? ''}`.trim() }),
    ...(row.tool && { toolNamed: `${row.tool.name} ${row.tool.serial}` }),
  }),
  content: contentFor(row.data, role),
  line: row.line,
  tool: row.tool,
  lot: row.lot,
  verdicts: verdictsOf(row, ticket)?.map(({ what, value, within, words }) => ({ what, value, within, words })) ?? null,
  strikes: row.strikes,
  struck: row.struck,
})
