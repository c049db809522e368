import { createHash } from 'node:crypto'
import { readFileSync } from 'node:fs'
import type pg from 'pg'
import { dayOfNumber, numberOfDay } from '../../domain/day.ts'
import type { LetterPlan } from '../../domain/notices/types.ts'
import { dayAt, type Service } from '../../http/service.ts'
import type { Links } from '../../letters/blocks.ts'
import { composeLetter, type Sender, senderOf } from '../../letters/compose.ts'
import type { LetterContents } from '../../letters/contents.ts'
import type { Prepared } from '../../letters/delivery.ts'
import { hashOfToken, linkOf, linkSecret, type Purpose, tokenOf } from '../../letters/links.ts'
import type { Claim } from '../../letters/statements.ts'
import { TEXT_VERSION } from '../../letters/texts/sentences.ts'
import { type Centre, gatherContents } from './letter-contents.ts'

/** How this house writes: made once from the configuration. */
export type LetterDesk = { sender: Sender; centre: Centre; publicUrl: string | undefined; secret: string; zone: string }

/** An answer link holds for so long after the come-by day; one that stops letters does not expire. */
const ANSWER_DAYS = 30

export function letterDeskOf(service: Pick<Service, 'config'>): LetterDesk {
  const { config } = service
  const { name, address } = senderOf(config.letters.from, config.centre.name)
  const { dkim } = config.letters
  return {
    sender: {
      name,
      address,
      idempotencyHeader: config.letters.idempotencyHeader,
      dkim: dkim && { domain: dkim.domain, selector: dkim.selector, privateKey: readFileSync(dkim.keyFile, 'utf8') },
    },
    centre: {
      name: config.centre.name,
      ...(config.centre.address ? { address: config.centre.address } : {}),
      ...(config.centre.phone ? { phone: config.centre.phone } : {}),
      mail: address,
    },
    publicUrl: config.http.publicUrl,
    secret: linkSecret(config.linkSecret, config.dataFolder),
    zone: config.centre.timeZone,
  }
}

type Tokens = Record<Purpose, string | null>

const tokensOf = (desk: LetterDesk, noticeId: string): Tokens => {
  const token = (purpose: Purpose) => (desk.publicUrl ? tokenOf(desk.secret, purpose, noticeId) : null)
  return { answer: token('answer'), stop: token('stop') }
}

const linksFrom = ({ publicUrl }: LetterDesk, tokens: Tokens): Links => {
  const link = (purpose: Purpose) => {
    const token = tokens[purpose]
    return publicUrl && token ? linkOf(publicUrl, purpose, token) : null
  }
  return { answer: link('answer'), stop: link('stop') }
}

export const linksOf = (desk: LetterDesk, noticeId: string): Links => linksFrom(desk, tokensOf(desk, noticeId))

export type NoticeRow = {
  id: string
  plan: LetterPlan
  ownerId: string
  name: string
  formOfAddress: string | null
  /** where letters to this owner go; null where no address works */
  address: string | null
  contents: LetterContents | null
  writtenAt: Date | null
}

/** Of several addresses: the one the owner prefers for this kind of letter, then the one tested last, then the newest. */
async function noticeRows(pool: pg.Pool | pg.PoolClient, ids: readonly string[]): Promise<NoticeRow[]> {
  const { rows } = await pool.query<NoticeRow>({
    name: 'letters-rows',
    text: `select n.id, n.plan, n.owner_id as "ownerId", o.name, o.form_of_address as "formOfAddress", c.value as address,
        l.contents, case when l.contents is null then null else l.written_at end as "writtenAt"
      from notice n join owner o on o.id = n.owner_id left join letter l on l.notice_id = n.id
      left join lateral (select value from contact where owner_id = n.owner_id and means = 'e-mail' and ended_on is null and failed_on is null
        order by (case when n.plan -> 'ready' is null then 'reminder' else 'ready' end = any(preferred_for)) desc, tested_on desc nulls last, id desc limit 1) c on true
      where n.id = any($1)`,
    values: [ids],
  })
  return rows
}

/**
 * The letters of these claims. At the first hand-over the contents are fixed, with the digest of the letter they make, and
 * the links put on file, in one statement; later ones are written from the same contents.
 */
