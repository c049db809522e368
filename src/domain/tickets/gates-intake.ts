import { isAbove } from '../money.ts'
import { decided, type GateRule, looksAt, type Overrider, open, shut } from './gate-parts.ts'
import { gatedHazards, latest, radiumHazards, type Snapshot, type View } from './snapshot.ts'

const wantedViews: readonly View[] = ['dial', 'back', 'crown-side', 'opposite-side']

/** G1: person known and reachable, or will call in; the watch told from a twin. */
const identity: GateRule = (t) => {
  const described =
    t.watch.serial !== null ||
    (t.watch.sizeMm !== null && t.pictures.length > 0 && (t.condition?.marks ?? null) !== null)
  return {
    parts: [
      decided(
        t.owner.known && t.owner.reach !== 'no',
        'person',
        t.owner.reach === 'yes' ? 'the person is known and can be reached' : 'the person is known and will call in',
        t.owner.known ? 'the person cannot be reached by any means on file' : 'nobody is named as the owner',
        'record one working means of contact, or that the owner will call in',
        'manager',
      ),
      decided(
        described,
        'watch',
        t.watch.serial !== null ? 'the watch has its serial' : 'the watch is told by size, pictures and marks',
        'the watch could not be told from a twin',
        'record the serial or, if there is none, the measured size, pictures and the marks',
        'manager',
      ),
    ],
    ...looksAt(t.owner, t.watch, t.condition, ...t.pictures),
  }
}

/** G2: pictures, marks, and the owner has seen and agreed, or the parcel was opened before a witness or camera. */
const condition: GateRule = (t) => {
  const seen = new Set(t.pictures.map((picture) => picture.view))
  const wanted: View[] = t.condition?.clasp === 'not-there' ? [...wantedViews] : [...wantedViews, 'clasp']
  const missing = wanted.filter((view) => !seen.has(view))
  const by = mayStandForCondition(t)
  return {
    parts: [
      decided(
        missing.length === 0,
        'pictures',
        'all the fixed views are there',
        `pictures are missing: ${missing.join(', ')}`,
        'take the missing pictures, or record that there is no clasp',
        by,
      ),
      decided(
        (t.condition?.marks ?? null) !== null,
        'marks',
        'the marks are listed',
        'the marks are not listed',
        'list the marks, or that none were seen',
        by,
      ),
      decided(
        (t.condition?.agreed ?? null) !== null,
        'agreed',
        t.condition?.agreed === 'owner'
          ? 'the owner has seen and agreed'
          : 'the parcel was opened before a witness or camera',
        'nobody has agreed the condition',
        'let the owner see and agree, or record before whom the parcel was opened',
        by,
      ),
    ],
    ...looksAt(t.condition, t.declared, ...t.pictures),
  }
}

/** A manager, where the declared value is known to be at or under the house line; above it or unknown nobody. */
function mayStandForCondition(t: Snapshot): Overrider {
  const value = t.declared?.value
  if (!value || !t.settings.conditionLine) return 'nobody'
  return isAbove(value, t.settings.conditionLine) === false ? 'manager' : 'nobody'
}

/** G3: the declared value is noted; above the cover for one item the insurer's rule first. */
const value: GateRule = (t) => {
  const marks = looksAt(t.declared, t.coverArranged)
  const declared = t.declared?.value
  if (!declared) {
    return {
      parts: [shut('value', 'no value is declared', 'record what the owner declares the watch to be worth', 'manager')],
      ...marks,
    }
  }
  if (!t.settings.coverPerItem) {
    return {
      parts: [
        open('value', 'the declared value is noted'),
        shut(
          'cover',
          'the cover for one item is not set',
          'stop and ask: the manager sets the cover for one item',
          'manager',
        ),
      ],
      ...marks,
    }
  }
  const within = isAbove(declared, t.settings.coverPerItem) === false
  // what was arranged for one value says nothing of another declared after it
  const arranged = t.coverArranged !== null && t.coverArranged.seq > t.declared!.seq
  return {
    parts: [
      open('value', 'the declared value is noted'),
      decided(
        within || arranged,
        'cover',
        within ? 'the value is within the cover for one item' : "the manager recorded the insurer's rule for it",
        'the value is above the cover for one item, or in another currency',
        "the manager records what the insurer's rule demands",
        'manager',
      ),
    ],
    ...marks,
  }
}

/** G4: each move of the watch has from, to and time, and each begins where the last one ended. */
const custody: GateRule = (t) => {
  const chain = [...t.custody].sort((a, b) => a.at - b.at || a.seq - b.seq)
  const last = chain.at(-1)
  let broken: string | null = null
  for (const [i, move] of chain.entries()) {
    if (move.to === null || move.holder === null || (i > 0 && move.from === null))
      broken ??= 'a move lacks its from, to or holder'
    if (i > 0 && move.from !== chain[i - 1]?.to) broken ??= 'a move does not begin where the last one ended'
  }
  const whole = last !== undefined && broken === null && t.ticket.side !== 'missing'
  return {
    parts: [
      decided(
        whole,
        'custody',
        `the watch is at ${last?.to} with ${last?.holder}`,
        t.ticket.side === 'missing' ? 'the watch is missing' : (broken ?? 'nobody has recorded where the watch is'),
        'record where the watch is and who holds it',
        'nobody',
      ),
    ],
    ...looksAt(last),
  }
}

/** G5: radium or maybe, a leaking cell, water inside: right bench, right note, confirmed. Not for an unopened return. */
const hazard: GateRule = (t) => {
  if (t.ticket.undone && t.openings.length === 0) return { notAsked: 'the watch goes back unopened' }
  const standing = t.hazards.filter((hazard) => gatedHazards.has(hazard.kind) && !hazard.over)
  const last = latest(standing)
  if (!last && !t.watch.lumeMayBeRadium) return { notAsked: 'no hazard is on record that asks for a bench of its own' }
  const kinds = [
    ...new Set([...standing.map((h) => h.kind), ...(t.watch.lumeMayBeRadium ? ['may-be-radium' as const] : [])]),
  ]
  const confirmed =
    t.hazardConfirmed !== null && t.hazardConfirmed.seq > standing.reduce((most, h) => Math.max(most, h.seq), 0)
  const parts = [
    decided(
      confirmed,
      'note',
      'the handling note was shown and confirmed',
      `the handling note is not confirmed for: ${kinds.join(', ')}`,
      'show the handling note to whoever works on it and record that it was confirmed',
      'nobody',
    ),
    decided(
      confirmed && t.hazardConfirmed?.benchMay === true,
      'bench',
      'the bench may handle it',
      'no bench that may handle it is named',
      'confirm it at a bench with the skill for hazards',
      'nobody',
    ),
  ]
  if (kinds.some((kind) => radiumHazards.has(kind))) {
    parts.push(
      decided(
        t.settings.radiationRules,
        'local-rules',
        'the local radiation rules are set',
        'the local radiation rules are not set',
        'stop and ask: the manager records the rules of the local authority',
        'nobody',
      ),
    )
  }
  return { parts, ...looksAt(t.watch, t.hazardConfirmed, ...standing) }
}

export const intakeGates = { G1: identity, G2: condition, G3: value, G4: custody, G5: hazard }
