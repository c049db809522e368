import { expect, it } from 'vitest'
import type { Obligation } from '../../../src/domain/reckoning/answer.ts'
import type { ObligationKind } from '../../../src/domain/reckoning/facts.ts'
import { ask } from './ask.ts'

/**
 * Watches as they come over the counter, worked by hand on a calendar by the common practice of the trade (no source).
 * Asked on Wednesday 2026-11-25 unless the row says otherwise.
 */
export type Example = readonly [
  number: string,
  story: string,
  body: Record<string, unknown>,
  expected: Partial<Record<ObligationKind, Partial<Obligation> | { readonly without: string }>>,
]

export const due = (rule: string, dueOn: string, standing: string, more: Record<string, unknown> = {}) =>
  ({ rule, dueOn, standing, ...more }) as Partial<Obligation>

export const automatic = (beatsPerHour: number, more = {}) => ({ kind: 'self-winding', beatsPerHour, ...more })
export const quartz = (more = {}) => ({ kind: 'quartz', ...more })

export function work(examples: readonly Example[]): void {
  it.each(examples)('%s: %s', (_number, _story, body, expected) => {
    const asked = ask(body)
    for (const [kind, wanted] of Object.entries(expected) as [ObligationKind, Example[3][ObligationKind]][]) {
      if (wanted !== undefined && 'without' in wanted) expect(asked.without(kind)).toBe(wanted.without)
      else expect(asked.of(kind)).toMatchObject(wanted as object)
    }
  })
}
