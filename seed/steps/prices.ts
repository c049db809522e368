import type { Day } from '../../src/domain/day.ts'
import { addGuidePrice, type NewGuidePrice } from '../../src/features/notices/guide-prices.ts'
import { addPrice, type NewPrice } from '../../src/features/prices/prices.ts'
import { doing, type Step } from './step.ts'

const opened = '2026-01-05' as Day

/** What a visit costs here, about: letters name it, with the day until which it holds. */
const prices: Pick<NewGuidePrice, 'kind' | 'amount' | 'takes'>[] = [
  { kind: 'complete-service', amount: 38_000, takes: { from: 3, to: 5, unit: 'weeks' } },
  { kind: 'water-check', amount: 4500, takes: { from: 1, to: 2, unit: 'days' } },
  { kind: 'cell-change', amount: 3200, takes: { from: 30, to: 45, unit: 'minutes' } },
]

const operation = {
  currency: 'EUR',
  taxClass: 'standard',
  part: false,
  opensCase: true,
  pressureTest: false,
  completeService: false,
}

/** Operations of the bench, without tax, and the minutes of hands they take: a rehearsal tells hours by them. */
const operations: (Pick<NewPrice, 'code' | 'workClass' | 'what' | 'amount' | 'minutes' | 'guarantee'> &
  Partial<NewPrice>)[] = [
  {
    code: 'complete-service',
    workClass: 'three-hand',
    what: 'complete service',
    amount: 31_000,
    minutes: 260,
    guarantee: 'complete-service',
    completeService: true,
  },
  {
    code: 'complete-service',
    workClass: 'quartz',
    what: 'complete service of a quartz movement',
    amount: 16_500,
    minutes: 120,
    guarantee: 'complete-service',
    completeService: true,
  },
  { code: 'cell', what: 'cell change', amount: 2600, minutes: 25, guarantee: 'cell' },
  {
    code: 'pressure-test',
    what: 'pressure test',
    amount: 1200,
    minutes: 15,
    guarantee: 'water-test',
    opensCase: false,
    pressureTest: true,
  },
  {
    code: 'water-test',
    workClass: 'seals',
    what: 'water test',
    amount: 2200,
    minutes: 15,
    guarantee: 'water-test',
    opensCase: false,
    pressureTest: true,
  },
  {
    code: 'seals',
    workClass: 'seals',
    what: 'seals, with the water test',
    amount: 3800,
    minutes: 40,
    guarantee: 'seals',
    pressureTest: true,
  },
]

export const guidePrices: Step = {
  name: 'Prices',
  run: async (demo) => {
    const until = '2027-03-31' as Day
    await doing(demo, async (act) => {
      for (const price of prices) await addGuidePrice(act, { ...price, from: demo.today, until, currency: 'EUR' })
    })
    // watches that are in the house were priced by this list
    await doing(
      demo,
      async (act) => {
        for (const one of operations) await addPrice(act, { ...operation, ...one, from: opened })
      },
      opened,
    )
    return `${prices.length} guide prices, until ${until}; ${operations.length} operations of the bench with their minutes`
  },
  tries: async ({ today }) => [
    {
      words:
        'The manager asks what six years for quartz instead of seven would do: watches, letters by week, cells, hours',
      role: 'manager',
      method: 'POST',
      path: '/v1/house-rules/rehearsals',
      body: { key: 'quartzServiceMonths', value: 72, fromDay: today, weeks: 8 },
    },
  ],
}
