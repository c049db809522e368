import { z } from 'zod'
import type { Db } from '../../db/open.ts'
import { addDays, type Day } from '../../domain/day.ts'
import { readLocalSettings } from '../../domain/local-settings.ts'
import { loadOf, loadsOf, type Skill, shortCheck, skillOf } from '../../domain/tickets/benches.ts'
import type { WorkClassName } from '../../domain/tickets/classes.ts'
import { benchMinutes, openLines } from '../../domain/tickets/promise.ts'
import { readTicketRules } from '../../domain/tickets/rules.ts'
import { daysThroughTheHouse, placeLoads, sharedPlaces } from '../../domain/tickets/shared-places.ts'
import type { Step } from '../../domain/tickets/steps.ts'
import { readTicketTables } from '../../domain/tickets/tables.ts'
import { workingDaysBetween } from '../../domain/tickets/working-days.ts'
import { dayOut } from '../../http/shapes.ts'
import { storedOn } from '../house-rules/house-rules.ts'
import { calendarOf } from '../tickets/desk.ts'
import { openCases } from '../tickets/next-watch.ts'
import { atTheBenches, readJobs } from '../tickets/promise.ts'
import { promisedJobs } from '../tickets/promise-task.ts'

const whole = z.number().int()
const load = {
  needed: whole.meta({ description: 'minutes' }),
  available: whole.meta({ description: 'minutes in the working days looked ahead' }),
  load: z.number().nullable().meta({ description: 'needed by available; null where nobody may do it' }),
  standing: z.enum(['free', 'tight', 'over', 'nobody']),
}
export const benchesOut = z.object({
  on: dayOut,
  workingDays: whole,
  minutesABenchADay: whole,
  skills: z.array(z.object({ skill: z.string(), ...load })),
  choke: z
    .object({ skills: z.array(z.string()).readonly(), ...load })
    .nullable()
    .meta({ description: 'the skills that together are the fullest; each alone may look free' }),
  finalCheck: z.object({ watches: whole, checkers: whole, ...load }),
  places: z
    .array(z.object({ place: z.enum(sharedPlaces), watches: whole, ...load }))
    .meta({ description: 'places that all benches share, by the house table sharedPlaces' }),
  throughTheHouse: z
    .object({
      inTheHouse: whole,
      handedOver: whole.meta({ description: 'in the last four weeks' }),
      workingDays: z.number().nullable().meta({ description: 'of a watch on the average; null where none has left' }),
    })
    .meta({ description: 'watches in the house by watches leaving a working day' }),
  promises: z
    .object({ breaking: whole, firstOn: dayOut.nullable() })
    .meta({ description: 'promises that have passed or will be passed, and the first of their days' }),
  notCounted: z.object({
    linesWithoutMinutes: whole.meta({ description: 'lines that name no code of the price list' }),
    ticketsWithoutClass: whole,
  }),
  untouched: z.array(z.object({ number: z.string(), step: z.string(), since: dayOut, workingDays: whole })),
  openCases: z
    .array(
      z.object({ place: z.string(), watches: whole, limit: whole, tooMany: z.boolean(), numbers: z.array(z.string()) }),
    )
    .meta({ description: 'watches with the case open, by place' }),
})

