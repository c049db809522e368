import path from 'node:path'
import { stillAllowed } from '../../src/features/notices/decide-again.ts'
import { deliverLetters } from '../../src/jobs/deliver.ts'
import type { Step } from './step.ts'
import { count } from './step.ts'

/** The night's letters on their way: no relay is configured, so each becomes a file that a mail program opens. */
export const letters: Step = {
  name: 'Letters handed over',
  run: async (demo, say) => {
    const { pool } = demo.service.database
    const sent = async () => {
      const { rows } = await pool.query<{ n: number }>(
        `select count(*) as n from notice where run_on = $1 and state = 'sent'`,
        [demo.today],
      )
      return rows[0]?.n ?? 0
    }
    const watching = setInterval(() => void sent().then((n) => say(`${count(n)} letters`)), 1000)
    try {
      await deliverLetters(demo.service, stillAllowed)
    } finally {
      clearInterval(watching)
    }
    return `${count(await sent())} files in ${path.relative(process.cwd(), demo.service.config.letters.folder)}`
  },
}
