import type { Db } from '../../db/open.ts'
import { addDays, type Day } from '../../domain/day.ts'
import { Refusal } from '../../domain/refusals.ts'
import { skillOf } from '../../domain/tickets/benches.ts'
import { workClassNames } from '../../domain/tickets/classes.ts'
import { judgeGate } from '../../domain/tickets/gates.ts'
import { beforeClosedDays, orderNext } from '../../domain/tickets/next-watch.ts'
import { daysNeeded } from '../../domain/tickets/promise.ts'
import { workingDaysBetween } from '../../domain/tickets/working-days.ts'
import { Prisma } from '../../generated/prisma/client.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { houseDay, readJobs } from './promise.ts'
import { readTicket } from './read-ticket.ts'

/** Watches that lie with their case open, by place; of one place or of all. */
export const openCases = (db: Db, place: string | null = null) =>
  db.$queryRaw<{ place: string; numbers: string[] }[]>`
    select coalesce(t.place, 'nowhere') as place, array_agg(t.number order by t.number) as numbers
    from ticket t cross join lateral (
      select r.kind from ticket_record r where r.ticket_id = t.id
        and (r.kind in ('opening', 'closing') or r.kind = 'fitting' and r.data ? 'opening')
        and not exists (select from ticket_record s where s.strikes = r.id)
      order by r.at desc, r.seq desc limit 1) last
    where t.ended is null ${place === null ? Prisma.empty : Prisma.sql`and lower(t.place) = lower(${place})`} and last.kind <> 'closing'
    group by 1 order by count(*) desc, 1`

/** Hazards of the watch of a ticket `t` that are not over. */
const hazardsOf = (kinds: readonly string[]) => Prisma.sql`
  select h.kind from hazard h where h.watch_id = t.watch_id and h.kind = any(${[...kinds]}::text[]) and not exists (select from strike s where s.fact_id = h.id)
    and not exists (select from ticket_record r where r.ticket_id = t.id and r.kind = 'hazard-over' and r.data ->> 'hazard' = h.id::text
      and not exists (select from ticket_record s where s.strikes = r.id))`
const damages = ['leaking-cell', 'water-inside']
const needHighHazard = [...damages, 'radium', 'maybe-radium']

type Found = { id: string; watch: string; damage: boolean; comeback: boolean; since: Day; kitAt: string | null }

/** Whatever might be begun at a bench with these skills, by what one statement can see: its step, its class, and that a kit was checked. */
const mightBeBegun = (db: Db, skills: readonly string[]) => {
  const classes = workClassNames.filter((name) => skills.includes(skillOf[name]))
  const safe = skills.includes('high-hazard') ? Prisma.empty : Prisma.sql`and not exists (${hazardsOf(needHighHazard)})`
  return db.$queryRaw<Found[]>`
    select t.id, concat_ws(' ', w.maker, w.model) as watch, exists (${hazardsOf(damages)}) as damage, kit.data ->> 'benchName' as "kitAt",
      exists (select from estimate_line l where l.under_guarantee_of is not null
        and l.estimate_id = (select e.id from estimate e where e.ticket_id = t.id order by e.n desc limit 1)) as comeback,
      (select max(r.on_day) from ticket_record r where r.ticket_id = t.id and r.kind not in ('contact', 'promise'))::text as since
    from ticket t join watch w on w.id = t.watch_id
    join lateral (select k.data from ticket_record k where k.ticket_id = t.id and k.kind = 'kit'
      and not exists (select from ticket_record s where s.strikes = k.id) order by k.seq desc limit 1) kit on true
    where t.ended is null and t.side is null and t.step in ('awaiting-parts', 'ready-for-bench') and t.work_class = any(${classes}::text[]) ${safe}`
}

/** So many are read whole for one answer at most: what stands behind them is told by its number. */
const READ_AT_MOST = 60

/**
 * What a free bench takes next: watches whose yes, parts and kit are in order and which it may do, in their order. One
 * statement narrows and another reads what the order hangs on; the gates are asked of the first in it alone.
 */
export async function nextFor(service: Service, benchId: string, limit: number) {
  const { prisma: db } = service.database
  const today = todayAt(service)
  const bench = await db.bench.findUnique({ where: { id: benchId } })
  if (!bench) throw new Refusal('not-found', { what: 'bench', id: benchId })
  const found = new Map((await mightBeBegun(db, bench.skills)).map((row) => [row.id, row]))
  const jobs = await readJobs(db, today, { others: Prisma.sql`select unnest(${[...found.keys()]}::uuid[])` })
  const house = await houseDay(db, today, [])
  const { calendar, rules } = house
  const ordered = orderNext(
    jobs.map((job) => {
      const { since, ...more } = found.get(job.id)!
      return {
        ...job,
        ...more,
        untouchedWorkingDays: workingDaysBetween(since, today, calendar),
        needed: daysNeeded(job, house),
      }
    }),
    today,
    calendar,
    rules,
  )
  const items = []
  let read = 0
  for (const one of ordered.slice(0, READ_AT_MOST)) {
    if (items.length === limit) break
    read += 1
    const { snapshot } = await readTicket(service, one.id)
    if (!(['G7', 'G8', 'G9'] as const).every((gate) => judgeGate(gate, snapshot).state !== 'shut')) continue
    const { id, number, watch, step, workClass, rank, promisedOn, bookedOn, left, needed, ratio, tellOwner, kitAt } =
      one
    const rounded = needed === null ? null : Math.round(needed * 100) / 100
    items.push({
      id,
      number,
      watch,
      step,
      workClass,
      rank,
      promisedOn,
      bookedOn,
      left,
      needed: rounded,
      ratio,
      tellOwner,
      kitAt,
    })
  }
  const open = (await openCases(db, bench.name))[0]?.numbers ?? []
  return {
    bench: { id: bench.id, name: bench.name, skills: bench.skills },
    on: today,
    items,
    notRead: ordered.length - read,
    opened: { watches: open.length, limit: rules.openedMovements, mayOpenAnother: open.length < rules.openedMovements },
    hint: beforeClosedDays(today, addDays(today, 1), calendar),
    damage: bench.skills.includes('high-hazard')
      ? await damageWaiting(
          db,
          items.map(({ id }) => id),
        )
      : [],
  }
}

/** Watches with damage going on that are not among what may be begun: somebody has to see to their gates today. */
const damageWaiting = (db: Db, except: readonly string[]) =>
  db.$queryRaw<{ number: string; step: string; hazard: string }[]>`
    select t.number, t.step, h.kind as hazard from ticket t cross join lateral (${hazardsOf(damages)}) h
    where t.ended is null and t.step not in ('ready', 'closed', 'under-observation', 'final-check') and t.id <> all(${[...except]}::uuid[])
    order by t.booked_on, t.number, h.kind limit 20`
