import { faulty, Refusal } from '../../domain/refusals.ts'
import type { Desk } from './desk.ts'
import { refuseUnentitled } from './said.ts'
import { type Loaded, peopleOf, samePerson } from './snapshot.ts'

export type PeopleSaid = {
  approve: string[]
  collect: string[]
  willCallIn: boolean
  /** on whose word a name was added, and how it was given */
  authorisedBy?: string | undefined
  how?: string | undefined
}

/**
 * After the booking-in a name comes on a list by the word of somebody entitled to approve. Where the owner has died the
 * manager adds the heirs, by their papers.
 */
export function refuseUnauthorised(desk: Desk, ticket: Loaded, said: PeopleSaid): void {
  const known = peopleOf(ticket.rows)
  const adds = (['approve', 'collect'] as const).some((list) =>
    said[list].some((name) => !known[list].some((one) => samePerson(one, name))),
  )
  if (!adds) return
  const missing = (['authorisedBy', 'how'] as const).find((key) => said[key] === undefined)
  if (missing !== undefined || said.authorisedBy === undefined)
    throw faulty([`/${missing}`, 'is missing: say on whose word a name is added, and how it was given'])
  const byPapers = said.how === 'papers'
  if (!byPapers) refuseUnentitled(ticket, said.authorisedBy, 'approve', '/authorisedBy')
  if (byPapers && !ticket.rows.owner.deceased)
    throw faulty(['/how', 'papers speak only for an owner who has died; name who said it, and how'])
  if (byPapers && desk.who.role !== 'manager')
    throw new Refusal('role-refused', { roles: ['manager'], role: desk.who.role })
}
