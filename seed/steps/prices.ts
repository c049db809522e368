import type { Day } from '../../src/domain/day.ts'
import { addGuidePrice, type NewGuidePrice } from '../../src/features/notices/guide-prices.ts'
import { doing, type Step } from './step.ts'

/** What a visit costs here, about: letters name it, with the day until which it holds. */
const prices: Pick<NewGuidePrice, 'kind' | 'amount' | 'takes'>[] = [
  { kind: 'complete-service', amount: 38_000, takes: { from: 3, to: 5, unit: 'weeks' } },
  { kind: 'water-check', amount: 4500, takes: { from: 1, to: 2, unit: 'days' } },
  { kind: 'cell-change', amount: 3200, takes: { from: 30, to: 45, unit: 'minutes' } },
]

export const guidePrices: Step = {
  name: 'Guide prices',
  run: async (demo) => {
    const until = '2027-03-31' as Day
    await doing(demo, async (act) => {
      for (const price of prices) await addGuidePrice(act, { ...price, from: demo.today, until, currency: 'EUR' })
    })
    return `${prices.length}, until ${until}`
  },
}
