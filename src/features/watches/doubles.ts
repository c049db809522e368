import type { Db } from '../../db/open.ts'
import { serialKey } from '../../domain/searching.ts'
import type { Double } from '../owners/doubles.ts'
import type { NewWatch } from './watches.ts'

type Found = { id: string; words: string; same: boolean }

/**
 * Watches on file that a new one may be. `same`: its maker and serial. `alike`: its serial under a maker written nearly
 * so, of the same model or of this owner; or a watch of this owner, maker and model on file without the serial that has
 * been read by now.
 */
export async function watchDoubles(
  db: Db,
  { maker, model, serial }: Pick<NewWatch, 'maker' | 'model' | 'serial'>,
  ownerId: string,
): Promise<{ same: Double[]; alike: Double[] }> {
  const key = serial ? serialKey(serial) : null
  const rows = await db.$queryRaw<Found[]>`
    select w.id, same, concat_ws(', ', concat_ws(' ', w.maker, w.model), 'serial ' || w.serial, 'of ' || o.name,
      'in the house under ticket ' || (select t.number from ticket t where t.watch_id = w.id and t.ended is null)) as words
    from (
      select id, lower(maker) = lower(${maker}) as same from watch
        where search_serial = ${key} and (lower(maker) = lower(${maker}) or similarity(maker, ${maker}) >= 0.4 or owner_id = ${ownerId}::uuid
          or lower(model) = lower(${model ?? null}))
      union all
      select id, false from watch
        where owner_id = ${ownerId}::uuid and lower(maker) = lower(${maker}) and (${model ?? null}::text is null or lower(model) = lower(${model ?? null}))
          and (${key}::text is null or search_serial is null)
    ) found join watch w using (id) left join owner o on o.id = w.owner_id
    order by same desc, w.id limit 10`
  const double = ({ id, words }: Found): Double => ({ id, words })
  return { same: rows.filter((row) => row.same).map(double), alike: rows.filter((row) => !row.same).map(double) }
}