export async function prepareLetters(
  pool: pg.Pool,
  desk: LetterDesk,
  claims: readonly Pick<Claim, 'id'>[],
  now: Date,
): Promise<Map<string, Prepared>> {
  const today = dayAt(now, desk.zone)
  const rows = await noticeRows(
    pool,
    claims.map((claim) => claim.id),
  )
  const fresh = rows.filter((row) => row.contents === null)
  const gathered = await gatherContents(pool, fresh.map(sourceOf), desk.centre, today)
  // whole seconds: that is what the Date of a message can say
  const writtenAt = new Date(Math.floor(now.getTime() / 1000) * 1000)
  const letters = new Map<string, Prepared>()
  const toFix: ToFix[] = []
  for (const row of rows) {
    const contents = row.contents ?? gathered.get(row.id)
    if (!contents) continue
    const tokens = tokensOf(desk, row.id)
    if (row.address === null) letters.set(row.id, { cannot: 'no mail address of the owner works' })
    else {
      const addressed = {
        noticeId: row.id,
        writtenAt: row.writtenAt ?? writtenAt,
        to: { name: row.name, address: row.address },
        links: linksFrom(desk, tokens),
      }
      letters.set(row.id, await composeLetter(contents, addressed, desk.sender))
    }
    if (row.contents !== null) continue
    const letter = letters.get(row.id)
    const digest = letter && 'raw' in letter ? createHash('sha256').update(letter.raw).digest() : null
    toFix.push({ noticeId: row.id, ownerId: row.ownerId, contents, digest, tokens })
  }
  const onFile = await fixContents(pool, toFix, writtenAt)
  for (const { noticeId, digest } of toFix) {
    const letter = letters.get(noticeId)
    if (letter && 'raw' in letter && digest && onFile.get(noticeId)?.equals(digest)) letter.digest = digest
  }
  return letters
}

const sourceOf = (row: NoticeRow) => ({
  noticeId: row.id,
  plan: row.plan,
  owner: { name: row.name, formOfAddress: row.formOfAddress },
})

type ToFix = { noticeId: string; ownerId: string; contents: LetterContents; digest: Buffer | null; tokens?: Tokens }

/** Writes contents, digests and links down; of letters that another has fixed before, nothing. Answers the digests written. */
export async function fixContents(
  pool: pg.Pool,
  letters: readonly ToFix[],
  writtenAt: Date,
): Promise<Map<string, Buffer | null>> {
  if (letters.length === 0) return new Map()
  const links = letters.flatMap(({ noticeId, ownerId, contents, tokens }) =>
    (['stop', 'answer'] as const).flatMap((purpose) => {
      const token = tokens?.[purpose]
      if (!token) return []
      const expiresOn = purpose === 'stop' ? null : dayOfNumber(numberOfDay(contents.comeBy) + ANSWER_DAYS)
      return [{ hash: hashOfToken(token), purpose, ownerId, noticeId, expiresOn }]
    }),
  )
  const { rows } = await pool.query<{ id: string; digest: Buffer | null }>({
    name: 'letters-fix',
    text: `with written as (
        insert into letter (notice_id, contents, text_version, written_at, digest)
        select l.id, l.contents, $3, $4, l.digest from unnest($1::uuid[], $2::jsonb[], $10::bytea[]) as l(id, contents, digest)
        on conflict (notice_id) do update set contents = excluded.contents, text_version = excluded.text_version,
          written_at = excluded.written_at, digest = coalesce(letter.digest, excluded.digest)
        where letter.fixed_at is null
        returning notice_id, digest),
      linked as (
        insert into owner_link (token_hash, purpose, owner_id, notice_id, expires_on)
        select * from unnest($5::bytea[], $6::text[], $7::uuid[], $8::uuid[], $9::date[]) on conflict do nothing)
      select notice_id as id, digest from written`,
    values: [
      letters.map(({ noticeId }) => noticeId),
      letters.map(({ contents }) => JSON.stringify(contents)),
      TEXT_VERSION,
      writtenAt,
      links.map((link) => link.hash),
      links.map((link) => link.purpose),
      links.map((link) => link.ownerId),
      links.map((link) => link.noticeId),
      links.map((link) => link.expiresOn),
      letters.map(({ digest }) => digest),
    ],
  })
  return new Map(rows.map((row) => [row.id, row.digest]))
}

/** What goes out, or went out: the fixed letter, or for one not yet made ready what it would be now. */
export async function previewLetter(pool: pg.Pool, desk: LetterDesk, noticeId: string, now: Date, links: Links) {
  const [row] = await noticeRows(pool, [noticeId])
  if (!row) return null
  const today = dayAt(now, desk.zone)
  const contents = row.contents ?? (await gatherContents(pool, [sourceOf(row)], desk.centre, today)).get(row.id)
  if (!contents) return null
  const to = { name: row.name, address: row.address ?? 'no-address@invalid' }
  const writtenAt = row.writtenAt ?? new Date(Math.floor(now.getTime() / 1000) * 1000)
  return { contents, row, letter: await composeLetter(contents, { noticeId, writtenAt, to, links }, desk.sender) }
}
