import { runNight } from '../../src/features/nightly-runs/run.ts'
import type { Step } from './step.ts'
import { count } from './step.ts'

/** The night of the demo's day, as the clock would have run it. */
export const nightly: Step = {
  name: 'The nightly run',
  run: async (demo, say) => {
    let batches = 0
    const counts = await runNight(demo.service, demo.today, {
      by: 'demo',
      afterBatch: () => say(`${++batches} batches`),
    })
    if (counts === null) throw new Error(`the nightly run of ${demo.today} was not to be had`)
    return `${count(counts.letters)} letters with ${count(counts.items)} items queued, ${count(counts.withheld)} items held back`
  },
  account: async (demo) => {
    const { pool } = demo.service.database
    const tally = async (sql: string, of: unknown[] = [demo.today]) => {
      const { rows } = await pool.query<{ what: string; n: number }>(sql, of)
      return rows.map(({ what, n }) => `${what.replaceAll('-', ' ')} ${count(n)}`).join(', ')
    }
    const kinds = await tally(
      `select kind as what, count(*) as n from notice_item where run_on = $1 and booked = 'letter' group by 1 order by 2 desc, 1`,
    )
    const rules = await tally(
      `select rule as what, count(*) as n from notice_item where run_on = $1 and booked = 'letter' group by 1 order by 2 desc, 1`,
    )
    const languages = await tally(
      `select language as what, count(*) as n from notice where run_on = $1 group by 1 order by 2 desc, 1`,
    )
    const watches = await tally(
      `select case n when 1 then 'about one thing' when 2 then 'about two' else 'about three or more' end as what, count(*) as n
       from (select count(*) as n from notice_item where run_on = $1 and booked = 'letter' group by notice_id) a group by 1 order by 2 desc`,
    )
    const reasons = await tally(
      `select reason as what, count(*) as n from withheld_item, unnest(reasons) as reason where run_on = $1 group by 1 order by 2 desc, 1`,
    )
    const tasks = await tally(
      `select kind as what, count(*) as n from task where done_at is null group by 1 order by 2 desc, 1`,
      [],
    )
    return [
      {
        title: 'Letters decided that night',
        lines: [
          `by kind      ${kinds}`,
          `by rule      ${rules}`,
          `by language  ${languages}`,
          `by length    ${watches}`,
        ],
      },
      { title: 'Held back, and every reason why', lines: [reasons] },
      ...(tasks ? [{ title: 'Tasks for people', lines: [tasks] }] : []),
    ]
  },
  tries: async (demo) => {
    // the fullest letter to a person who reads English
    const { rows } = await demo.service.database.pool.query<{ id: string }>(
      `select n.id from notice n join owner o on o.id = n.owner_id join notice_item i on i.notice_id = n.id and i.booked = 'letter'
       where n.run_on = $1 and n.language = 'en' and not o.is_firm group by n.id order by count(distinct i.watch_id) desc, count(*) desc, n.id limit 1`,
      [demo.today],
    )
    return [
      {
        words: 'A letter of that night, word for word',
        role: 'manager',
        method: 'GET',
        path: `/v1/notices/${rows[0]?.id}/preview`,
      },
    ]
  },
}
