/**
 * Exact fractions of whole numbers, in lowest terms with a positive denominator. Demand is a sum of thirds and
 * twelfths and thirty-firsts of pieces that is rounded down in the end: in floating point a sum that should be
 * exactly 16 comes out as 15.999… and a piece is lost.
 */
export type Fraction = { readonly n: bigint; readonly d: bigint }

function gcd(a: bigint, b: bigint): bigint {
  let x = a < 0n ? -a : a
  let y = b < 0n ? -b : b
  while (y !== 0n) [x, y] = [y, x % y]
  return x
}

/** @throws RangeError where the denominator is zero or a number is not whole */
export function fraction(n: bigint | number, d: bigint | number = 1n): Fraction {
  const top = BigInt(n)
  const bottom = BigInt(d)
  if (bottom === 0n) throw new RangeError('a fraction over zero')
  const sign = bottom < 0n ? -1n : 1n
  const common = gcd(top, bottom) || 1n
  return { n: (sign * top) / common, d: (sign * bottom) / common }
}

export const zero: Fraction = { n: 0n, d: 1n }
export const plus = (a: Fraction, b: Fraction): Fraction => fraction(a.n * b.d + b.n * a.d, a.d * b.d)
export const minus = (a: Fraction, b: Fraction): Fraction => fraction(a.n * b.d - b.n * a.d, a.d * b.d)
export const times = (a: Fraction, b: Fraction): Fraction => fraction(a.n * b.n, a.d * b.d)
export const over = (a: Fraction, b: Fraction): Fraction => fraction(a.n * b.d, a.d * b.n)
export const compare = (a: Fraction, b: Fraction): number => {
  const left = a.n * b.d
  const right = b.n * a.d
  return left < right ? -1 : left > right ? 1 : 0
}

/** The smallest denominator all of them can be written with. */
export function commonDenominator(fractions: readonly Fraction[]): bigint {
  let common = 1n
  // most share one: then a remainder is all that is asked
  for (const { d } of fractions) if (common % d !== 0n) common = (common / gcd(common, d)) * d
  return common
}

/** Summed over one denominator: a single reduction at the end instead of one for each step. */
export function sumOf(fractions: readonly Fraction[]): Fraction {
  const common = commonDenominator(fractions)
  let top = 0n
  for (const { n, d } of fractions) top += n * (common / d)
  return fraction(top, common)
}

const floorDivide = (n: bigint, d: bigint): bigint => (n >= 0n ? n / d : -((-n + d - 1n) / d))

/** The smallest whole number not below it. */
export const ceiling = (a: Fraction): number => -Number(floorDivide(-a.n, a.d))
/** The nearest whole number; a half goes up, as money is rounded here. */
export const roundHalfUp = (a: Fraction): number => Number(floorDivide(2n * a.n + a.d, 2n * a.d))
/** The nearest double, for statistics and for showing; never for counting pieces. */
export const toNumber = (a: Fraction): number => {
  const whole = floorDivide(a.n, a.d)
  return Number(whole) + Number(a.n - whole * a.d) / Number(a.d)
}

/** Written with a fixed number of places, a half rounded up: for reports, where the exact value stays in the sums. */
export function toFixed(a: Fraction, places: number): string {
  const scaled = BigInt(floorDivide(2n * a.n * 10n ** BigInt(places) + a.d, 2n * a.d))
  const sign = scaled < 0n ? '-' : ''
  const digits = String(scaled < 0n ? -scaled : scaled).padStart(places + 1, '0')
  return places === 0 ? sign + digits : `${sign}${digits.slice(0, -places)}.${digits.slice(-places)}`
}
