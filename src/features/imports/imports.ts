import { v7 as uuidv7 } from 'uuid'
import { type Day, numberOfDay, type PartialDay, spanOf } from '../../domain/day.ts'
import type { HistoryEvent, Source, WearFacts } from '../../domain/reckoning/facts.ts'
import { Refusal } from '../../domain/refusals.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { recordFacts } from '../facts/facts.ts'
import { rewriteObligations } from '../obligations/rewrite.ts'
import { addOwners, type NewOwner } from '../owners/owners.ts'
import { addWatches, type NewWatch } from '../watches/watches.ts'

/**
 * Loads a book that was kept elsewhere. Owners and watches carry names of the sender's choosing, by which the rows of one
 * request refer to each other. All of a request is written or nothing.
 */
export type ImportedWatch = Omit<NewWatch, 'ownerId' | 'calibreId'> & {
  ref: string
  owner?: string | undefined
  calibre?: string | undefined
  state?: string | undefined
  stateSince?: Day | undefined
  ownerships?: { owner: string | null; from: Day; learned?: Day | undefined; how: string }[] | undefined
  events?: (HistoryEvent & { note?: string | undefined })[] | undefined
  wear?: (Omit<WearFacts, 'learned'> & { learned?: Day | undefined; source: Source })[] | undefined
  notes?:
    | {
        obligation: 'complete-service' | 'water-check' | 'cell-change' | 'seals'
        months: number
        on: Day
        reason: string
      }[]
    | undefined
  hazards?: { kind: string; note?: string | undefined; confirmedBy?: string | undefined; seenOn: Day }[] | undefined
}
export type ImportedOwner = NewOwner & { ref: string; deceased?: { on: Day; toldBy: string } | undefined }
export type Book = { owners: ImportedOwner[]; watches: ImportedWatch[] }

type Warning = { pointer: string; detail: string }

export async function importBook(act: Act, book: Book, country: string): Promise<Created> {
  const { tx, today, who } = act
  const faults = new Map<string, string>()
  const fault = (pointer: string, detail: string) => faults.set(pointer, detail)

  const ownerIds = new Map<string, string>()
  const ids = await addOwners(act, book.owners, country, (index) => `/owners/${index}`)
  for (const [index, owner] of book.owners.entries()) {
    if (ownerIds.has(owner.ref)) fault(`/owners/${index}/ref`, 'stands twice in this request')
    ownerIds.set(owner.ref, ids[index] ?? '')
  }
  const calibreNames = [...new Set(book.watches.flatMap((watch) => watch.calibre ?? []))]
  const calibres = new Map(
    (await tx.calibre.findMany({ where: { name: { in: calibreNames } }, select: { id: true, name: true } })).map(
      (row) => [row.name, row.id],
    ),
  )

  const refs = new Set<string>()
  const ownerOf = (ref: string | null | undefined, pointer: string) => {
    if (ref == null) return undefined
    if (!ownerIds.has(ref)) fault(pointer, 'is not the ref of an owner in this request')
    return ownerIds.get(ref)
  }
  const watches = book.watches.map((watch, index): NewWatch => {
    if (refs.has(watch.ref)) fault(`/watches/${index}/ref`, 'stands twice in this request')
    refs.add(watch.ref)
    if (watch.calibre && !calibres.has(watch.calibre))
      fault(`/watches/${index}/calibre`, 'is not the name of a calibre on file')
    if (watch.firstSeen && watch.firstSeen > today) fault(`/watches/${index}/firstSeen`, `lies after today, ${today}`)
    for (const [at, owned] of (watch.ownerships ?? []).entries()) {
      ownerOf(owned.owner, `/watches/${index}/ownerships/${at}/owner`)
      if (owned.from > today) fault(`/watches/${index}/ownerships/${at}/from`, `lies after today, ${today}`)
    }
    const {
      ref: _r,
      owner,
      calibre,
      state: _s,
      stateSince: _d,
      ownerships: _o,
      events: _e,
      wear: _w,
      notes: _n,
      hazards: _h,
      ...fields
    } = watch
    return {
      ...fields,
      ownerId: ownerOf(owner, `/watches/${index}/owner`),
      calibreId: calibre ? calibres.get(calibre) : undefined,
    }
  })
  if (faults.size > 0)
    throw new Refusal(
      'faulty-input',
      {},
      [...faults].map(([pointer, detail]) => ({ pointer, detail })),
    )

  const deceased = book.owners.flatMap((owner) =>
    owner.deceased
      ? [{ id: ownerIds.get(owner.ref), deceased_on: owner.deceased.on, told_by: owner.deceased.toldBy }]
      : [],
  )
  if (deceased.length > 0)
    await tx.$executeRaw`
      update owner set deceased_on = r.deceased_on, deceased_told_by = r.told_by
      from jsonb_to_recordset(${JSON.stringify(deceased)}::jsonb) as r (id uuid, deceased_on date, told_by text)
      where owner.id = r.id`
  const watchIds = await addWatches(act, watches)
  const idOf = (index: number) => watchIds[index] ?? ''
  await addPassingsOn(act, book, ownerIds, idOf)
  const states = book.watches.flatMap((watch, index) =>
    watch.state ? [{ id: idOf(index), state: watch.state, since: watch.stateSince ?? today }] : [],
  )
  if (states.length > 0)
    await tx.$executeRaw`
      update watch set state = r.state, state_since = r.since
      from jsonb_to_recordset(${JSON.stringify(states)}::jsonb) as r (id uuid, state text, since date)
      where watch.id = r.id`
  const hazards = book.watches.flatMap((watch, index) =>
    (watch.hazards ?? []).map((hazard) => ({
      id: uuidv7(),
      watch_id: idOf(index),
      kind: hazard.kind,
      note: hazard.note ?? null,
      confirmed_by: hazard.confirmedBy ?? null,
      seen_on: hazard.seenOn,
    })),
  )
  if (hazards.length > 0)
    await tx.$executeRaw`
      insert into hazard (id, watch_id, kind, note, confirmed_by, seen_on, recorded_by)
      select id, watch_id, kind, note, confirmed_by, seen_on, ${who.name}
      from jsonb_to_recordset(${JSON.stringify(hazards)}::jsonb) as r (id uuid, watch_id uuid, kind text, note text, confirmed_by text, seen_on date)`
  await recordFacts(act, {
    events: book.watches.flatMap((watch, index) =>
      (watch.events ?? []).map((event) => ({ ...event, watchId: idOf(index) })),
    ),
    wear: book.watches.flatMap((watch, index) => (watch.wear ?? []).map((wear) => ({ ...wear, watchId: idOf(index) }))),
    notes: book.watches.flatMap((watch, index) =>
      (watch.notes ?? []).map((note) => ({ ...note, watchId: idOf(index) })),
    ),
  })
  // watches of which nothing is known have no fact that would have reckoned them
  const bare = book.watches.flatMap((watch, index) =>
    (watch.events?.length ?? 0) + (watch.wear?.length ?? 0) + (watch.notes?.length ?? 0) === 0 ? [idOf(index)] : [],
  )
  if (bare.length > 0) await rewriteObligations(tx, bare, today)

  return {
    body: {
      owners: book.owners.map((owner) => ({ ref: owner.ref, id: ownerIds.get(owner.ref) ?? '' })),
      watches: book.watches.map((watch, index) => ({ ref: watch.ref, id: idOf(index) })),
      warnings: setAside(book, today),
    },
  }
}

