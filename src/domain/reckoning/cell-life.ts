/**
 * Whole months of the given share of a cell's predicted life, rounded down:
 * floor(share × mAh × 1000 ÷ (µA × 730.5)), a month being 730.5 hours.
 *
 * Reckoned exactly on the decimals as sent: 10.227 mAh at 0.6 µA is 21 months at 90 %, where floating point says 20.
 * A number with up to 15 significant digits prints as the decimal it was sent as.
 */
export function cellLifeMonths(capacityMah: number, consumptionMicroamps: number, sharePercent: number): number {
  // Away from a whole number floating point is sure enough; the exact way is needed only beside one.
  const about = (sharePercent * capacityMah * 10) / (consumptionMicroamps * 730.5)
  const floor = Math.floor(about)
  const slack = 1e-9 * (about + 1)
  if (about - floor > slack && floor + 1 - about > slack) return floor
  const capacity = decimal(capacityMah)
  const consumption = decimal(consumptionMicroamps)
  const above = BigInt(sharePercent) * capacity.digits * 10n ** BigInt(consumption.places) * 100n
  const below = consumption.digits * 10n ** BigInt(capacity.places) * 7305n
  return Number(above / below)
}

/** The bounds at the door (0.000001 to 1,000,000) keep numbers out of the exponent notation. */
function decimal(value: number): { digits: bigint; places: number } {
  const text = String(value)
  const point = text.indexOf('.')
  if (point < 0) return { digits: BigInt(text), places: 0 }
  return { digits: BigInt(text.slice(0, point) + text.slice(point + 1)), places: text.length - point - 1 }
}
