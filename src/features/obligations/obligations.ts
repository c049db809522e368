import { type Db, dayFrom, dayOrNull } from '../../db/open.ts'
import { type Day, numberOfDay } from '../../domain/day.ts'
import type { Obligation, Standing } from '../../domain/reckoning/answer.ts'
import { obligationKinds } from '../../domain/reckoning/facts.ts'
import { reckon } from '../../domain/reckoning/reckon.ts'
import { standingOn } from '../../domain/reckoning/windows.ts'
import { Refusal } from '../../domain/refusals.ts'
import { rulesInForce } from '../house-rules/house-rules.ts'
import { factsOf } from './facts.ts'

/** What a watch is due for on a day, with the trace of every rule and what a missing fact would change; a past day as it was known then. */
export async function obligationsOn(db: Db, watchId: string, on: Day) {
  const [file] = await factsOf(db, [watchId], on, { eventIds: true })
  if (!file) throw new Refusal('not-found', { what: 'watch', id: watchId })
  if (file.firstSeen > on)
    throw new Refusal('faulty-input', {}, [
      { parameter: 'on', detail: `must not lie before ${file.firstSeen}, when the watch or its owner became known` },
    ])
  const { rules, rulesFrom } = await rulesInForce(db, on)
  const answer = reckon(file.facts, rules, on, { trace: true, wouldChange: true, rulesFrom })
  return {
    watchId,
    ...answer,
    obligations: answer.obligations as readonly Required<Obligation>[],
    // an index means nothing to somebody who did not send the list
    warnings: answer.warnings.map((warning) =>
      'history' in warning ? { code: warning.code, eventId: file.eventIds[warning.history] } : warning,
    ),
  }
}

type Row = Awaited<ReturnType<Db['obligation']['findMany']>>[number]

/** The dates as they stand on file after a change: the short form that every recording answers with. */
export async function obligationsSummary(db: Db, watchId: string, today: Day) {
  const rows = await db.obligation.findMany({ where: { watchId } })
  const byKind = obligationKinds
    .map((kind) => rows.find((row) => row.kind === kind))
    .filter((row): row is Row => row !== undefined)
  return {
    obligations: byKind
      .filter((row) => row.rule !== null)
      .map((row) => ({
        kind: row.kind,
        rule: row.rule as string,
        dueOn: dayOrNull(row.dueOn) as Day,
        noticesDueOn: dayOrNull(row.noticesDueOn) as Day,
        standing: standingOf(row, today),
      })),
    without: byKind
      .filter((row) => row.rule === null)
      .map((row) => ({ kind: row.kind, because: row.because as string })),
    warnings: [...new Set(rows.flatMap((row) => row.warnings))],
  }
}

/** The standing on a day of an obligation on file. */
export function standingOf(
  row: Pick<Row, 'rule' | 'comingUpFrom' | 'noticesDueOn' | 'overdueFrom' | 'stopOn'>,
  today: Day,
): Standing {
  if (row.rule === 'unknown-base') return 'to-be-assessed'
  const at = (date: Date | null) => (date === null ? Number.POSITIVE_INFINITY : numberOfDay(dayFrom(date)))
  return standingOn(numberOfDay(today), at(row.comingUpFrom), at(row.noticesDueOn), at(row.overdueFrom), at(row.stopOn))
}
