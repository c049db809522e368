import type pg from 'pg'
import type { Prepared } from '../../../src/letters/delivery.ts'
import type { Claim, Waits } from '../../../src/letters/statements.ts'

/** Notices in the queue with nothing behind them but an owner: the hand-over asks for no more. */
export async function queueNotices(pool: pg.Pool, count: number): Promise<string[]> {
  const { rows } = await pool.query<{ id: string }>(
    `with o as (insert into owner (name, search_name, created_by) values ('Nadia Ferrant', 'nadia ferrant', 'test') returning id)
     insert into notice (owner_id, run_on, language, text_version, come_by, plan, trace)
     select o.id, '2026-11-25', 'en', 'test', '2026-12-02', '{}', '{}' from o, generate_series(1, $1) returning id`,
    [count],
  )
  return rows.map((row) => row.id)
}

/** Takes every letter away, which only a superuser may who sets the triggers aside: a test begins with an empty queue. */
export const emptyQueue = (pool: pg.Pool) =>
  pool.query(`begin; set local session_replication_role = replica;
    truncate notice, notice_item, letter, delivery_attempt, task, owner_link, owner_answer, delivery_report cascade; commit`)

/** A queued notice with one item and its key taken. */
export async function queueWithItem(pool: pg.Pool): Promise<string> {
  const [id] = await queueNotices(pool, 1)
  await pool.query(
    `with w as (insert into watch (maker, kind, first_seen, owner_known_on, created_by)
       values ('Brackwater', 'quartz', '2026-01-01', '2026-01-01', 'test') returning id)
     insert into notice_item (notice_id, owner_id, watch_id, kind, cycle, round, stage, rule, booked, run_on, due_on, standing)
     select n.id, n.owner_id, w.id, 'cell-change', 'base:2024-11-25', '2026-11-25', '1', 'usual', 'letter', '2026-11-25', '2026-11-25', 'due'
     from notice n, w where n.id = $1`,
    [id],
  )
  return id ?? ''
}

export const KEY_HEADER = 'X-Test-Key'

/** A short letter that is the same to the byte each time it is asked for. */
export const plainLetters = async (claims: Claim[]): Promise<Map<string, Prepared>> =>
  new Map(
    claims.map(({ id }) => {
      const raw = [
        'From: Centre <letters@centre.example>',
        `To: <owner.${id}@owner.example>`,
        'Subject: Test',
        `Message-ID: <${id}@centre.example>`,
        `${KEY_HEADER}: notice/${id}`,
        '',
        `Letter ${id}`,
        '.a line that begins with a dot',
        'x'.repeat(900),
        '',
      ].join('\r\n')
      return [
        id,
        {
          id,
          messageId: `<${id}@centre.example>`,
          from: 'letters@centre.example',
          to: `owner.${id}@owner.example`,
          raw: Buffer.from(raw),
        },
      ]
    }),
  )

export const nothingWithheld = async () => new Map<string, string[]>()

/** Waits short enough for a test: every refused letter may go again at once. */
export const NO_WAITS: Waits = { refused: [0], unreachable: [0], giveUp: 3600 }

export type Row = {
  id: string
  state: string
  attempt: number
  response: string | null
  last_error: string | null
  handed_at: Date | null
}

export async function rowOf(pool: pg.Pool, id: string): Promise<Row> {
  const { rows } = await pool.query<Row>('select * from notice where id = $1', [id])
  return rows[0] as Row
}

export const states = async (pool: pg.Pool): Promise<Record<string, number>> => {
  const { rows } = await pool.query<{ state: string; n: number }>(
    'select state, count(*)::int as n from notice group by state',
  )
  return Object.fromEntries(rows.map((row) => [row.state, row.n]))
}
