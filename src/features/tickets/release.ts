import { Refusal } from '../../domain/refusals.ts'
import { serialKey } from '../../domain/searching.ts'
import { readTicketNumber } from '../../domain/tickets/number.ts'
import { addRecords, type Desk } from './desk.ts'
import { type Loaded, peopleOf, samePerson } from './snapshot.ts'

/** What is compared at the counter before a watch goes to somebody. */
export type Release = {
  /** number read from the tag on the watch head */
  tagNumber: string
  /** serial read from the watch itself; null where it has none */
  serialRead?: string | null | undefined
  /** why the serial on file cannot be read here: it lies inside the case */
  serialUnreadable?: string | undefined
  picturesMatch: boolean
  /** the marks of the condition record are those of this watch */
  marksMatch?: boolean | undefined
  collector: string
  slip: 'shown' | 'lost' | 'not-shown'
  /** for a lost slip: the paper that proves who it is, and the description given */
  identityProof?: string | undefined
  twinAnswer?: string | undefined
  looseReturned?: string[] | undefined
  oldPartsReturned?: boolean | undefined
  cautionsGiven?: string[] | undefined
  papersShown?: string | undefined
}

/** Records the comparison; the gate judges it. A mistyped tag number is refused before anything is written. */
export async function recordRelease(desk: Desk, ticket: Loaded, input: Release): Promise<{ id: string }> {
  const tag = readTicketNumber(input.tagNumber)
  if (tag === null)
    throw new Refusal('ticket-number-wrong', { typed: input.tagNumber.slice(0, 20) }, [
      { pointer: '/tagNumber', detail: 'is not a ticket number' },
    ])
  const known = ticket.snapshot.watch.serial
  const read = input.serialRead === null || input.serialRead === undefined ? null : serialKey(input.serialRead)
  // told by its pictures and marks instead, as at booking-in a watch without a serial is
  const told = (input.serialUnreadable ?? '') !== '' && input.picturesMatch && input.marksMatch === true
  const people = peopleOf(ticket.rows)
  const deceased = ticket.rows.owner.deceased
  const [record] = await addRecords(desk, ticket.snapshot.ticket.id, [
    {
      kind: 'release',
      data: {
        tagNumber: tag,
        serialRead: input.serialRead ?? null,
        watchMatches: read === known || (read === null && told),
        serialUnreadable: input.serialUnreadable ?? null,
        marksMatch: input.marksMatch ?? null,
        picturesMatch: input.picturesMatch,
        collector: input.collector,
        collectorEntitled: people.collect.some((name) => samePerson(name, input.collector)),
        slip: input.slip,
        identityProof: input.identityProof ?? null,
        twinAnswered: (input.twinAnswer ?? '') !== '',
        twinAnswer: input.twinAnswer ?? null,
        looseReturned: input.looseReturned ?? [],
        oldPartsReturned: input.oldPartsReturned ?? null,
        cautionsGiven: input.cautionsGiven ?? [],
        // the papers of the heirs count only from a manager's hand
        papersShown: deceased && desk.who.role === 'manager' && (input.papersShown ?? '') !== '',
        papers: input.papersShown ?? null,
      },
    },
  ])
  return record!
}
