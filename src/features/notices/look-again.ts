import type { Sql } from '../../db/sql.ts'
import type { Day } from '../../domain/day.ts'
import { Prisma } from '../../generated/prisma/client.ts'

/** Obligations without a day in `next_notice_on`, or with a later one, that a night can decide about. */
const later = (today: Day) =>
  Prisma.sql`rule is not null and kind <> 'seals' and (next_notice_on is null or next_notice_on > ${today}::date)`

/**
 * A reason that held letters back may have ended, for these watches or for all of these owners: the next nightly run looks
 * at them. What is not coming up yet has a day of its own.
 */
export async function lookAgain(
  tx: Sql,
  today: Day,
  { watches = [], owners = [] }: { watches?: readonly string[]; owners?: readonly string[] },
): Promise<void> {
  const which =
    owners.length > 0
      ? Prisma.sql`watch_id in (select id from watch where owner_id = any(${[...owners]}::uuid[]))`
      : Prisma.sql`watch_id = any(${[...watches]}::uuid[])`
  await tx.$executeRaw(
    Prisma.sql`update obligation set next_notice_on = ${today}::date where ${which} and ${later(today)} and coming_up_from <= ${today}::date`,
  )
}

/**
 * Letters that do not go leave their keys to be written about again: whatever stood in them, folded in before its time or
 * not, is looked at in the next nightly run.
 */
export async function lookAgainAtFallen(tx: Sql, today: Day, noticeIds: readonly string[]): Promise<void> {
  if (noticeIds.length === 0) return
  await tx.$executeRaw(
    Prisma.sql`update obligation set next_notice_on = ${today}::date
      where watch_id in (select watch_id from notice_item where notice_id = any(${[...noticeIds]}::uuid[])) and ${later(today)}`,
  )
}
