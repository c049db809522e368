/**
 * Chance that comes out the same every time: the demo's centre is a function of its seed. Each part of the centre throws
 * dice of its own, named after it, so that a part that is added or changed moves nothing in the others.
 */
export type Dice = {
  /** from 0 to below 1 */
  next: () => number
  /** a whole number from min to max, both included */
  whole: (min: number, max: number) => number
  chance: (share: number) => boolean
  pick: <T>(from: readonly T[]) => T
  /** one of the entries, as often as its weight says */
  weighed: <T>(from: readonly (readonly [T, number])[]) => T
}

/** FNV-1a, 32 bit (draft-eastlake-fnv). */
function hashOf(text: string): number {
  let hash = 0x811c9dc5
  for (let at = 0; at < text.length; at++) hash = Math.imul(hash ^ text.charCodeAt(at), 0x01000193)
  return hash >>> 0
}

/** mulberry32 (public domain, from memory): 32 bits of state are plenty to invent a few thousand watches. */
export function dice(seed: number, name: string): Dice {
  let state = (seed ^ hashOf(name)) >>> 0
  const next = () => {
    state = (state + 0x6d2b79f5) >>> 0
    let t = state
    t = Math.imul(t ^ (t >>> 15), t | 1)
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61)
    return ((t ^ (t >>> 14)) >>> 0) / 4_294_967_296
  }
  const whole = (min: number, max: number) => min + Math.floor(next() * (max - min + 1))
  const pick = <T>(from: readonly T[]): T => {
    if (from.length === 0) throw new Error('nothing to pick from')
    return from[whole(0, from.length - 1)] as T
  }
  const weighed = <T>(from: readonly (readonly [T, number])[]): T => {
    let left = next() * from.reduce((sum, [, weight]) => sum + weight, 0)
    for (const [value, weight] of from) {
      left -= weight
      if (left < 0) return value
    }
    return pick(from)[0]
  }
  return { next, whole, pick, weighed, chance: (share) => next() < share }
}
