import { z } from 'zod'
import type { Routes } from '../../http/routes.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { day, dayOut, line } from '../../http/shapes.ts'
import { guidanceBody } from '../guidance/routes.ts'
import { rehearseGuidance, rehearseHouseRule } from './rehearsals.ts'

const count = z.number().int()
const sums = { before: count, after: count }
const rehearsalOut = z.object({
  on: dayOut.meta({
    description: 'the day on which both ways were reckoned: the day the change would come into force',
  }),
  until: dayOut.meta({ description: 'the first day after the weeks looked at' }),
  watches: z.object({ touched: count, moved: count }),
  kinds: z.array(
    z.object({
      kind: z.string(),
      moved: count,
      arises: count,
      ends: count,
      earliestByDays: count,
      latestByDays: count,
      shifts: z.array(z.object({ fromDays: count.nullable(), toDays: count.nullable(), watches: count })),
      standings: z.array(z.object({ standing: z.string(), ...sums })),
    }),
  ),
  letters: z
    .object({
      owners: count.meta({
        description:
          'owners of the watches touched; for a rule of the letters, of all watches that are due for something',
      }),
      lookedAt: count.meta({ description: 'so many of them were walked night by night' }),
      exact: z.boolean().meta({
        description:
          'all of them; if false the weeks are counted up from a sample of lookedAt owners and are estimates',
      }),
      weeks: z.array(z.object({ week: dayOut, ...sums })),
    })
    .meta({
      description:
        'letters to these owners by week, as the nights would decide them if nothing more were told: folded, in rhythm, less what is withheld',
    }),
  cells: z
    .array(z.object({ designation: z.string(), ...sums }))
    .meta({ description: 'cells to be changed until then' }),
  demand: z.array(z.object({ designation: z.string(), before: z.number(), after: z.number() })).meta({
    description: 'cells expected to be asked for in the months these weeks touch; of rules of the demand alone',
  }),
  bench: z.array(
    z.object({
      kind: z.string(),
      workClass: z.string(),
      jobsBefore: count,
      jobsAfter: count,
      minutes: count.nullable(),
      minutesFrom: z.enum(['price-list', 'local-setting']).nullable(),
      hoursBefore: z.number().nullable(),
      hoursAfter: z.number().nullable(),
    }),
  ),
  missing: z
    .array(z.string())
    .meta({ description: 'minutes that are said nowhere: without them the hours of these jobs cannot be told' }),
})

const weeks = z.number().int().min(1).max(104).default(26)
// a million watches take minutes; the answer comes when all have been reckoned twice
const handlerTimeout = 900_000

export function rehearsalRoutes(app: Routes, service: Service): void {
  app.post(
    '/v1/house-rules/rehearsals',
    {
      config: { roles: ['manager'] as const },
      handlerTimeout,
      schema: {
        tags: ['house rules'],
        summary: 'What another value would do from a day on: watches, days, letters, cells, hours. Nothing is written',
        body: z.strictObject({ key: line(60), value: z.number(), fromDay: day, weeks }),
        response: { 200: rehearsalOut },
      },
    },
    (request) => rehearseHouseRule(service.database, todayAt(service), request.body),
  )
  app.post(
    '/v1/guidance/rehearsals',
    {
      config: { roles: ['bench', 'manager'] as const },
      handlerTimeout,
      schema: {
        tags: ['guidance'],
        summary: 'What a maker’s word would do: watches, days, letters, cells, hours. Nothing is written',
        body: guidanceBody.omit({ sourcePaper: true, conditions: true }).extend({ weeks }),
        response: { 200: rehearsalOut },
      },
    },
    (request) => rehearseGuidance(service.database, todayAt(service), request.body),
  )
}
