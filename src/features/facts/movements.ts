import { type Db, dateOf } from '../../db/open.ts'
import type { WatchKind } from '../../domain/reckoning/facts.ts'
import type { Act } from '../../http/service.ts'
import { keepBefore } from '../edits.ts'

type Fitting = {
  readonly event: string
  readonly movement: string
  readonly kind: string | null
  readonly struck: boolean
}

/** A fitting of a movement is an event and a row of its own, written in one act with the row first: which belong together. */
const fittingsOf = (tx: Db, watchId: string) => tx.$queryRaw<Fitting[]>`
  select distinct on (v.id) v.id as event, m.id as movement, m.kind, exists (select from strike s where s.fact_id = m.id) as struck
  from watch_event v join movement m on m.watch_id = v.watch_id and m.from_day::text = v.happened
  where v.watch_id = ${watchId}::uuid and v.event = 'movement-fitted' and not exists (select from strike s where s.replaced_by = v.id)
  order by v.id, m.id < v.id desc, m.id desc`

/** The event, as it was first told, that a movement came in with; null for the one the watch was put on file with. */
export async function eventOf(tx: Db, watchId: string, movement: string): Promise<string | null> {
  return (await fittingsOf(tx, watchId)).find((one) => one.movement === movement)?.event ?? null
}

/** A movement that was not fitted: the watch has the one before it again, and is of the kind it was with that. */
export async function strikeMovement(act: Act, watchId: string, event: string, reason: string): Promise<void> {
  const { tx, today, who } = act
  const strikes = await tx.strike.findMany({ where: { watchId, replacedBy: { not: null } } })
  const before = new Map(strikes.map((strike) => [strike.replacedBy, strike.factId]))
  let first = event
  for (let id = before.get(first); id !== undefined; id = before.get(first)) first = id
  const fitting = (await fittingsOf(tx, watchId)).find((one) => one.event === first)
  if (!fitting || fitting.struck) return
  await tx.strike.create({
    data: {
      factId: fitting.movement,
      factTable: 'movement',
      watchId,
      reason,
      learned: dateOf(today),
      recordedBy: who.name,
    },
  })
  if (fitting.kind === null) return
  const watch = await tx.watch.findUniqueOrThrow({ where: { id: watchId } })
  const [was] = await tx.$queryRaw<{ kind: WatchKind }[]>`
    select coalesce(
      (select m.kind from movement m where m.watch_id = ${watchId}::uuid and not exists (select from strike s where s.fact_id = m.id)
        order by m.from_day desc, m.id desc limit 1),
      (select e.before ->> 'kind' from edit e where e.record = 'watch' and e.record_id = ${watchId}::uuid and e.reason = 'movement replaced'
        order by e.id < ${first}::uuid desc, e.id desc limit 1)) as kind`
  if (!was?.kind || watch.kind !== fitting.kind || was.kind === watch.kind) return
  await keepBefore(act, 'watch', watch, `a movement was not fitted: ${reason}`)
  await tx.watch.update({ where: { id: watchId }, data: { kind: was.kind, version: { increment: 1 } } })
}
