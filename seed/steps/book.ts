import { importBook } from '../../src/features/imports/imports.ts'
import { bookOf, factsIn, lotsOf } from '../invented/centre.ts'
import { whatIsDue } from './due.ts'
import { count, doing, type Step, watchesOf } from './step.ts'
import { threeTraces } from './traces.ts'

// a lot is one transaction: large enough to be quick, small enough to hold no lock for long
const WATCHES_A_LOT = 400

type Imported = { owners: { ref: string; id: string }[]; watches: { ref: string; id: string }[]; warnings: unknown[] }

export const book: Step = {
  name: 'The book of owners, watches and facts',
  run: async (demo, say) => {
    const { groups } = demo.centre
    const { country } = demo.service.config.centre
    let facts = 0
    let warnings = 0
    for (const lot of lotsOf(groups, WATCHES_A_LOT)) {
      const loaded = bookOf(lot)
      const { body } = await doing(demo, (act) => importBook(act, loaded, country))
      const { owners, watches, warnings: said } = body as Imported
      for (const { ref, id } of owners) demo.owners.set(ref, id)
      for (const { ref, id } of watches) demo.watches.set(ref, id)
      facts += factsIn(loaded)
      warnings += said.length
      say(`${count(demo.watches.size)} watches`)
    }
    return `${count(demo.owners.size)} owners, ${count(demo.watches.size)} watches, ${count(facts)} facts; ${warnings} set aside with a warning`
  },
  account: async (demo) => [...(await whatIsDue(demo)), ...(await threeTraces(demo))],
  tries: async (demo) => {
    const opened = watchesOf(demo, 'opened elsewhere since its test')[0] ?? ''
    const { rows } = await demo.service.database.pool.query<{ watch_id: string }>(
      `select watch_id from obligation o join watch w on w.id = o.watch_id
       where o.kind = 'complete-service' and o.rule = 'usual' and w.kind = 'self-winding' and o.due_on > $1 and w.owner_id is not null
         and not exists (select from wear_statement t where t.watch_id = w.id)
       order by o.due_on, watch_id limit 1`,
      [demo.today],
    )
    return [
      {
        words: 'What is due on the watch the kiosk opened, by which rule, and what would change it',
        role: 'bench',
        method: 'GET',
        path: `/v1/watches/${opened}/obligations`,
      },
      {
        words: 'An owner says it is hardly worn: the date of its service moves at once',
        role: 'counter',
        method: 'POST',
        path: `/v1/watches/${rows[0]?.watch_id}/wear`,
        body: { daily: 'no', vibration: 'no', heat: 'no', cold: 'no', water: 'never', source: 'owner-word' },
        idempotencyKey: 'hardly-worn-1',
      },
      {
        words: 'A question about a watch that is not on file: nothing is written',
        role: 'counter',
        method: 'POST',
        path: '/v1/reckonings',
        body: {
          on: demo.today,
          watch: { kind: 'self-winding', beatsPerHour: 36_000, firstSeen: demo.today },
          history: [{ event: 'complete-service', on: '2024-02-29', source: 'paper' }],
        },
      },
    ]
  },
}
