/**
 * Readings worked out from what an instrument hears. Beats per hour are the stored integer (A/h); one oscillation is two
 * beats, so the frequency in Hz is A/h ÷ 7,200 and the nominal beat 3,600 ÷ A/h seconds.
 */
export const frequencyOf = (beatsPerHour: number): number => beatsPerHour / 7200

/** Rate in s/d from the measured mean beat period in seconds; the exact form, + is gaining. */
export function rateOf(beatsPerHour: number, beatPeriod: number): number {
  return 86_400 * (3600 / (beatsPerHour * beatPeriod) - 1)
}

/** The beat period in seconds that a rate in s/d stands for. */
export const beatPeriodOf = (beatsPerHour: number, rate: number): number => 3600 / (beatsPerHour * (1 + rate / 86_400))

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

/** The lift time in seconds of an amplitude: the inverse of `amplitudeOf`. Null below half the lift angle. */
export function liftTimeOf(amplitude: number, liftAngle: number, beatsPerHour: number): number | null {
  const ratio = liftAngle / (2 * amplitude)
  return ratio > 0 && ratio <= 1 ? (Math.asin(ratio) * 7200) / (Math.PI * beatsPerHour) : null
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

export function meanOf(values: readonly number[]): number | null {
  return values.length === 0 ? null : values.reduce((sum, value) => sum + value, 0) / values.length
}

/** Mean rate after 24 h less mean rate at full wind. */
export function runDownOf(full: readonly number[], after24: readonly number[]): number | null {
  const a = meanOf(full)
  const b = meanOf(after24)
  return a === null || b === null ? null : b - a
}

/** Rate of a quartz in s/month: thirty days of it. */
export const perMonth = (ratePerDay: number): number => ratePerDay * 30

/** A quartz corrects itself once in an inhibition period, so only whole periods show its rate. Seconds. */
export const wholePeriods = (measured: number, inhibition: number): boolean =>
  measured > 0 && measured % inhibition === 0

/** Months that a cell of this capacity (mAh) lasts at this consumption (µA); 730.5 h is a twelfth of 365.25 days. */
export const predictedMonths = (capacityMah: number, microamps: number): number =>
  (capacityMah * 1000) / (microamps * 730.5)

/** Hours that it lasts: 26,666.7 for 40 mAh at 1.5 µA. */
export const predictedHours = (capacityMah: number, microamps: number): number => (capacityMah / microamps) * 1000