/** Owners a watch had one after another; the last of them is the present one. */
async function addPassingsOn(
  { tx, who, today }: Act,
  book: Book,
  ownerIds: Map<string, string>,
  idOf: (index: number) => string,
): Promise<void> {
  const rows = book.watches.flatMap((watch, index) =>
    (watch.ownerships ?? []).map((owned) => ({
      id: uuidv7(),
      watch_id: idOf(index),
      owner_id: owned.owner === null ? null : (ownerIds.get(owned.owner) ?? null),
      from_day: owned.from,
      learned: owned.learned ?? today,
      how: owned.how,
    })),
  )
  if (rows.length === 0) return
  await tx.$executeRaw`
    insert into ownership (id, watch_id, owner_id, from_day, learned, how, recorded_by)
    select id, watch_id, owner_id, from_day, learned, how, ${who.name}
    from jsonb_to_recordset(${JSON.stringify(rows)}::jsonb) as r (id uuid, watch_id uuid, owner_id uuid, from_day date, learned date, how text)`
  await tx.$executeRaw`
    update watch set owner_id = present.owner_id, owner_known_on = present.learned
    from (
      select distinct on (watch_id) watch_id, owner_id, learned from ownership
      where watch_id = any(${[...new Set(rows.map((row) => row.watch_id))]}::uuid[])
      order by watch_id, from_day desc, id desc) present
    where watch.id = present.watch_id`
}

/** Rows that were taken and will not count: dated in the future, or done before the watch was made. */
function setAside(book: Book, today: Day): Warning[] {
  const now = numberOfDay(today)
  const warnings: Warning[] = []
  const future = (pointer: string, day: PartialDay | null | undefined) => {
    if (day && spanOf(day).first > now)
      warnings.push({ pointer, detail: 'lies in the future: on file, set aside until that day' })
  }
  for (const [index, watch] of book.watches.entries()) {
    future(`/watches/${index}/made`, watch.made)
    future(`/watches/${index}/sold`, watch.sold)
    const made = watch.made && spanOf(watch.made).first <= now ? spanOf(watch.made).first : null
    for (const [at, event] of (watch.events ?? []).entries()) {
      future(`/watches/${index}/events/${at}/on`, event.on)
      if (made !== null && spanOf(event.on).last < made)
        warnings.push({
          pointer: `/watches/${index}/events/${at}/on`,
          detail: 'lies before the watch was made: on file, set aside',
        })
    }
  }
  return warnings
}
