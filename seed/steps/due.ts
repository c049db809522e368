import { obligationKinds } from '../../src/domain/reckoning/facts.ts'
import { standingOf } from '../../src/features/obligations/obligations.ts'
import type { Demo, Section } from './step.ts'
import { count } from './step.ts'

const standings = ['not-yet', 'coming-up', 'due', 'overdue', 'asked-enough', 'to-be-assessed'] as const

type Row = {
  kind: string
  rule: string | null
  because: string | null
  coming_up_from: string | null
  notices_due_on: string | null
  overdue_from: string | null
  stop_on: string | null
  n: number
}

/** What fell due in the whole book: by kind and standing, then by the rule that made it so. */
export async function whatIsDue(demo: Demo): Promise<Section[]> {
  const { rows } = await demo.service.database.pool.query<Row>(
    `select kind, rule, because, coming_up_from, notices_due_on, overdue_from, stop_on, count(*) as n
     from obligation group by 1, 2, 3, 4, 5, 6, 7`,
  )
  const date = (day: string | null) => (day === null ? null : new Date(`${day}T00:00:00Z`))
  const tally = new Map<string, number>()
  const add = (key: string, n: number) => tally.set(key, (tally.get(key) ?? 0) + n)
  for (const row of rows) {
    if (row.rule === null) {
      add(`${row.kind} without ${row.because}`, row.n)
      continue
    }
    const standing = standingOf(
      {
        rule: row.rule,
        comingUpFrom: date(row.coming_up_from),
        noticesDueOn: date(row.notices_due_on),
        overdueFrom: date(row.overdue_from),
        stopOn: date(row.stop_on),
      },
      demo.today,
    )
    add(`${row.kind} is ${standing}`, row.n)
    if (standing === 'coming-up' || standing === 'due' || standing === 'overdue')
      add(`${row.kind} by ${row.rule}`, row.n)
  }
  const cell = (text: string) => text.padStart(15)
  const table = [
    `${''.padEnd(17)}${standings.map((standing) => cell(standing.replaceAll('-', ' '))).join('')}`,
    ...obligationKinds.map(
      (kind) =>
        `${kind.replaceAll('-', ' ').padEnd(17)}${standings.map((standing) => cell(count(tally.get(`${kind} is ${standing}`) ?? 0))).join('')}`,
    ),
  ]
  const by = (kind: string, word: string) =>
    [...tally]
      .filter(([key]) => key.startsWith(`${kind} ${word} `))
      .sort(([, a], [, b]) => b - a)
      .map(([key, n]) => `${key.slice(kind.length + word.length + 2)} ${count(n)}`)
      .join(', ')
  return [
    { title: 'What is due in the book, by kind', lines: table },
    {
      title: 'Coming up, due or overdue, by the rule that decided',
      lines: obligationKinds.map((kind) => `${kind.replaceAll('-', ' ').padEnd(17)}${by(kind, 'by')}`),
    },
    {
      title: 'No date at all, and why',
      lines: obligationKinds.flatMap((kind) => {
        const why = by(kind, 'without')
        return why ? [`${kind.replaceAll('-', ' ').padEnd(17)}${why}`] : []
      }),
    },
  ]
}
