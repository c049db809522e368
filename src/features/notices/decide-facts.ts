import { dateOf, dayFrom } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import type { ObligationKind, Source } from '../../domain/reckoning/facts.ts'
import { Refusal } from '../../domain/refusals.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { lockWatches } from '../obligations/rewrite.ts'
import { wakeNotices } from '../owners/owners.ts'
import { wakeWatch } from '../watches/watches.ts'

/** What is told at the counter that changes no date and yet decides whether a letter goes. Each ends or begins a silence. */

async function watchOf(act: Act, watchId: string) {
  if (!(await lockWatches(act.tx, [watchId])).has(watchId))
    throw new Refusal('not-found', { what: 'watch', id: watchId })
  return act.tx.watch.findUniqueOrThrow({ where: { id: watchId }, select: { ownerId: true } })
}

/** The owner said no to an offer: the item is quiet for a while, then one letter goes. Tickets call this for declined lines. */
export async function refuseOffer(
  act: Act,
  watchId: string,
  input: { kind: ObligationKind; on?: Day | undefined; source: Source; ticketId?: string | undefined },
): Promise<Created> {
  const { tx, today, who } = act
  const { ownerId } = await watchOf(act, watchId)
  const on = input.on ?? today
  if (on > today)
    throw new Refusal('fact-in-future', { what: 'A refusal', today }, [
      { pointer: '/on', detail: `lies after today, ${today}` },
    ])
  const row = await tx.refusedOffer.create({
    data: {
      watchId,
      ownerId,
      kind: input.kind,
      refusedOn: dateOf(on),
      ticketId: input.ticketId ?? null,
      source: input.source,
      recordedBy: who.name,
    },
  })
  await lookAgain(act, watchId)
  return { location: `/v1/watches/${watchId}`, body: { id: row.id, watchId, kind: row.kind, on } }
}

/** The owner comes in on a day, or (`on` null) does not come after all. */
export async function makeAppointment(
  act: Act,
  watchId: string,
  input: { on: Day | null; source: Source },
): Promise<Created> {
  const { tx, today, who } = act
  await watchOf(act, watchId)
  if (input.on !== null && input.on < today)
    throw new Refusal('faulty-input', {}, [{ pointer: '/on', detail: `must not lie before today, ${today}` }])
  const row = await tx.appointment.create({
    data: { watchId, onDay: input.on === null ? null : dateOf(input.on), source: input.source, recordedBy: who.name },
  })
  await lookAgain(act, watchId)
  return { location: `/v1/watches/${watchId}`, body: { id: row.id, watchId, on: input.on } }
}

/** "Keep it dry" was said and taken in: the line leaves the letters to this owner. */
export async function acknowledgeKeepDry(act: Act, watchId: string): Promise<Created> {
  const { tx, today, who } = act
  const { ownerId } = await watchOf(act, watchId)
  const row = await tx.keepDryAcknowledged.create({
    data: { watchId, ownerId, acknowledgedOn: dateOf(today), recordedBy: who.name },
  })
  return { location: `/v1/watches/${watchId}`, body: { id: row.id, watchId, on: today } }
}

/** By what right the owner's data is used for letters, and until when; null: by none. */
export async function setLawfulBasis(
  act: Act,
  ownerId: string,
  input: { basis: string | null; keepUntil?: Day | undefined },
): Promise<Created> {
  const { tx, today, who } = act
  const owner = await tx.owner.findUnique({ where: { id: ownerId } })
  if (!owner) throw new Refusal('not-found', { what: 'owner', id: ownerId })
  const row = await tx.lawfulBasis.create({
    data: {
      ownerId,
      basis: input.basis,
      keepUntil: input.keepUntil ? dateOf(input.keepUntil) : null,
      recordedBy: who.name,
    },
  })
  await wakeNotices(tx, [ownerId], today)
  return {
    location: `/v1/owners/${ownerId}`,
    body: { id: row.id, ownerId, basis: row.basis, keepUntil: row.keepUntil ? dayFrom(row.keepUntil) : null },
  }
}

/** Two records that look like one person are two: their letters no longer wait for each other. */
export async function tellApart(act: Act, ownerId: string, otherId: string): Promise<Created> {
  const { tx, today, who } = act
  if (ownerId === otherId)
    throw new Refusal('faulty-input', {}, [{ pointer: '/otherId', detail: 'is the same record' }])
  const known = await tx.owner.findMany({ where: { id: { in: [ownerId, otherId] } }, select: { id: true } })
  for (const id of [ownerId, otherId])
    if (!known.some((owner) => owner.id === id)) throw new Refusal('not-found', { what: 'owner', id })
  const [a, b] = [ownerId, otherId].sort() as [string, string]
  await tx.$executeRaw`
    insert into owners_differ (owner_a, owner_b, recorded_by) values (${a}::uuid, ${b}::uuid, ${who.name}) on conflict do nothing`
  await wakeNotices(tx, [a, b], today)
  return { location: `/v1/owners/${ownerId}`, body: { ownerId: a, otherId: b } }
}

const lookAgain = (act: Act, watchId: string) => wakeWatch(act.tx, watchId, act.today)
