import type { Mark, Snapshot } from './snapshot.ts'

/** Who may pass a part of a gate that is shut. */
export type Overrider = 'manager' | 'final-checker' | 'nobody'

export type Part = {
  readonly part: string
  readonly open: boolean
  readonly why: string
  /** What would open it; null where it is open. */
  readonly opens: string | null
  readonly mayOverride: Overrider
}

export type GateRule = (
  ticket: Snapshot,
) =>
  | { readonly notAsked: string }
  | { readonly parts: readonly Part[]; readonly evidence: readonly string[]; readonly bearing: number }

export const open = (part: string, why: string): Part => ({ part, open: true, why, opens: null, mayOverride: 'nobody' })

export const shut = (part: string, why: string, opens: string, mayOverride: Overrider): Part => ({
  part,
  open: false,
  why,
  opens,
  mayOverride,
})

export const decided = (
  isOpen: boolean,
  part: string,
  whenOpen: string,
  whenShut: string,
  opens: string,
  by: Overrider,
): Part => (isOpen ? open(part, whenOpen) : shut(part, whenShut, opens, by))

/** Records that bear on a gate: their identifiers, and the order of the last of them. */
export function looksAt(...marks: readonly (Mark | null | undefined)[]): { evidence: string[]; bearing: number } {
  const there = marks.filter((mark) => mark !== null && mark !== undefined)
  return { evidence: there.map((mark) => mark.id), bearing: there.reduce((most, mark) => Math.max(most, mark.seq), 0) }
}
