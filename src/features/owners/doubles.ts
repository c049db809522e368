import type { Db } from '../../db/open.ts'
import { Refusal } from '../../domain/refusals.ts'
import { nameKey, namesAlike } from '../../domain/searching.ts'
import { type NewContact, searchValue } from './contacts.ts'

/** Somebody or something on file that a new record may be, and by what it is told. */
export type Double = { readonly id: string; readonly words: string }

/** Offers what is on file instead of a double; `part` is where the new record stands in the request, `anyway` what makes it all the same. */
export const likelyDouble = (
  what: string,
  doubles: readonly Double[],
  { part, anyway = '"confirmedNew": true' }: { part?: string; anyway?: string } = {},
): Refusal =>
  new Refusal('likely-double', {
    what,
    ...(part !== undefined && { part }),
    candidates: doubles.map((double) => double.id),
    words: doubles.map((double) => double.words),
    anyway,
  })

const MOST_DOUBLES = 10
const means = { 'e-mail': 'mail address', phone: 'telephone number' } as const

type Named = { id: string; name: string; means: 'e-mail' | 'phone' }

/**
 * Owners who share an e-mail address or telephone number with these contacts, whatever their names; then those of the same
 * full name, who may have another number by now; then those whose name is nearly the same. One word alone names nobody.
 */
export async function likelyDoubles(
  db: Db,
  owner: { name: string; contacts: readonly NewContact[] },
  country: string,
  pointer = '',
): Promise<Double[]> {
  const keys = owner.contacts.flatMap((contact, at) =>
    contact.means === 'post'
      ? []
      : [{ means: contact.means, value: searchValue(contact, country, `${pointer}/contacts/${at}/value`) }],
  )
  const reached =
    keys.length === 0
      ? []
      : await db.$queryRaw<Named[]>`
          select distinct on (o.id) o.id, o.name, c.means
          from unnest(${keys.map((key) => key.means)}::text[], ${keys.map((key) => key.value)}::text[]) as k (means, value)
          join contact c on c.means = k.means and c.search_value = k.value and c.ended_on is null join owner o on o.id = c.owner_id
          order by o.id limit ${MOST_DOUBLES}`
  const name = nameKey(owner.name)
  const found = new Map(reached.map((row) => [row.id, `${row.name}, who has the same ${means[row.means]}`]))
  for (const row of await named(db, name))
    if (!found.has(row.id))
      found.set(row.id, `${row.name}, ${row.key === name ? 'who has the same name' : 'whose name is nearly the same'}`)
  return [...found].slice(0, MOST_DOUBLES).map(([id, words]) => ({ id, words }))
}

/** Those whose name may be this one, the same first. */
async function named(db: Db, name: string): Promise<{ id: string; name: string; key: string }[]> {
  if (!name.includes(' ')) return []
  // half of the trigrams in common is what the index looks for; the domain then looks at the words
  await db.$executeRaw`set local pg_trgm.similarity_threshold = 0.5`
  const rows = await db.$queryRaw<{ id: string; name: string; key: string }[]>`
    select id, name, search_name as key from owner
    where search_name % ${name} and merged_into is null and erased_on is null
    order by similarity(search_name, ${name}) desc, id limit 100`
  return rows
    .filter((row) => row.key === name || namesAlike(row.key, name))
    .sort((a, b) => Number(b.key === name) - Number(a.key === name))
}
