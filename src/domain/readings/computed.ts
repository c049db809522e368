/**
 * Readings worked out from what an instrument hears. Beats per hour are the stored integer (A/h); one oscillation is two
 * beats, so the frequency in Hz is A/h ÷ 7,200 and the nominal beat 3,600 ÷ A/h seconds.
 */
export const frequencyOf = (beatsPerHour: number): number => beatsPerHour / 7200

/** Rate in s/d from the measured mean beat period in seconds; the exact form, + is gaining. */
export function rateOf(beatsPerHour: number, beatPeriod: number): number {
  return 86_400 * (3600 / (beatsPerHour * beatPeriod) - 1)
}

/** Parts per million of a rate in s/d. */
export const ppmOf = (rate: number): number => (rate / 86_400) * 1_000_000

/**
 * Amplitude in degrees from the lift angle (degrees) and the lift time (seconds): harmonic balance, the lift symmetric
 * about the dead point, exact. Null where the time is no lift of this balance (a quarter of an oscillation or longer).
 */
export function amplitudeOf(liftAngle: number, liftTime: number, beatsPerHour: number): number | null {
  const phase = (Math.PI * liftTime * beatsPerHour) / 7200
  return phase > 0 && phase < Math.PI / 2 ? liftAngle / (2 * Math.sin(phase)) : null
}

/** Half the difference of the two beats, or the whole: both are in use, so a value always carries its convention. */
export type BeatErrorConvention = 'half' | 'full'

/** Beat error in ms from the two beat lengths in ms. */
export function beatErrorOf(ticToc: number, tocTic: number, convention: BeatErrorConvention): number {
  const difference = Math.abs(ticToc - tocTic)
  return convention === 'half' ? difference / 2 : difference
}

/** A beat error in the half convention, in which tolerances are kept. */
export const asHalf = (beatError: number, convention: BeatErrorConvention): number =>
  convention === 'half' ? beatError : beatError / 2

/** Largest minus smallest rate over the positions of one wind state; null below two. */
export function spreadOf(rates: readonly number[]): number | null {
  return rates.length < 2 ? null : Math.max(...rates) - Math.min(...rates)
}

/** Seconds a year of a rate in s/month, a month being thirty days: as thermocompensated quartz is told. */
export const yearlyOf = (perMonth: number): number => (perMonth / 30) * 365.25

/** Days over which a rate of quartz is told, by the unit it comes in. */
const daysTold: Readonly<Record<string, number>> = { 's/d': 1, 's/month': 30, 's/year': 365.25 }

/** A rate of quartz in s/month, whether it came in s/d, s/month or s/year; any other unit stays as it came. */
export function monthlyOf<M extends { readonly value: number; readonly unit: string }>(rate: M): M | Monthly {
  const days = Object.hasOwn(daysTold, rate.unit) ? daysTold[rate.unit]! : null
  return days === null || days === 30 ? rate : { value: (rate.value / days) * 30, unit: 's/month' }
}
type Monthly = { readonly value: number; readonly unit: 's/month' }

/**
 * Where the crown points in a position: a position is named by the hour mark that is up, the crown sits at three
 * o'clock. Null where the watch lies.
 */
export const crownAt: Readonly<Record<string, 'up' | 'down' | 'left' | 'right' | null>> = {
  CH: null,
  FH: null,
  '3H': 'up',
  '6H': 'left',
  '9H': 'down',
  '12H': 'right',
}

export function meanOf(values: readonly number[]): number | null {
  return values.length === 0 ? null : values.reduce((sum, value) => sum + value, 0) / values.length
}

/** Mean rate after 24 h less mean rate at full wind. */
export function runDownOf(full: readonly number[], after24: readonly number[]): number | null {
  const a = meanOf(full)
  const b = meanOf(after24)
  return a === null || b === null ? null : b - a
}

/** A quartz corrects itself once in an inhibition period, so only whole periods show its rate. Seconds. */
export const wholePeriods = (measured: number, inhibition: number): boolean =>
  measured > 0 && measured % inhibition === 0

/** Months that a cell of this capacity (mAh) lasts at this consumption (µA); 730.5 h is a twelfth of 365.25 days. */
export const predictedMonths = (capacityMah: number, microamps: number): number =>
  (capacityMah * 1000) / (microamps * 730.5)
