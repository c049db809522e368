import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { lockWatches, rewriteObligations } from './rewrite.ts'

// so many watches are reckoned within the request that changed a rule of theirs; a larger number is left to the next run of the job
const AT_ONCE = 200

/**
 * A change that touches every watch of a calibre or model. Few are reckoned at once; many are marked, in one statement,
 * for the job that reckons what is marked, in batches.
 */
export async function reckonLater(
  tx: Db,
  of: { calibreId: string } | { maker: string; model: string },
  today: Day,
): Promise<{ watches: number; marked: boolean }> {
  const calibreId = 'calibreId' in of ? of.calibreId : null
  const maker = 'maker' in of ? of.maker : null
  const model = 'model' in of ? of.model : null
  const touched = await tx.$queryRaw<{ id: string }[]>`
    select watch_id as id from movement where calibre_id = ${calibreId}::uuid
    union select id from watch where maker = ${maker} and model = ${model}
    limit ${AT_ONCE + 1}`
  if (touched.length <= AT_ONCE) {
    const ids = touched.map((row) => row.id)
    await lockWatches(tx, ids)
    await rewriteObligations(tx, ids, today)
    return { watches: ids.length, marked: false }
  }
  const watches = await tx.$executeRaw`
    update obligation set reconsider_on = ${today}::date, reckon_anew_on = ${today}::date
    where watch_id in (
      select watch_id from movement where calibre_id = ${calibreId}::uuid
      union select id from watch where maker = ${maker} and model = ${model})
    and (reckon_anew_on is null or reckon_anew_on > ${today}::date)`
  return { watches: Math.ceil(watches / 4), marked: true }
}
