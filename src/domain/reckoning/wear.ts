import type { KnownWear } from './usable.ts'

export const withSaltChlorineOrHotWater = (wear: KnownWear): boolean =>
  wear.salt === 'yes' || wear.chlorine === 'yes' || wear.hotWater === 'yes'

/** Said to be in water, or not asked but known to meet salt, chlorine or hot water. */
export const usedInWater = (wear: KnownWear): boolean =>
  wear.water === 'unknown' ? withSaltChlorineOrHotWater(wear) : wear.water !== 'never'

export const exposed = (wear: KnownWear): boolean =>
  wear.vibration === 'yes' || wear.heat === 'yes' || wear.cold === 'yes'

/** Known not to be worn daily, and known to be free of vibration, heat and cold. */
export const rarelyWornUnexposed = (wear: KnownWear): boolean =>
  wear.daily === 'no' && wear.vibration === 'no' && wear.heat === 'no' && wear.cold === 'no'

/** Known to be in water only now and then, and known to be free of salt, chlorine and hot water. */
export const easyOnWater = (wear: KnownWear): boolean =>
  wear.water === 'now-and-then' && wear.salt === 'no' && wear.chlorine === 'no' && wear.hotWater === 'no'
