import { createHmac } from 'node:crypto'
import type { Db } from '../../db/open.ts'

/**
 * An address of an erased person that comes back, in an old list or by mistake, is not written to: of the address only
 * its HMAC is kept. An expressed yes, given after that, counts more.
 */
const suppressionMark = (secret: string, means: string, searchValue: string): Buffer =>
  createHmac('sha256', secret).update(`suppressed address\n${means}\n${searchValue}`).digest()

export async function suppress(
  tx: Db,
  secret: string,
  contacts: readonly { means: string; searchValue: string }[],
  today: string,
): Promise<void> {
  for (const { means, searchValue } of contacts)
    await tx.$executeRaw`
      insert into suppressed_address (mark, means, suppressed_on)
      values (${suppressionMark(secret, means, searchValue)}, ${means}, ${today}::date) on conflict do nothing`
}

/** The notices that would go to a suppressed address whose owner has not said yes since, with the reason. */
export async function suppressedAmong(
  tx: Db,
  secret: string,
  noticeIds: readonly string[],
): Promise<Map<string, string[]>> {
  const rows = await tx.$queryRaw<{ notice_id: string; owner_id: string; means: string; search_value: string }[]>`
    select n.id as notice_id, n.owner_id, c.means, c.search_value
    from notice n join contact c on c.owner_id = n.owner_id and c.means = n.means and c.ended_on is null
    where n.id = any(${[...noticeIds]}::uuid[]) and exists (select from suppressed_address)`
  if (rows.length === 0) return new Map()
  const marks = rows.map((row) => suppressionMark(secret, row.means, row.search_value))
  const found = await tx.$queryRaw<{ n: number }[]>`
    select m.n::int as n from unnest(${marks}::bytea[]) with ordinality as m (mark, n)
    join suppressed_address s on s.mark = m.mark
    where not exists (select from notice_choice where owner_id = (${rows.map((row) => row.owner_id)}::uuid[])[m.n]
      and choice = 'yes' and chosen_on >= s.suppressed_on)`
  return new Map(found.map(({ n }) => [rows[n - 1]?.notice_id ?? '', ['letters-refused']]))
}
