import type { Db } from '../../db/open.ts'
import { digitsOf, nameKey } from '../../domain/searching.ts'
import { Prisma } from '../../generated/prisma/client.ts'
import { phoneKey } from './contacts.ts'

export type Found = { id: string; name: string; language: string; mergedInto: string | null; deceased: boolean }

// a search that fits half the book is no search: what is read of it is bounded, so that it stays fast at any size
const MOST_READ = 2000

/**
 * Owners by any part of a name, by mail address (from its beginning), or by telephone number: whole in any spelling, or its last
 * digits. Without a search text, all owners by id.
 */
export async function searchOwners(
  db: Db,
  search: string | undefined,
  after: readonly string[] | null,
  limit: number,
  country: string,
): Promise<Found[]> {
  const take = limit + 1
  const from = after ? String(after[0]) : '00000000-0000-0000-0000-000000000000'
  if (search === undefined)
    return db.$queryRaw<Found[]>`
      select id, name, language, merged_into as "mergedInto", deceased_on is not null as deceased from owner where id > ${from}::uuid order by id limit ${take}`
  if (search.includes('@')) return byContact(db, 'e-mail', `${escapeLike(search.toLowerCase())}%`, null, from, take)
  const digits = digitsOf(search)
  if (digits.length >= 4 && !/\p{L}/u.test(search)) {
    const whole = phoneKey(search, country)
    return byContact(
      db,
      'phone',
      whole ? escapeLike(whole) : null,
      `${escapeLike([...digits.replace(/^0+/, '')].reverse().join(''))}%`,
      from,
      take,
    )
  }
  const words = nameKey(search).split(' ').filter(Boolean).slice(0, 4)
  // one comparison a word: the trigram index serves no `like all (…)`
  const fits = words.map((word) => Prisma.sql`search_name like ${`%${escapeLike(word)}%`}`)
  return db.$queryRaw<Found[]>`
    select id, name, language, merged_into as "mergedInto", deceased_on is not null as deceased
    from (select * from owner where ${fits.length > 0 ? Prisma.join(fits, ' and ') : Prisma.sql`true`} limit ${MOST_READ}) fitting
    where id > ${from}::uuid order by id limit ${take}`
}

const escapeLike = (text: string) => text.replace(/[\\%_]/g, '\\$&')

function byContact(
  db: Db,
  means: string,
  pattern: string | null,
  tail: string | null,
  from: string,
  take: number,
): Promise<Found[]> {
  return db.$queryRaw<Found[]>`
    select id, name, language, merged_into as "mergedInto", deceased_on is not null as deceased
    from owner
    where id in (
      select owner_id from (
        (select owner_id from contact where means = ${means} and ended_on is null and search_value like ${pattern} limit ${MOST_READ})
        union all
        (select owner_id from contact where means = 'phone' and ended_on is null and reverse(search_value) like ${tail} limit ${MOST_READ})
      ) found)
      and id > ${from}::uuid
    order by id limit ${take}`
}