/** Agreed work of the watches at or before the benches against the hours of the benches, and what lies too long or too open. */
export async function benchesOn(db: Db, today: Day): Promise<z.output<typeof benchesOut>> {
  const stored = await storedOn(db, today)
  const rules = readTicketRules(stored)
  const tables = readTicketTables(stored)
  const calendar = calendarOf(readLocalSettings(stored))
  const aDay = benchMinutes(rules)
  const ahead = aDay * rules.loadAheadWorkingDays

  const needed: Partial<Record<Skill, number>> = {}
  let linesWithoutMinutes = 0
  for (const job of await readJobs(db, today, { others: atTheBenches })) {
    if (job.workClass === null) continue
    const skill = skillOf[job.workClass]
    for (const line of openLines(job)) {
      if (line.part) continue
      if (line.minutes === null) linesWithoutMinutes += 1
      else needed[skill] = (needed[skill] ?? 0) + line.minutes
    }
  }
  const benches = await db.bench.findMany({ select: { skills: true } })

  const waiting = await db.$queryRaw<{ step: Step; workClass: WorkClassName | null }[]>`
    select step, work_class as "workClass" from ticket where ended is null and side is null
      and step in ('ready-for-bench', 'on-the-bench', 'closed', 'under-observation', 'final-check')`
  const checkMinutes = waiting.reduce(
    (sum, { workClass }) =>
      sum +
      (workClass !== null && shortCheck.has(workClass) ? rules.finalCheckCellMinutes : rules.finalCheckServiceMinutes),
    0,
  )
  const [checking] = await db.$queryRaw<{ checkers: number }[]>`
    select count(*)::int as checkers from (
      select distinct on (k.staff_key_id, k.skill) k.staff_key_id, k.level from staff_skill k join staff_key s on s.id = k.staff_key_id and s.revoked_at is null
      where k.skill = 'final-check' and k.from_day <= ${today}::date order by k.staff_key_id, k.skill, k.from_day desc, k.id desc) x where level = 'may-check'`
  const checkers = checking?.checkers ?? 0

  const lying = await db.$queryRaw<{ number: string; step: string; since: Day }[]>`
    select * from (
      select t.number, t.step, (select max(r.on_day) from ticket_record r where r.ticket_id = t.id and r.kind not in ('contact', 'promise'))::text as since
      from ticket t where t.ended is null and t.side is null and t.step in ('ready-for-bench', 'on-the-bench')) x
    where since::date < ${today}::date order by since, number`
  const untouched = lying
    .map((row) => ({ ...row, workingDays: workingDaysBetween(row.since, today, calendar) }))
    .filter((row) => row.workingDays >= rules.untouchedWorkingDays)

  const open = await openCases(db)
  const since = addDays(today, -27)
  const [house] = await db.$queryRaw<{ inTheHouse: number; handedOver: number }[]>`
    select count(*) filter (where ended is null)::int as "inTheHouse", count(*) filter (where ended = 'handed-over')::int as "handedOver"
    from ticket where ended is null or ended_on between ${since}::date and ${today}::date`
  const { inTheHouse = 0, handedOver = 0 } = house ?? {}
  const breaking = (await promisedJobs(db, today)).filter(
    ({ standing }) => standing === 'broken' || standing === 'late',
  )

  return {
    on: today,
    workingDays: rules.loadAheadWorkingDays,
    minutesABenchADay: aDay,
    ...mutable(loadsOf(needed, benches, ahead, rules.tightLoadPercent)),
    finalCheck: {
      watches: waiting.length,
      checkers,
      ...loadOf(checkMinutes, checkers * ahead, rules.tightLoadPercent),
    },
    places: [...placeLoads(waiting, tables.sharedPlaces, rules.loadAheadWorkingDays, rules.tightLoadPercent)],
    throughTheHouse: {
      inTheHouse,
      handedOver,
      workingDays: daysThroughTheHouse(inTheHouse, handedOver, workingDaysBetween(addDays(since, -1), today, calendar)),
    },
    promises: { breaking: breaking.length, firstOn: breaking.map(({ promisedOn }) => promisedOn).sort()[0] ?? null },
    notCounted: {
      linesWithoutMinutes,
      ticketsWithoutClass: waiting.filter((row) => row.workClass === null).length,
    },
    untouched,
    openCases: open.map(({ place, numbers }) => ({
      place,
      watches: numbers.length,
      limit: rules.openedMovements,
      tooMany: numbers.length > rules.openedMovements,
      numbers,
    })),
  }
}

const mutable = ({ skills, choke }: ReturnType<typeof loadsOf>) => ({ skills: [...skills], choke })
