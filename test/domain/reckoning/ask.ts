import type { Day } from '../../../src/domain/day.ts'
import { defaultHouseRules, type HouseRules } from '../../../src/domain/house-rules.ts'
import type { Answer, Obligation } from '../../../src/domain/reckoning/answer.ts'
import type { ObligationKind } from '../../../src/domain/reckoning/facts.ts'
import { reckonAndKeep } from '../../../src/domain/reckoning/reckon.ts'
import type { Keeping } from '../../../src/domain/reckoning/reconsider.ts'
import { readRequest } from '../../../src/domain/reckoning/request.ts'

export const TODAY = '2026-11-25' as Day

export interface Asked {
  readonly answer: Answer
  readonly rules: HouseRules
  readonly of: (kind: ObligationKind) => Obligation
  /** why the kind does not arise; undefined if it does */
  readonly without: (kind: ObligationKind) => string | undefined
  readonly keeping: (kind: ObligationKind) => Keeping
}

/** Asks by the same door as the counter: a JSON body, read and judged, then reckoned. */
export function ask(body: unknown): Asked {
  const read = readRequest(JSON.parse(JSON.stringify(body)))
  if (!read.ok) throw new Error(`the request is at fault: ${JSON.stringify(read.faults)}`)
  const { on, facts } = read.request
  const rules = { ...defaultHouseRules, ...read.request.rules }
  const { answer, keeping } = reckonAndKeep(facts, rules, on, { trace: true, wouldChange: true })
  return {
    answer,
    rules,
    of: (kind) => {
      const found = answer.obligations.find((o) => o.kind === kind)
      if (found === undefined) throw new Error(`no ${kind}: ${JSON.stringify(answer.without)}`)
      return found
    },
    without: (kind) => answer.without.find((w) => w.kind === kind)?.because,
    keeping: (kind) => keeping.find((k) => k.kind === kind) as Keeping,
  }
}

/** A body with a watch that has been known for long, asked today. */
export const about = (watch: Record<string, unknown>, rest: Record<string, unknown> = {}) => ({
  on: TODAY,
  watch: { firstSeen: '2015-01-01', ...watch },
  ...rest,
})

type Row = Record<string, unknown>
const did =
  (event: string) =>
  (on: string, more: Row = {}): Row => ({ event, on, source: 'own-record', ...more })
export const serviced = did('complete-service')
export const movementFitted = did('movement-fitted')
export const tested = (on: string, more: Row = {}) => did('water-test')(on, { passed: true, ...more })
export const failed = (on: string, more: Row = {}) => did('water-test')(on, { passed: false, ...more })
export const withdrawn = did('water-claim-withdrawn')
export const opened = did('case-opened')
export const sealsReplaced = did('seals-replaced')
export const cellFitted = did('cell-fitted')
export const cellRemoved = did('cell-removed')
export const sign = (what: string, on: string, more: Row = {}): Row => ({
  event: 'sign',
  on,
  source: 'owner-word',
  sign: what,
  ...more,
})
export const guidance = (obligation: string, months: number, inForceFrom: string, more: Row = {}): Row => ({
  obligation,
  months,
  inForceFrom,
  ...more,
})

export const rated = (bar: number) => ({ waterClaim: { marked: 'rated', bar } })
export const unexposed = { vibration: 'no', heat: 'no', cold: 'no' }
export const rarelyWorn = { daily: 'no', ...unexposed }
