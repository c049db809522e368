/**
 * What a cell's charge lasts at a measured consumption: hours = mAh × 1000 / µA, a month being 730.5 hours. Exact on
 * the decimals as written. What of it may be promised is the reckoning's rule (cellLifeMonths).
 */
import { type Fraction, fraction, ofDecimal, over, times } from './fraction.ts'

/** Both above zero, as decimals. */
export const lifeHours = (capacityMah: string | number, microamps: string | number): Fraction =>
  over(times(ofDecimal(capacityMah), fraction(1000)), ofDecimal(microamps))

export const lifeMonths = (capacityMah: string | number, microamps: string | number): Fraction =>
  over(lifeHours(capacityMah, microamps), fraction(7305, 10))
