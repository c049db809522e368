import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import type { LetterPlan } from '../../domain/notices/types.ts'
import { languageOf, lastFourOf } from '../../letters/contents.ts'
import { hashOfToken, type Purpose, tokenShape } from '../../letters/links.ts'
import { type Language, languages } from '../../letters/texts/sentences.ts'

/** Who stands behind a link, and what it is about. Of merged records the kept one. */
export type Bearer = {
  ownerId: string
  noticeId: string | null
  language: Language
  watches: { id: string; name: string; lastFour: string | null; cell: boolean }[]
}

type LinkRow = { owner_id: string; notice_id: string | null; language: string; plan: LetterPlan | null }
type WatchRow = { id: string; maker: string; model: string | null; serial: string | null; kind: string }

/**
 * The bearer of a link, or null: unknown, of another purpose, expired, revoked and erased are one and the same answer.
 * The token is looked up by its hash, so nothing is compared that timing could tell.
 */
export async function bearerOf(tx: Db, purpose: Purpose, token: string, today: Day): Promise<Bearer | null> {
  if (!tokenShape.test(token)) return null
  const [row] = await tx.$queryRaw<LinkRow[]>`
    with recursive kept as (
      select id, merged_into, erased_on from owner
      where id = (select owner_id from owner_link where token_hash = ${new Uint8Array(hashOfToken(token))} and purpose = ${purpose}
        and revoked_at is null and (expires_on is null or expires_on >= ${today}::date))
      union all
      select o.id, o.merged_into, o.erased_on from owner o join kept on o.id = kept.merged_into)
    select o.id as owner_id, l.notice_id, o.language, n.plan
    from kept join owner o on o.id = kept.id
    join owner_link l on l.token_hash = ${new Uint8Array(hashOfToken(token))}
    left join notice n on n.id = l.notice_id
    where kept.merged_into is null and kept.erased_on is null`
  if (!row) return null
  const { parts = [], recall, ready } = row.plan ?? {}
  const named = [...parts, ...(recall?.watches ?? []), ...(ready ? [ready] : [])]
  const ids = [...new Set(named.map((part) => part.watchId))]
  const watches = await tx.$queryRaw<WatchRow[]>`
    with recursive records as (
      select ${row.owner_id}::uuid as id union select o.id from owner o join records on o.merged_into = records.id)
    select w.id, w.maker, w.model, w.serial, w.kind from watch w
    where w.id = any(${ids}::uuid[]) and w.owner_id in (select id from records) order by w.id`
  return {
    ownerId: row.owner_id,
    noticeId: row.notice_id,
    language: languageOf(row.language),
    watches: watches.map((watch) => ({
      id: watch.id,
      name: [watch.maker, watch.model].filter(Boolean).join(' '),
      lastFour: lastFourOf(watch.serial),
      cell: watch.kind === 'quartz' || watch.kind === 'electric',
    })),
  }
}

/** For a page that knows nobody: what the browser asks for, else English. */
export function languageAsked(header: string | undefined): Language {
  for (const range of (header ?? '').split(',')) {
    const tag = range.split(';')[0]?.trim().toLowerCase().split('-')[0]
    const found = languages.find((language) => language === tag)
    if (found) return found
  }
  return 'en'
}
