import { z } from 'zod'
import { Refusal } from '../../domain/refusals.ts'
import type { Role } from '../../http/service.ts'
import { line } from '../../http/shapes.ts'
import type { Desk, NewRecord } from './desk.ts'
import { type Loaded, peopleOf, samePerson } from './snapshot.ts'

/**
 * What is said about a ticket, each kind under its own address. One entry here is one endpoint: its name, who may say it,
 * its shape, and what has to hold or to follow. The record is the body as it came, unless the entry makes it itself.
 */
export type Said = {
  readonly path: string
  readonly kind: string
  readonly roles: readonly Role[]
  readonly summary: string
  readonly body: z.ZodObject
  /** taken also on a ticket that has ended */
  readonly afterEnd?: boolean
  /** taken also while the ticket is missing, in dispute or kept as evidence: a word with the owner, money, a danger */
  readonly whileFrozen?: boolean
  readonly make?: (
    desk: Desk,
    ticket: Loaded,
    body: never,
  ) => Promise<Partial<NewRecord> & { data: object }> | (Partial<NewRecord> & { data: object })
  /** what speaks against it by what stood before, told with the answer; it is recorded all the same */
  readonly warn?: (desk: Desk, ticket: Loaded, body: never) => Promise<string[]>
  readonly after?: (desk: Desk, ticket: Loaded, body: never) => Promise<void>
}

export const counter = ['counter', 'manager'] as const
export const bench = ['bench', 'manager'] as const
export const manager = ['manager'] as const

/** The condition record at booking-in. */
export const conditionFields = {
  marks: z
    .array(
      z.strictObject({
        place: line(80),
        kind: z.enum(['scratch', 'dent', 'chip', 'crack', 'missing', 'discoloured', 'moisture', 'worn-engraving']),
        lengthMm: z.number().min(0).max(100).optional(),
      }),
    )
    .max(200)
    .nullable(),
  clasp: z.enum(['there', 'not-there']),
  agreed: z.enum(['owner', 'opened-before-witness', 'opened-before-camera']).nullable().optional(),
  openedBy: line(80).optional().meta({ description: 'who opened the parcel' }),
  openedBefore: line(80).optional().meta({ description: 'the witness who saw it opened' }),
  runs: z.enum(['yes', 'no', 'unknown']).optional(),
  timeShown: line(20).optional(),
  timeTrue: line(20).optional().meta({ description: 'the true time when it showed that' }),
  crown: z.enum(['pulled', 'pushed', 'missing']).optional(),
  linksCounted: z.number().int().min(0).max(99).optional(),
  strap: line(120).optional(),
  strapKind: z.enum(['none', 'metal', 'leather', 'exotic-leather', 'textile', 'rubber', 'unknown']).optional(),
  box: z.boolean().optional(),
  papers: z.boolean().optional(),
  smell: line(80).optional(),
  magnetised: z.enum(['yes', 'no', 'unknown']).optional(),
  waterSigns: z.enum(['yes', 'no', 'unknown']).optional(),
  functions: line(200).optional().meta({ description: 'date, chronograph, bezel' }),
}
/** A parcel opened before nobody in particular proves nothing, and a true time says nothing without the time shown. */
export const conditionBody = z
  .strictObject(conditionFields)
  .refine((said) => !said.agreed?.startsWith('opened') || said.openedBy !== undefined, {
    path: ['openedBy'],
    error: 'is missing: say who opened the parcel',
  })
  .refine((said) => said.agreed !== 'opened-before-witness' || said.openedBefore !== undefined, {
    path: ['openedBefore'],
    error: 'is missing: name the witness before whom the parcel was opened',
  })
  .refine((said) => said.timeTrue === undefined || said.timeShown !== undefined, {
    path: ['timeShown'],
    error: 'is missing: say what the watch showed at that time',
  })

export const doNot = z.enum([
  'no-polish',
  'keep-dial',
  'keep-hands',
  'keep-crown',
  'no-lume-work',
  'do-not-open-movement',
  'no-ultrasonic',
])

export const releaseBody = z
  .strictObject({
    tagNumber: line(30),
    serialRead: line(60).nullable().optional(),
    serialUnreadable: line(200).optional(),
    picturesMatch: z.boolean(),
    marksMatch: z.boolean().optional(),
    collector: line(120),
    slip: z.enum(['shown', 'lost', 'not-shown']),
    identityProof: line(200).optional(),
    twinAnswer: line(400).optional(),
    looseReturned: z.array(line(40)).max(50).optional(),
    oldPartsReturned: z.boolean().optional(),
    cautionsGiven: z.array(line(80)).max(20).optional(),
    papersShown: line(200).optional(),
  })
  // whoever has no slip is known by a paper and by what they say of the watch, before a manager is asked to accept it
  .refine((said) => said.slip === 'shown' || said.identityProof !== undefined, {
    path: ['identityProof'],
    error: 'is missing: without the slip, say which paper proved who it is and how they described the watch',
  })

export function refuseUnentitled(
  ticket: Loaded,
  person: string,
  what: 'approve' | 'collect',
  pointer = '/person',
): void {
  const entitled = peopleOf(ticket.rows)[what]
  if (!entitled.some((name) => samePerson(name, person))) {
    throw new Refusal('not-entitled', { person, what, entitled }, [
      { pointer, detail: `is not on the list of those who may ${what}` },
    ])
  }
}
