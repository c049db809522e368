import type { Db } from '../../db/open.ts'
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

/** Tickets, oldest first. A number with a wrong character is refused, not searched for. */
export function listTickets(db: Db, filter: TicketFilter, after: string | null, limit: number): Promise<TicketRow[]> {
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
  equal(Prisma.sql`t.watch_id`, filter.watchId, true)
  equal(Prisma.sql`t.owner_id`, filter.ownerId, true)
  equal(Prisma.sql`t.handing_in`, filter.handingIn, true)
  if (filter.open !== undefined)
    wanted.push(filter.open ? Prisma.sql`t.ended is null` : Prisma.sql`t.ended is not null`)
  if (after !== null) wanted.push(Prisma.sql`t.id > ${after}::uuid`)
  return db.$queryRaw<TicketRow[]>`
    select t.id, t.number, t.step, t.side, t.ended, t.watch_id as "watchId", t.owner_id as "ownerId", o.name as "ownerName",
      concat_ws(' ', w.maker, w.model) as watch, t.booked_on::text as "bookedOn", t.promised_on::text as "promisedOn", t.next_actor as "nextActor",
      t.next_by::text as "nextBy", t.place, t.holder
    from ticket t join owner o on o.id = t.owner_id join watch w on w.id = t.watch_id
    where ${Prisma.join(wanted, ' and ')} order by t.id limit ${limit + 1}`
}
