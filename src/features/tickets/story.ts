import { createHash } from 'node:crypto'
import type { Db } from '../../db/open.ts'
import { inWords, type Money } from '../../domain/money.ts'
import { Refusal } from '../../domain/refusals.ts'
import { testWords } from '../../domain/tickets/gates-water.ts'
import type { TestKind } from '../../domain/tickets/snapshot.ts'
import { type GateName, gateTitles } from '../../domain/tickets/steps.ts'

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
      select r.at, r.on_day::text as on, r.recorded_at as learned, m.number, r.kind, r.data, r.recorded_by as by, r.id::text, s.data ->> 'reason' as struck, r.seq
        from mine m join ticket_record r on r.ticket_id = m.id left join ticket_record s on s.strikes = r.id
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

const text = (value: unknown): string => (value === null || value === undefined || value === '' ? '' : String(value))
const list = (values: unknown): string => (Array.isArray(values) ? values.map(text).join(', ') : '')
const money = (value: unknown): string =>
  value && typeof value === 'object' ? inWords(value as Money) : 'none declared'

type Data = Record<string, unknown>
const marks = (list: unknown[] | null) =>
  list === null ? 'no list of marks' : list.length === 1 ? '1 mark' : `${list.length} marks`
const plain = (code: unknown) => text(code).replaceAll('-', ' ')
type GateSaid = { gate: GateName; state: string; overridden: { part: string; reason: string }[] }

const moveWords = (d: Data): string => {
  const gates = ((d.gates ?? []) as GateSaid[])
    .filter((gate) => gate.state !== 'not-asked')
    .map(
      (gate) =>
        `${gate.gate} ${gateTitles[gate.gate]} ${gate.overridden.length > 0 ? `overridden (${gate.overridden.map((o) => o.reason).join('; ')})` : gate.state}`,
    )
  return `from "${plain(d.from)}" to "${plain(d.to)}"${d.reason ? `: ${text(d.reason)}` : ''}${gates.length > 0 ? `. Gates: ${gates.join(', ')}` : ''}`
}

const values = (d: Data): string =>
  Object.entries((d.values ?? {}) as Record<string, number | null>)
    .filter(([, value]) => value !== null)
    .map(([name, value]) => `${name} ${value}`)
    .join(', ')

