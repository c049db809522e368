import type { Db } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { Prisma } from '../../generated/prisma/client.ts'
import { readRef } from './desk.ts'

export type TicketFilter = {
  number?: string | undefined
  step?: string | undefined
  side?: string | undefined
  watchId?: string | undefined
  ownerId?: string | undefined
  handingIn?: string | undefined
  place?: string | undefined
  holder?: string | undefined
  nextActor?: string | undefined
  dueBefore?: Day | undefined
  open?: boolean | undefined
}

export type TicketRow = {
  id: string
  number: string
  step: string
  side: string | null
  ended: string | null
  watchId: string
  ownerId: string
  ownerName: string
  watch: string
  bookedOn: string
  promisedOn: string | null
  nextActor: string | null
  nextBy: string | null
  place: string | null
  holder: string | null
}

/** Whether the list is somebody's work: then it is of open tickets, those whose day comes first before the others. */
export const isWork = ({ nextActor, holder, dueBefore, open }: TicketFilter): boolean =>
  open !== false && (nextActor !== undefined || holder !== undefined || dueBefore !== undefined)

/** What a page ends with: the id, and before it the day where the list is somebody's work. */
export const endOf = (filter: TicketFilter, row: TicketRow): string[] =>
  isWork(filter) ? [row.nextBy ?? '', row.id] : [row.id]

/** Tickets, oldest first; a list of work by its days. A number with a wrong character is refused, not searched for. */
export function listTickets(
  db: Db,
  filter: TicketFilter,
  after: readonly string[] | null,
  limit: number,
): Promise<TicketRow[]> {
  const work = isWork(filter)
  const wanted: Prisma.Sql[] = [Prisma.sql`true`]
  const equal = (column: Prisma.Sql, value: string | undefined, uuid = false) => {
    if (value !== undefined)
      wanted.push(uuid ? Prisma.sql`${column} = ${value}::uuid` : Prisma.sql`${column} = ${value}`)
  }
  if (filter.number !== undefined) {
    const ref = readRef(filter.number)
    wanted.push('id' in ref ? Prisma.sql`t.id = ${ref.id}::uuid` : Prisma.sql`t.number = ${ref.number}`)
  }
  equal(Prisma.sql`t.step`, filter.step)
  equal(Prisma.sql`t.side`, filter.side)
  equal(Prisma.sql`t.place`, filter.place)
  equal(Prisma.sql`t.holder`, filter.holder)
  equal(Prisma.sql`t.next_actor`, filter.nextActor)
  if (filter.dueBefore !== undefined) wanted.push(Prisma.sql`t.next_by < ${filter.dueBefore}::date`)
  equal(Prisma.sql`t.watch_id`, filter.watchId, true)
  equal(Prisma.sql`t.owner_id`, filter.ownerId, true)
  equal(Prisma.sql`t.handing_in`, filter.handingIn, true)
  const open = filter.open ?? (work || filter.place !== undefined ? true : undefined)
  if (open !== undefined) wanted.push(open ? Prisma.sql`t.ended is null` : Prisma.sql`t.ended is not null`)
  if (after !== null)
    wanted.push(
      work
        ? Prisma.sql`(t.next_by, t.id) > (${String(after[0])}::date, ${String(after[1])}::uuid)`
        : Prisma.sql`t.id > ${String(after[0])}::uuid`,
    )
  return db.$queryRaw<TicketRow[]>`
    select t.id, t.number, t.step, t.side, t.ended, t.watch_id as "watchId", t.owner_id as "ownerId", o.name as "ownerName",
      concat_ws(' ', w.maker, w.model) as watch, t.booked_on::text as "bookedOn", t.promised_on::text as "promisedOn", t.next_actor as "nextActor",
      t.next_by::text as "nextBy", t.place, t.holder
    from ticket t join owner o on o.id = t.owner_id join watch w on w.id = t.watch_id
    where ${Prisma.join(wanted, ' and ')} order by ${work ? Prisma.sql`t.next_by, t.id` : Prisma.sql`t.id`} limit ${limit + 1}`
}
