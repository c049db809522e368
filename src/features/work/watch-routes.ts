import { z } from 'zod'
import type { Routes } from '../../http/routes.ts'
import type { Service } from '../../http/service.ts'
import { byId, dayOut, idOut } from '../../http/shapes.ts'
import { sealsOf } from './seals.ts'
import { seriesOf } from './series.ts'

const sealOut = z.object({
  position: z.string(),
  fitted: z
    .object({
      on: dayOut,
      by: z.string(),
      material: z.string().nullable(),
      innerMm: z.number().nullable(),
      cordMm: z.number().nullable(),
      profile: z.string().nullable(),
      greasedWith: z.string().nullable(),
      lot: z.object({ id: idOut, number: z.string().nullable(), item: z.string() }).nullable(),
      lotUnknownBecause: z.string().nullable(),
    })
    .nullable(),
  seen: z.object({ condition: z.string(), on: dayOut, by: z.string() }).nullable(),
})

const number = z.number().nullable()
const visitOut = z.object({
  ticket: z.string(),
  state: z.enum(['as-it-came', 'as-it-left']).meta({ description: 'before, or after, something was done to it' }),
  from: dayOut,
  to: dayOut,
  readings: z.number().int(),
  meanFull: number.meta({ description: 's/d' }),
  spreadFull: number.meta({ description: 's/d' }),
  meanAfter24: number.meta({ description: 's/d' }),
  spreadAfter24: number.meta({ description: 's/d' }),
  runDown: number.meta({ description: 's/d: mean after 24 h less mean at full wind' }),
  amplitudeFullMin: number.meta({ description: 'degrees, the lowest of the positions' }),
  amplitudeAfter24Min: number.meta({ description: 'degrees, the lowest of the positions' }),
  rateOfQuartz: number.meta({ description: 's/month' }),
  consumption: number.meta({ description: 'µA' }),
  lowerWorkingVoltage: number.meta({ description: 'V' }),
})

/** What the work of all visits has left on file of one watch. */
export function workOfWatchRoutes(app: Routes, service: Service): void {
  const tags = ['work']
  app.get(
    '/v1/watches/:id/readings',
    {
      config: { roles: ['counter', 'bench', 'stock', 'manager'] },
      schema: {
        tags,
        summary: 'What a watch was measured at over the years: of each visit as it came and as it left',
        params: byId,
        response: { 200: z.object({ items: z.array(visitOut) }) },
      },
    },
    async (request) => ({ items: await seriesOf(service.database.prisma, request.params.id) }),
  )
  app.get(
    '/v1/watches/:id/seals',
    {
      config: { roles: ['counter', 'bench', 'stock', 'manager'] },
      schema: {
        tags,
        summary:
          'The seals of a watch by position: size, material and lot as fitted last, and what was seen of them since',
        params: byId,
        response: { 200: z.object({ items: z.array(sealOut) }) },
      },
    },
    async (request) => ({ items: await sealsOf(service.database.prisma, request.params.id) }),
  )
}