/** What each kind of record says, in one plain sentence. */
const sentences: Readonly<Record<string, (d: Data) => string>> = {
  booked: (d) => `booked in: "${text(d.complaint)}"`,
  people: (d) => `may approve: ${list(d.approve) || 'the owner'}; may collect: ${list(d.collect) || 'the owner'}`,
  condition: (d) =>
    `condition: ${marks(d.marks as unknown[] | null)}, clasp ${text(d.clasp)}, agreed by ${text(d.agreed) || 'nobody'}`,
  value: (d) => `declared value ${money(d.value)}`,
  cover: (d) => `cover arranged: ${text(d.words)}`,
  'do-not': (d) => `not to be done: ${list(d.list)}`,
  ceiling: (d) => `agreed in advance up to ${money(d.amount)}`,
  'hazard-seen': (d) => `hazard seen: ${text(d.kind)} ${text(d.note)}`.trim(),
  'hazard-confirmed': (d) => `handling note confirmed at ${text(d.benchName)}`,
  'hazard-over': (d) => `hazard over: ${text(d.words)}`,
  move: moveWords,
  side: (d) =>
    d.state === null
      ? `left ${text(d.left)}: ${text(d.reason)}`
      : `put aside as ${text(d.state)} until ${text(d.until)}: ${text(d.reason)}`,
  override: (d) =>
    `gate ${text(d.gate)} ${gateTitles[d.gate as GateName] ?? ''} overridden (${plain(d.part)}) by a ${plain(d.role)}: ${text(d.reason)}`,
  look: (d) => `looked over: ${text(d.findings)}${list(d.signs) ? `; signs: ${list(d.signs)}` : ''}`,
  parts: (d) =>
    `parts: ${((d.lines ?? []) as Data[]).map((line) => `${text(line.what)} ${line.onHand ? 'on hand' : `awaited ${text(line.expectedOn)}`.trim()}`).join(', ')}`,
  kit: (d) =>
    `kit checked, ${d.cell === 'none' ? 'no cell' : d.cell === 'full' ? 'a cell of full life' : d.cell === 'short' ? 'a cell of short life' : 'a cell that is not to be fitted'}`,
  opening: (d) => `case opened: ${text(d.reason)}`,
  closing: (d) => `case closed${d.torqueNcm ? ` at ${text(d.torqueNcm)} Ncm` : ''}`,
  operation: (d) =>
    d.state === 'struck'
      ? `struck out: ${text(d.what)}, ${text(d.reason)}`
      : `done: ${text(d.what)}${d.finding ? `; ${text(d.finding)}` : ''}`,
  fitting: (d) =>
    d.opening === 'cell-removed'
      ? 'cell taken out'
      : `fitted: ${text(d.what)}${d.lotUnknownBecause ? `, lot unknown: ${text(d.lotUnknownBecause)}` : ''}`,
  'seals-seen': (d) =>
    `seals seen: ${((d.seals ?? []) as Data[]).map((seal) => `${text(seal.position)} ${text(seal.condition)}`).join(', ')}`,
  reading: (d) =>
    `reading ${text(d.position)} ${d.wind === 'none' ? '' : text(d.wind)}: ${values(d)}`.replace(/ +/g, ' '),
  'water-test': (d) =>
    `${testWords[d.test as TestKind] ?? 'water test'}: ${d.passed ? `passed${d.bar ? ` at ${text(d.bar)} bar` : ''} on this date${d.counts === false ? `; it opens no gate, ${list(d.shortcomings)}` : ''}` : `failed, ${list(d.because)}`}`,
  'readings-accepted': (d) => `values accepted: ${text(d.reason)}`,
  'water-agreement': (d) =>
    `test agreed at ${d.bar === null ? 'no pressure' : `${text(d.bar)} bar`}: ${list((d.needed as TestKind[] | undefined)?.map((kind) => testWords[kind]))}`,
  'claim-withdrawn': (d) =>
    `no longer to be treated as water-resistant: owner ${d.ownerSigned ? 'signed' : 'not yet'}, manager ${d.managerSigned ? 'signed' : 'not yet'}`,
  'final-check': (d) => (d.passed ? 'final check passed' : `final check not passed: ${text(d.reason)}`),
  contact: (d) =>
    d.notice
      ? 'a letter to the owner that it is ready was queued'
      : `${text(d.about)} by ${text(d.means)}: ${text(d.result)}${d.words ? `, ${text(d.words)}` : ''}`,
  letter: (d) =>
    d.became === 'sent'
      ? 'the letter that it is ready was handed to the mail'
      : d.became === 'delivered'
        ? 'the letter that it is ready was delivered'
        : 'the letter that it is ready came back',
  'at-counter': (d) => `${text(d.collector)} is at the counter`,
  release: (d) =>
    `compared before the hand-over: tag ${text(d.tagNumber)}, collector ${text(d.collector)}, slip ${text(d.slip)}${d.twinAnswer ? `, twin: ${text(d.twinAnswer)}` : ''}`,
  payment: (d) => `${text(d.how)} ${money(d.amount)}`,
  revocation: (d) => `yes taken back by ${text(d.person)}`,
  'yes-confirmed': (d) => `yes to version ${text(d.version)} confirmed in writing`,
  goodwill: (d) => `goodwill: ${text(d.reason)}`,
  comeback: (d) =>
    `came back: ${((d.lines ?? []) as Data[]).map((line) => `${line.covered ? 'covered' : 'not covered'}, ${text(line.because)} (cause: ${text(line.cause ?? d.cause)})`).join('; ')}`,
  'comeback-cost': (d) =>
    `under its guarantee, on ticket ${text(d.ticket)}: ${text(d.what)} cost the house ${inWords({ amount: Number(d.amount), currency: text(d.currency) })} for the ${d.part ? 'part' : 'work'}, not billed`,
  promise: (d) => `promised for ${text(d.on)}`,
  incident: (d) => `incident: ${text(d.what)}, last at ${text(d.lastPlace)} with ${text(d.lastHolder)}`,
  'unclaimed-step': (d) => `unclaimed: ${text(d.step)}, ${text(d.words)}`,
  ended: (d) => `ended as ${text(d.as)}${d.law ? ` under ${text(d.law)}` : ''}: ${text(d.words)}`,
  struck: (d) => `record struck: ${text(d.reason)}`,
  custody: (d) => `${d.from === null ? 'came in' : `from ${text(d.from)}`} to ${text(d.to)}, held by ${text(d.holder)}`,
  estimate: (d) =>
    `estimate version ${text(d.version)}: ${inWords({ amount: Number(d.total), currency: text(d.currency) })}, valid until ${text(d.validUntil) || 'no day'}; ${list(d.lines)}`,
  answer: (d) =>
    `${text(d.person)} says ${text(d.answer)} to "${text(d.line)}" (version ${text(d.version)}, ${text(d.how)})`,
  picture: (d) => `picture ${text(d.view)}, ${text(d.stage)}`,
  fact: (d) =>
    `in the book: ${plain(d.event)}${d.event === 'water-test' ? (d.passed ? ' passed' : ' failed') : ''}${d.sign ? ` ${text(d.sign)}` : ''}${d.bar ? ` at ${text(d.bar)} bar` : ''} (${plain(d.source)})`,
  ownership: (d) => `belongs to ${text(d.owner)}: ${text(d.how)}`,
}

export const wordsFor = (kind: string, data: Data): string => sentences[kind]?.(data) ?? kind
