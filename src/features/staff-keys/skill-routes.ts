import { z } from 'zod'
import { pageBy, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { dayOut, id, idOut, instantOut, line } from '../../http/shapes.ts'
import { flag, flagOf } from '../stock-entries/shapes.ts'
import { listSkills } from './skills.ts'

const skillOut = z.object({
  id: idOut,
  staffKeyId: idOut,
  name: z.string().meta({ description: 'whose' }),
  role: z.string(),
  skill: z.string(),
  level: z.string().meta({ description: 'may-do, under-eye, may-check, or none where a word was taken back' }),
  fromDay: dayOut,
  counts: z
    .boolean()
    .meta({ description: 'whether this is the word that counts today, of a key that may still be used' }),
  recordedAt: instantOut,
  by: z.string(),
})

export function staffSkillRoutes(app: Routes, service: Service): void {
  app.get(
    '/v1/staff-skills',
    {
      config: { roles: ['counter', 'bench', 'stock', 'manager'] },
      schema: {
        tags: ['staff'],
        summary: 'Who may do, may do under eye, or may check what, and from when; counts=true for what holds today',
        querystring: z.strictObject({
          ...pageQuery,
          staffKeyId: id.optional(),
          skill: line(40).optional(),
          level: z.enum(['may-do', 'under-eye', 'may-check', 'none']).optional(),
          counts: flag,
        }),
        response: { 200: z.object({ items: z.array(skillOut) }) },
      },
    },
    (request, reply) => {
      const { staffKeyId, skill, level, counts } = request.query
      return pageBy(
        request,
        reply,
        (row) => row.id,
        (after, limit) =>
          listSkills(
            service.database.prisma,
            { staffKeyId, skill, level, counts: flagOf(counts) },
            { today: todayAt(service), now: service.clock.now() },
            after,
            limit,
          ),
      )
    },
  )
}
