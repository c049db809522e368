/**
 * Pressures as testers show them. A standard atmosphere is 101,325 Pa (General Conference on Weights and Measures, 1954); a
 * pound-force on a square inch follows from the pound (0.45359237 kg), the inch (25.4 mm) and standard gravity (9.80665 m/s²),
 * all exact by definition. Metres are the marking convention of watches, ten to the bar, never a column of water.
 */
export const pressureUnits = ['bar', 'mbar', 'kPa', 'm', 'atm', 'psi'] as const
export type PressureUnit = (typeof pressureUnits)[number]
export type Pressure = { readonly value: number; readonly unit: PressureUnit }

const PASCALS_A_BAR = 100_000
export const barOfAtmospheres = (atmospheres: number): number => (atmospheres * 101_325) / PASCALS_A_BAR
export const barOfPsi = (psi: number): number => (psi * 0.45359237 * 9.80665) / 0.0254 ** 2 / PASCALS_A_BAR

/** Marked metres as bar: a convention of marking, ten metres to the bar. */
export const barOfMetres = (metres: number): number => metres / 10

/** In bar, to the hundred-thousandth, which no tester shows. */
export function inBar({ value, unit }: Pressure): number {
  const bar = {
    bar: value,
    mbar: value / 1000,
    kPa: value / 100,
    m: barOfMetres(value),
    atm: barOfAtmospheres(value),
    psi: barOfPsi(value),
  }[unit]
  return Math.round(bar * 100_000) / 100_000
}
