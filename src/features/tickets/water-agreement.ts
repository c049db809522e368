import { highestPressure, limitsUnder, mayBeDiver, usualTestPressure } from '../../domain/readings/water.ts'
import { faulty } from '../../domain/refusals.ts'
import type { TestKind } from '../../domain/tickets/snapshot.ts'
import { refuseUnentitled } from './said.ts'
import { type Loaded, testedWatch } from './snapshot.ts'

export type WaterAgreement = {
  bar: number | null
  needed: TestKind[]
  ownerConsents: boolean
  diver: boolean
  /** who agreed it, and how */
  person?: string | undefined
  how?: string | undefined
  /** why, where nobody had to be asked */
  reason?: string | undefined
}

/**
 * A test that asks as much as the claim and as what was agreed before may be set by the bench, which says why. One that
 * asks less, by its pressure or by a kind left out, or that needs the owner's consent, is agreed by somebody entitled to approve.
 */
export function refuseUnagreed(ticket: Loaded, agreed: WaterAgreement): void {
  const { water } = ticket.snapshot
  const watch = { ...testedWatch(ticket.rows), diver: agreed.diver }
  const limits = limitsUnder(ticket.rules)
  if (agreed.diver && !mayBeDiver(watch))
    throw faulty(['/diver', "is not so: a diver's watch is marked with a hundred metres or more"])
  const highest = highestPressure({ ...watch, ownerConsents: agreed.ownerConsents }, limits)
  if (agreed.bar !== null && agreed.bar > 0 && highest !== null && agreed.bar > highest)
    throw faulty(['/bar', `must be at most ${highest} bar, as the claim, crystal and age of the watch allow`])
  const usual = usualTestPressure(watch, limits)
  const floors = [usual, water.agreedBar]
  const less =
    usual === null ||
    agreed.ownerConsents ||
    floors.some((floor) => floor !== null && (agreed.bar === null || agreed.bar < floor)) ||
    water.needed.some((kind) => !agreed.needed.includes(kind))
  if (agreed.person !== undefined) refuseUnentitled(ticket, agreed.person, 'approve')
  if (less && (agreed.person === undefined || agreed.how === undefined))
    throw faulty([
      agreed.person === undefined ? '/person' : '/how',
      'is missing: this asks less of the test than the claim or what was agreed before, or needs consent; say who agreed it, and how',
    ])
  if (!less && agreed.person === undefined && agreed.reason === undefined)
    throw faulty(['/reason', 'is missing: say why, or name who agreed it'])
}
