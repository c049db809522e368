import { obligationsOn } from '../../src/features/obligations/obligations.ts'
import type { Demo, Section } from './step.ts'
import { watchesOf } from './step.ts'

/** A watch whose maker shortened the interval lately: reckoned into the past, asked about ninety days later. */
export async function shortened(demo: Demo): Promise<string | undefined> {
  const { rows } = await demo.service.database.pool.query<{ watch_id: string }>(
    `select watch_id from obligation where kind = 'complete-service' and rule = 'maker' and due_on < notices_due_on
     order by due_on desc, watch_id limit 1`,
  )
  return rows[0]?.watch_id
}

/** Three watches, and every rule that was tried on them, in plain words. */
export async function threeTraces(demo: Demo): Promise<Section[]> {
  const examples: [string, string | undefined, string][] = [
    ['The kiosk opened it', watchesOf(demo, 'opened elsewhere since its test')[0], 'water-check'],
    ['A cell that is used up early', watchesOf(demo, 'consumption above its limit')[0], 'cell-change'],
    ['The maker changed his mind', await shortened(demo), 'complete-service'],
  ]
  const sections: Section[] = []
  for (const [title, watchId, kind] of examples) {
    if (watchId === undefined) continue
    const { prisma } = demo.service.database
    const watch = await prisma.watch.findUniqueOrThrow({ where: { id: watchId } })
    const answer = await obligationsOn(prisma, watchId, demo.today)
    const due = answer.obligations.find((obligation) => obligation.kind === kind)
    if (!due) continue
    sections.push({
      title: `${title}: ${watch.maker} ${watch.model}, ${kind.replaceAll('-', ' ')}`,
      lines: [
        `due ${due.dueOn} by the rule ${due.rule}; letters count from ${due.noticesDueOn}; on ${demo.today} it is ${due.standing.replaceAll('-', ' ')}`,
        ...due.trace.map(({ rule, applied, because }) => `${applied ? '→' : ' '} ${rule.padEnd(18)} ${because}`),
        ...due.wouldChange
          .slice(0, 3)
          .map(({ fact, to, dueOn }) => `  were ${fact} known to be ${to}, it would be due ${dueOn ?? 'never'}`),
      ],
    })
  }
  return sections
}
