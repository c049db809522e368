/** The look of a watch, by which two are mixed up: what a person sees from across the counter. */
export type Look = {
  readonly maker: string | null
  readonly model: string | null
  readonly metal: string | null
  readonly dial: string | null
  readonly diameterMm: number | null
}

const plain = (text: string | null): string | null => {
  const folded = text?.toLowerCase().replace(/[^\p{L}\p{N}]+/gu, '') ?? ''
  return folded === '' ? null : folded
}

/**
 * Whether two watches might be taken for each other. What is not known of one of them tells nothing apart, but without
 * at least the same maker and model, or the same metal and dial, there is no likeness to warn of. Sizes that differ by no
 * more than `withinMm` look the same.
 */
export function mightBeTaken(a: Look, b: Look, withinMm: number): boolean {
  const same = (x: string | null, y: string | null): boolean | null => {
    const p = plain(x)
    const q = plain(y)
    return p === null || q === null ? null : p === q
  }
  const maker = same(a.maker, b.maker)
  const model = same(a.model, b.model)
  const metal = same(a.metal, b.metal)
  const dial = same(a.dial, b.dial)
  if ([maker, model, metal, dial].includes(false)) return false
  if (a.diameterMm !== null && b.diameterMm !== null && Math.abs(a.diameterMm - b.diameterMm) > withinMm) return false
  return (maker === true && model === true) || (metal === true && dial === true)
}

/** Keys under which candidates are found: by maker and model, by metal and dial; null where one of the two is unknown. */
export function lookKeys(look: Look): { model: string | null; dial: string | null } {
  const pair = (a: string | null, b: string | null) => {
    const p = plain(a)
    const q = plain(b)
    return p === null || q === null ? null : `${p} ${q}`
  }
  return { model: pair(look.maker, look.model), dial: pair(look.metal, look.dial) }
}
