import { dayOfNumber } from '../day.ts'
import type { TraceStep } from './answer.ts'

/**
 * Collects every rule tried, in order, with the fact used and what it did. It is handed in only when asked for:
 * `trace?.tried(…)` does not even build its sentence otherwise.
 */
export interface Trace {
  readonly steps: TraceStep[]
  tried(rule: string, because: string): void
  applied(rule: string, because: string): void
}

export function newTrace(): Trace {
  const steps: TraceStep[] = []
  return {
    steps,
    tried: (rule, because) => void steps.push({ rule, applied: false, because }),
    applied: (rule, because) => void steps.push({ rule, applied: true, because }),
  }
}

export const say = (day: number): string => dayOfNumber(day)
