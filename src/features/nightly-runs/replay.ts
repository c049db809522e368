import { type Database, dateOf, dayFrom } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { decideLetters } from '../../domain/notices/decide.ts'
import type { LetterPlan } from '../../domain/notices/types.ts'
import { Refusal } from '../../domain/refusals.ts'
import { rulesInForce } from '../house-rules/house-rules.ts'
import { readOwnersThen } from '../notices/decide-then.ts'
import { JOB } from './run.ts'

/** One line for each part of a letter: what two letters must share to be the same letter. */
const linesOf = (plan: LetterPlan): string[] => [
  `come by ${plan.comeBy}, in ${plan.language}`,
  ...plan.parts.map((part) =>
    part.part === 'due'
      ? `${part.kind} of watch ${part.watchId}: ${part.rule}, stage ${part.stage} of round ${part.round}, cycle ${part.cycle}, due ${part.dueOn}, ${part.standing}, ${part.foldedUnder ?? 'alone'}, ${part.wentOut} before`
      : part.part === 'keep-dry'
        ? `keep-dry of watch ${part.watchId}`
        : `${part.part} of watch ${part.watchId}, stage ${part.stage}`,
  ),
]

/**
 * The letters of a past night reckoned again from what was known when that night ran. What was booked and what comes out
 * again are set side by side; nothing is written. Keys that were freed since count as if they had never been taken.
 */
export async function replayNight(database: Database, date: Day) {
  const db = database.prisma
  const run = await db.nightlyRun.findUnique({
    where: { job_localDate: { job: JOB, localDate: dateOf(date) } },
  })
  if (!run || run.state === 'missed') throw new Refusal('not-found', { what: 'nightly run of', id: date })
  const booked = await db.notice.findMany({ where: { runOn: run.localDate }, select: { ownerId: true, plan: true } })
  const held = await db.$queryRaw<{ id: string }[]>`
    select distinct coalesce(o.merged_into, o.id) as id from withheld_item w join owner o on o.id = w.owner_id where w.run_on = ${date}::date`
  const at = run.startedAt
  const inForce = await rulesInForce(db, date, at)
  const owners = [...new Set([...booked.map((row) => row.ownerId), ...held.map((row) => row.id)])].sort()
  const differences: { ownerId: string; booked: string[]; again: string[] }[] = []
  for (let i = 0; i < owners.length; i += 500) {
    const states = await readOwnersThen(db, owners.slice(i, i + 500), date, at, inForce)
    for (const state of states) {
      const again = decideLetters(state, inForce.notices, date).letter
      const was = booked
        .filter((row) => row.ownerId === state.ownerId)
        .flatMap((row) => linesOf(row.plan as unknown as LetterPlan))
      const now = again === null ? [] : linesOf(again)
      if (JSON.stringify(was) !== JSON.stringify(now) && state.ownerId !== null)
        differences.push({ ownerId: state.ownerId, booked: was, again: now })
    }
  }
  return { date: dayFrom(run.localDate), same: differences.length === 0, letters: booked.length, differences }
}
