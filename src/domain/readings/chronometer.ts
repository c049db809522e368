/**
 * The seven criteria of a fifteen-day programme for wrist chronometers: five positions, 8, 23 and 38 °C. Formulas and
 * limits follow public summaries of ISO 3159:1976; the limits are data, and no conformity with the standard is claimed.
 * g1…g15 are daily rates in s/d; days 1–10 at 23 °C two by two in 6H, 3H, 9H, FH, CH; 11 at 8 °C, 13 at 38 °C.
 */
export const criteria = ['M', 'V', 'Vmax', 'D', 'P', 'C', 'R'] as const
export type Criterion = (typeof criteria)[number]

export type Limits = Readonly<Record<Criterion, { readonly min: number; readonly max: number }>>

/** Larger movements (from memory: over 20 mm across). */
export const categoryOne: Limits = {
  M: { min: -4, max: 6 },
  V: { min: 0, max: 2 },
  Vmax: { min: 0, max: 5 },
  D: { min: -6, max: 8 },
  P: { min: 0, max: 10 },
  C: { min: -0.6, max: 0.6 },
  R: { min: -5, max: 5 },
}

/** Smaller movements. */
export const categoryTwo: Limits = {
  M: { min: -5, max: 8 },
  V: { min: 0, max: 3.4 },
  Vmax: { min: 0, max: 7 },
  D: { min: -8, max: 10 },
  P: { min: 0, max: 15 },
  C: { min: -0.7, max: 0.7 },
  R: { min: -6, max: 6 },
}

export type Programme =
  | { readonly standing: 'incomplete'; readonly missingDays: readonly number[] }
  | {
      readonly standing: 'within' | 'outside'
      readonly values: Readonly<Record<Criterion, number>>
      readonly outside: readonly Criterion[]
    }

/** Rates carry at most two decimals, so a value is compared as the hundredth of thousandths it is, not as its float. */
const near = (value: number) => Math.round(value * 100_000) / 100_000

/** Fifteen daily rates; a missing one is null, and then the answer is incomplete, never within. Limits are inclusive. */
export function judgeProgramme(rates: readonly (number | null)[], limits: Limits): Programme {
  const missingDays = Array.from({ length: 15 }, (_, i) => i + 1).filter((day) => (rates[day - 1] ?? null) === null)
  if (missingDays.length > 0) return { standing: 'incomplete', missingDays }
  const g = (day: number) => rates[day - 1] as number
  const first = Array.from({ length: 10 }, (_, i) => g(i + 1))
  const mean = first.reduce((sum, rate) => sum + rate, 0) / 10
  const variations = [1, 3, 5, 7, 9].map((day) => Math.abs(g(day + 1) - g(day)))
  const values: Record<Criterion, number> = {
    M: near(mean),
    V: near(variations.reduce((sum, v) => sum + v, 0) / 5),
    Vmax: near(Math.max(...variations)),
    D: near((g(1) + g(2)) / 2 - (g(9) + g(10)) / 2),
    P: near(Math.max(...first.map((rate) => Math.abs(rate - mean)))),
    C: near((g(13) - g(11)) / 30),
    R: near(g(15) - (g(1) + g(2)) / 2),
  }
  const outside = criteria.filter((name) => values[name] < limits[name].min || values[name] > limits[name].max)
  return { standing: outside.length === 0 ? 'within' : 'outside', values, outside }
}
