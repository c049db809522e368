import type { Sql } from '../../db/sql.ts'
import type { ObligationKind } from '../../domain/reckoning/facts.ts'
import type { Before } from '../notices/decide-rewrite.ts'
import type { ObligationRow } from './rewrite.ts'

/**
 * The columns that say what an obligation is, in one fixed order: a row and what it would be rewritten to are compared as
 * text, so that what comes out the same is neither sent nor written.
 */
const compared = [
  'rule',
  'because',
  'base_on',
  'base_from',
  'base_until',
  'event_on',
  'last_word_on',
  'notices_by',
  'months',
  'due_on',
  'notices_due_on',
  'coming_up_from',
  'overdue_from',
  'stop_on',
  'cycle',
  'next_notice_on',
  'reconsider_on',
  'reckon_anew_on',
] as const satisfies readonly (keyof ObligationRow)[]

/** Obligations on file by watch: what stands, for its letters to go on from, and every row as text. */
export type Stored = { before: Before[]; texts: Map<string, string> }

export async function storedObligations(tx: Sql, watchIds: readonly string[]): Promise<Map<string, Stored>> {
  const rows = await tx.$queryRaw<{ id: string; rows: string }[]>`
    select watch_id as id, string_agg(concat(kind, '|', reckoned_on, '|', rule, '|', because, '|', base_on, '|', base_from, '|', base_until,
      '|', event_on, '|', last_word_on, '|', notices_by, '|', months, '|', due_on, '|', notices_due_on, '|', coming_up_from, '|', overdue_from,
      '|', stop_on, '|', cycle, '|', next_notice_on, '|', reconsider_on, '|', reckon_anew_on, '|', array_to_string(warnings, ',')), E'\n') as rows
    from obligation where watch_id = any(${[...watchIds]}::uuid[]) group by watch_id`
  return new Map(rows.map((row) => [row.id, read(row.rows)]))
}

const column = Object.fromEntries(compared.map((name, index) => [name, index + 2])) as Record<string, number>

function read(text: string): Stored {
  const before: Before[] = []
  const texts = new Map<string, string>()
  for (const line of text.split('\n')) {
    const parts = line.split('|')
    const at = (name: (typeof compared)[number]) => parts[column[name] as number] || null
    const kind = parts[0] as ObligationKind
    texts.set(kind, line.slice(kind.length + 1 + (parts[1] as string).length + 1))
    if (at('rule') !== null)
      before.push({
        kind,
        rule: at('rule'),
        cycle: at('cycle'),
        baseOn: at('base_on'),
        baseUntil: at('base_until'),
        noticesDueOn: at('notices_due_on'),
        stopOn: at('stop_on'),
        nextNoticeOn: at('next_notice_on'),
        reckonedOn: parts[1],
      } as Before)
  }
  return { before, texts }
}

/** A row as `storedObligations` would tell it, were it written. */
export const textOf = (row: ObligationRow): string =>
  `${compared.map((name) => row[name] ?? '').join('|')}|${row.warnings.join(',')}`
