import { z } from 'zod'
import type { Routes } from '../../http/routes.ts'
import { type Service, todayAt } from '../../http/service.ts'
import { day, dayOut, idOut, line, partialDay } from '../../http/shapes.ts'
import { pieces } from '../stock-entries/shapes.ts'
import { cellOutlook, judgeOffer } from './cell-outlook.ts'

const whole = z.number().int()
const stageCounts = z.object({ comingUp: whole, due: whole, overdue: whole, askedEnough: whole })
const basisOut = z.object({
  sharesFrom: z.enum(['designation', 'all-watches', 'house-rules']),
  shares: z.object({ comingUp: z.string(), due: z.string(), overdue: z.string(), askedEnough: z.string() }),
  cyclesBegan: whole,
  fullMonths: whole,
  walkInsAMonth: z.string(),
  entering: stageCounts,
})
const outlookOut = z.object({
  designation: z.string(),
  on: dayOut,
  intervalMonths: whole,
  demand: z.object({
    reckonedOn: dayOut.nullable(),
    perMonth: z.string(),
    atOnce: whole,
    months: z.array(z.object({ month: z.string(), pieces: z.string() })),
    basis: basisOut.nullable(),
  }),
  walk: z.array(
    z.object({
      lotId: idOut,
      bestBefore: dayOut,
      lastFullLifeDay: dayOut,
      daysLeft: whole,
      pieces: whole,
      demandThrough: whole,
      used: whole,
      unused: whole,
      moneyAtRisk: whole,
    }),
  ),
  usable: whole,
  unused: whole,
  moneyAtRisk: whole,
  wasteFee: whole,
  short: z.object({ horizon: dayOut, pieces: whole }),
  position: z.object({ pieces: whole, usable: whole, unused: whole, onOrder: whole, promised: whole }),
  reorder: z.object({
    weeklyMean: z.string(),
    weeklyDeviation: z.string(),
    leadWeeks: whole,
    point: whole,
    by: z.enum(['normal', 'poisson']),
    orderNow: z.boolean(),
    freshBestBefore: dayOut,
    ceiling: whole,
    target: whole,
    quantity: whole,
    expectedShort: z.string(),
    expectedLeft: z.string(),
  }),
})
const offerOut = z.object({
  designation: z.string(),
  on: dayOut,
  lastFullLifeDay: dayOut,
  daysOfFullLifeAtArrival: whole,
  verdict: z.enum(['refuse', 'dearer-than-fresh', 'worth-it']),
  usedWithout: whole,
  usedWith: whole,
  gained: whole,
  addedWaste: whole,
  usedOfOffer: whole,
  naivePricePerPiece: z.string().nullable(),
  truePricePerPiece: z.string().nullable(),
  truePriceRounded: whole.nullable(),
  pricePerUsedPiece: z.string().nullable(),
  freshPrice: whole,
  ceiling: whole,
  ceilingGained: whole,
  monthsToDemandAtReceipt: z.string().nullable(),
  words: z.string(),
})

export function cellOutlookRoutes(app: Routes, service: Service): void {
  const config = { roles: ['stock', 'manager'] as const }
  app.get(
    '/v1/reports/cell-outlook',
    {
      config,
      schema: {
        tags: ['reports'],
        summary: 'One designation: demand by month, what dies unused, when and how much to order',
        querystring: z.strictObject({ designation: line(20), horizon: day.optional() }),
        response: { 200: outlookOut },
      },
    },
    (request) =>
      cellOutlook(service.database.prisma, request.query.designation, todayAt(service), request.query.horizon),
  )
  app.post(
    '/v1/offers/judgement',
    {
      config,
      schema: {
        tags: ['reports'],
        summary: 'Is an offered lot a bargain: the walk with and without it; prices in minor units. Nothing is written',
        body: z.strictObject({
          designation: line(20),
          pieces,
          bestBefore: partialDay,
          arrivesOn: day.optional(),
          price: whole.min(0).max(9_000_000_000),
          freshPrice: whole.min(0).max(100_000_000).optional(),
        }),
        response: { 200: offerOut },
      },
    },
    (request) => judgeOffer(service.database.prisma, request.body, todayAt(service)),
  )
}
