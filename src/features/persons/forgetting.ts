import type { Db } from '../../db/open.ts'
import { Prisma } from '../../generated/prisma/client.ts'

export const ERASED = 'erased'

type Data = Record<string, unknown>

/** What only says who somebody was, or is in the owner's own words; in any record of a ticket. */
const ofThePerson = new Set([
  'person',
  'authorisedBy',
  'collector',
  'openedBy',
  'complaint',
  'identityProof',
  'papers',
  'twinAnswer',
])
const lists = new Set(['approve', 'collect'])
/** Records whose free words are what was said with the owner, not what was found on the watch. */
const talk = new Set(['contact', 'revocation', 'promise', 'claim-withdrawn'])
/**
 * Where somebody may have written a name though the words are about the watch, or are the proof that an unclaimed one was
 * dealt with lawfully: the name goes, the words stay.
 */
const freeWords = new Set([
  'proof',
  'words',
  'reason',
  'why',
  'because',
  'finding',
  'findings',
  'remarks',
  'note',
  'lastHolder',
  'serialUnreadable',
])

const escaped = (text: string) => text.replace(/[.*+?^${}()|[\]\\]/g, '\\$&')

/** Takes the names out of a text. */
function cutting(names: readonly string[]): (text: string) => string {
  // longest first, so that a name within another does not leave the rest of it behind
  const known = [...new Set(names.map((name) => name.trim()))]
    .filter((name) => name.length >= 3 && name !== ERASED)
    .sort((a, b) => b.length - a.length)
  if (known.length === 0) return (text) => text
  const pattern = new RegExp(`(?<![\\p{L}\\p{N}])(${known.map(escaped).join('|')})(?![\\p{L}\\p{N}])`, 'giu')
  return (text) => text.replace(pattern, ERASED)
}

/** The data of a ticket's record without the person; the very same object where there was nothing of them in it. */
export function withoutPerson(kind: string, data: Data, names: readonly string[]): Data {
  const cut = cutting(names)
  const walk = (value: unknown, key: string): unknown => {
    if (lists.has(key) && Array.isArray(value)) return value.length === 0 ? value : []
    if (Array.isArray(value)) {
      const parts = value.map((part) => walk(part, key))
      return parts.some((part, n) => part !== value[n]) ? parts : value
    }
    if (typeof value === 'object' && value !== null) {
      const parts = Object.entries(value).map(([name, part]): [string, unknown] => [name, walk(part, name)])
      return parts.some(([name, part]) => part !== (value as Data)[name]) ? Object.fromEntries(parts) : value
    }
    if (typeof value !== 'string' || value === '') return value
    if (ofThePerson.has(key) || (key === 'words' && talk.has(kind))) return ERASED
    return freeWords.has(key) ? cut(value) : value
  }
  return walk(data, '') as Data
}

/** The key and the free words of the facts of a watch. */
const wordsOfFacts = [
  ['ownership', 'id', 'how'],
  ['hazard', 'id', 'note'],
  ['watch_event', 'id', 'note'],
  ['watchmaker_note', 'id', 'reason'],
  ['strike', 'fact_id', 'reason'],
] as const

/** Takes the names out of the words at the facts of every watch that was ever theirs. */
async function forgetAtFacts(tx: Db, ownerIds: readonly string[], names: readonly string[]) {
  const cut = cutting(names)
  const emptied: Record<string, number> = {}
  for (const [table, key, words] of wordsOfFacts) {
    const [from, id, column] = [Prisma.raw(table), Prisma.raw(key), Prisma.raw(words)]
    const rows = await tx.$queryRaw<{ id: string; words: string }[]>`
      select ${id} as id, ${column} as words from ${from} where personal_salt is not null
        and watch_id in (select o.watch_id from ownership o where o.owner_id = any(${[...ownerIds]}::uuid[])) order by 1`
    const left = rows
      .map((row) => ({ id: row.id, words: cut(row.words) }))
      .filter((row, n) => row.words !== rows[n]?.words)
    emptied[table] = await tx.$executeRaw`
      update ${from} t set ${column} = left_over.words, personal_salt = null
      from jsonb_to_recordset(${JSON.stringify(left)}::jsonb) as left_over (id uuid, words text) where t.${id} = left_over.id`
  }
  return emptied
}

/**
 * Empties what a person's tickets and the facts of their watches know of them and of those who came for them: within a
 * transaction that may let go of persons (see `refuse_rewriting_but_erasing`). What was done to the watch, the lots and
 * the money stay. Returns how many rows of each table were emptied.
 */
export async function forgetInRecords(tx: Db, ownerIds: readonly string[], ownNames: readonly string[]) {
  const ids = [...ownerIds]
  const tickets = await tx.$queryRaw<{ id: string; brought_by: string }[]>`
    select id, brought_by from ticket where owner_id = any(${ids}::uuid[]) order by id for no key update`
  const ticketIds = tickets.map((ticket) => ticket.id)
  const records = await tx.$queryRaw<{ id: string; kind: string; data: Data }[]>`
    select id, kind, data from ticket_record where ticket_id = any(${ticketIds}::uuid[]) and personal_salt is not null`
  const answering = await tx.$queryRaw<{ person: string }[]>`
    select distinct person from estimate_answer where ticket_id = any(${ticketIds}::uuid[]) and personal_salt is not null`
  const inRecords = records.flatMap(({ data }) =>
    [data.person, data.authorisedBy, data.collector, data.approve, data.collect]
      .flat()
      .filter((name) => typeof name === 'string'),
  )
  const names = [
    ...ownNames,
    ...tickets.map((one) => one.brought_by),
    ...answering.map((one) => one.person),
    ...inRecords,
  ]
  const emptied = records.flatMap(({ id, kind, data }) => {
    const left = withoutPerson(kind, data, names)
    return left === data ? [] : [{ id, data: left }]
  })
  const ticket_record = await tx.$executeRaw`
    update ticket_record r set personal_salt = null, data = left_over.data
    from jsonb_to_recordset(${JSON.stringify(emptied)}::jsonb) as left_over (id uuid, data jsonb) where r.id = left_over.id`
  const estimate_answer = await tx.$executeRaw`
    update estimate_answer a set person = ${ERASED}, text_shown = null, personal_salt = null
    where ticket_id = any(${ticketIds}::uuid[]) and personal_salt is not null`
  await tx.$executeRaw`
    update ticket set brought_by = ${ERASED}, complaint = ${ERASED}, return_wish = case when return_wish is not null then ${ERASED} end,
      version = version + 1 where id = any(${ticketIds}::uuid[])`
  // they may have handed in a watch of somebody else
  await tx.$executeRaw`update ticket set brought_by = ${ERASED}, version = version + 1 where handing_in = any(${ids}::uuid[])`
  return { ticket_record, estimate_answer, ...(await forgetAtFacts(tx, ids, names)) }
}
