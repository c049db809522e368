/**
 * Money is a whole number of the currency's smallest unit (cents, pence, fils, yen) and an ISO 4217 code. Rates of tax
 * are hundredths of a percent (2000 = 20.00 %). All arithmetic is on whole numbers; halves round up.
 */
export type Money = { readonly amount: number; readonly currency: string }

/** The rule by which tax is rounded: each line for itself, or once for all lines of a tax class. */
export type Rounding = 'per-line' | 'per-total'

/** Largest amount taken at a door; of a currency without decimals that is still a shop full of watches. Sums of a thousand are exact. */
export const LARGEST_AMOUNT = 9_000_000_000_000

/** The form of a code of ISO 4217. */
export const currencyCode = /^[A-Z]{3}$/

const noDecimals = new Set('BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF'.split(' '))
const threeDecimals = new Set('BHD IQD JOD KWD LYD OMR TND'.split(' '))
const fourDecimals = new Set(['CLF', 'UYW'])

/** Digits after the point by ISO 4217 (list of 2024-06-25); two where the list says nothing else. HUF has two there. */
export function decimalsOf(currency: string): 0 | 2 | 3 | 4 {
  if (noDecimals.has(currency)) return 0
  if (threeDecimals.has(currency)) return 3
  return fourDecimals.has(currency) ? 4 : 2
}

export const isCurrency = (code: string): boolean => currencyCode.test(code)

const sameCurrency = (a: Money, b: Money): boolean => a.currency === b.currency

/** `null` where the currencies differ: amounts of two currencies are never compared. */
export const isAbove = (a: Money, b: Money): boolean | null => (sameCurrency(a, b) ? a.amount > b.amount : null)

/** Tax on a net amount at a rate in hundredths of a percent, rounded half up. Exact: a product may pass 2^53. */
export function taxOn(net: number, rate: number): number {
  return Number((BigInt(net) * BigInt(rate) * 2n + 10_000n) / 20_000n)
}

/** `426.60 EUR`, for people; never read back. */
export function inWords({ amount, currency }: Money): string {
  const decimals = decimalsOf(currency)
  const digits = String(Math.abs(amount)).padStart(decimals + 1, '0')
  const whole = decimals === 0 ? digits : `${digits.slice(0, -decimals)}.${digits.slice(-decimals)}`
  return `${amount < 0 ? '-' : ''}${whole} ${currency}`
}
