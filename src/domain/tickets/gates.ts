import type { GateRule, Part } from './gate-parts.ts'
import { completionGates } from './gates-after.ts'
import { handOverGates } from './gates-handover.ts'
import { intakeGates } from './gates-intake.ts'
import { waterGate } from './gates-water.ts'
import { agreementGates } from './gates-yes.ts'
import type { Override, Snapshot } from './snapshot.ts'
import { type GateName, gateNames, gateTitles } from './steps.ts'

/**
 * The gates. Each is a fact recomputed from the record at every call and never stored, so that a case opened again after
 * its test shuts the water gate by itself. An override stands only while nothing that bears on its gate was recorded
 * after it.
 */
export type GateAnswer = {
  readonly gate: GateName
  readonly title: string
  readonly state: 'open' | 'shut' | 'not-asked'
  readonly why: string
  /** Identifiers of the records looked at. */
  readonly evidence: readonly string[]
  readonly opens: readonly string[]
  readonly parts: readonly (Part & { readonly overridden: Override | null })[]
}

const rules: Readonly<Record<GateName, GateRule>> = {
  ...intakeGates,
  ...agreementGates,
  G11: waterGate,
  ...completionGates,
  ...handOverGates,
}

/** The gates that look at each kind of record that can be struck: a strike, too, is a later fact that bears on them. */
const gatesOfKind: Readonly<Record<string, readonly GateName[]>> = {
  people: ['G1', 'G15'],
  condition: ['G1', 'G2'],
  value: ['G2', 'G3'],
  payment: ['G15'],
  comeback: ['G16'],
  look: ['G12'],
  parts: ['G8'],
  kit: ['G9'],
  opening: ['G11', 'G12', 'G13'],
  closing: ['G11', 'G12', 'G13'],
  fitting: ['G10', 'G11', 'G12', 'G13'],
  operation: ['G8', 'G9', 'G10', 'G12', 'G13'],
  reading: ['G12'],
  'readings-accepted': ['G12'],
  'seals-seen': ['G11'],
  'water-test': ['G11', 'G13'],
  'water-agreement': ['G11'],
  'claim-withdrawn': ['G11'],
  'final-check': ['G13'],
}

export function judgeGate(gate: GateName, ticket: Snapshot): GateAnswer {
  const found = rules[gate](ticket)
  const title = gateTitles[gate]
  if ('notAsked' in found) {
    return { gate, title, state: 'not-asked', why: found.notAsked, evidence: [], opens: [], parts: [] }
  }
  const struck = ticket.struck.filter(({ kind }) => gatesOfKind[kind]?.includes(gate))
  const bearing = struck.reduce((most, { seq }) => Math.max(most, seq), found.bearing)
  const given = ticket.overrides.filter((o) => o.gate === gate)
  const parts = found.parts.map((part) => {
    if (part.open) return { ...part, overridden: null }
    const fitting = given.filter((o) => o.part === part.part && mayGive(o.role, part.mayOverride))
    const overridden = fitting.find((o) => o.seq > bearing) ?? null
    const ended = overridden === null && fitting.length > 0
    return { ...part, why: ended ? `${part.why} (${endedOverride})` : part.why, overridden }
  })
  const stillShut = parts.filter((part) => !part.open && part.overridden === null)
  return {
    gate,
    title,
    state: stillShut.length === 0 ? 'open' : 'shut',
    why: (stillShut.length === 0 ? parts : stillShut)
      .map((p) => (p.overridden ? `${p.why} (overridden: ${p.overridden.reason})` : p.why))
      .join('; '),
    evidence: found.evidence,
    opens: [...new Set(stillShut.flatMap((part) => (part.opens === null ? [] : [part.opens])))],
    parts,
  }
}

const endedOverride = 'it was overridden before, but what was recorded after that bears on this gate: ask again'

/** A manager's override is by a manager, a final checker's by a final checker: neither stands in for the other. */
const mayGive = (role: Override['role'], asked: Part['mayOverride']): boolean => role === asked

export const judgeGates = (ticket: Snapshot): readonly GateAnswer[] => gateNames.map((gate) => judgeGate(gate, ticket))

export type OverrideFault = 'not-asked' | 'already-open' | 'no-such-part' | 'nobody-may' | 'wrong-role'

/** Whether an override of a part of a gate may be recorded now, by somebody who acts in this role. */
export function mayOverride(
  ticket: Snapshot,
  gate: GateName,
  part: string,
  role: Override['role'],
):
  | { readonly ok: true; readonly evidence: readonly string[] }
  | { readonly ok: false; readonly fault: OverrideFault; readonly why: string } {
  const answer = judgeGate(gate, ticket)
  if (answer.state === 'not-asked') return { ok: false, fault: 'not-asked', why: answer.why }
  const found = answer.parts.find((p) => p.part === part)
  if (!found) {
    return {
      ok: false,
      fault: 'no-such-part',
      why: `the parts of ${gate} are: ${answer.parts.map((p) => p.part).join(', ')}`,
    }
  }
  if (found.open || found.overridden) return { ok: false, fault: 'already-open', why: found.why }
  if (found.mayOverride === 'nobody') {
    return { ok: false, fault: 'nobody-may', why: found.opens === null ? found.why : `${found.why}; ${found.opens}` }
  }
  if (!mayGive(role, found.mayOverride)) {
    return { ok: false, fault: 'wrong-role', why: `only a ${found.mayOverride} may override this` }
  }
  return { ok: true, evidence: answer.evidence }
}
