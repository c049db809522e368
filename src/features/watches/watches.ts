import { v7 as uuidv7 } from 'uuid'
import { type Db, dateOf, dayFrom, dayOrNull } from '../../db/open.ts'
import type { Day, PartialDay } from '../../domain/day.ts'
import type { ClaimMark, MovementCondition, WatchKind } from '../../domain/reckoning/facts.ts'
import { Refusal } from '../../domain/refusals.ts'
import { serialKey } from '../../domain/searching.ts'
import type { Created } from '../../http/creating.ts'
import { etagOf } from '../../http/editing.ts'
import type { Act } from '../../http/service.ts'
import { keepBefore } from '../edits.ts'
import { recordFacts, refuseFuture, settleOwner } from '../facts/facts.ts'
import { lookAgain } from '../notices/look-again.ts'
import { obligationsSummary } from '../obligations/obligations.ts'
import { lockWatches, rewriteObligations } from '../obligations/rewrite.ts'
import { withdrawQueued } from '../owners/owners.ts'
import { refuseLesserClaim, refuseOtherWatch } from './claim.ts'
import { waterNow } from './water.ts'

export type WatchFields = {
  maker: string
  model?: string | null | undefined
  reference?: string | null | undefined
  serial?: string | null | undefined
  knownDuplicate?: boolean | undefined
  ownMark?: string | null | undefined
  description?: string | null | undefined
  kind: WatchKind
  display?: string | null | undefined
  waterClaim?: { marked: ClaimMark; bar?: number | undefined } | undefined
  caseMaterial?: string | null | undefined
  diameterMm?: number | null | undefined
  crystal?: 'acrylic' | 'mineral' | 'sapphire' | 'unknown' | undefined
  luminous?: string | undefined
  thicknessMm?: number | null | undefined
  lugWidthMm?: number | null | undefined
  crystalHeld?: 'press-fit' | 'gasket' | 'glued' | 'tension-ring' | 'unknown' | null | undefined
  made?: PartialDay | null | undefined
  sold?: PartialDay | null | undefined
  doNot?: string[] | undefined
}

export type NewWatch = WatchFields & {
  firstSeen?: Day | undefined
  ownerId?: string | undefined
  calibreId?: string | undefined
  movementSerial?: string | undefined
}

const columnsOf = (watch: Partial<WatchFields>) => {
  const { waterClaim, serial, ...plain } = watch
  return {
    ...Object.fromEntries(Object.entries(plain).filter(([, value]) => value !== undefined)),
    ...(serial !== undefined && { serial, searchSerial: serial === null ? null : serialKey(serial) }),
    ...(waterClaim !== undefined && {
      claimMarked: waterClaim.marked,
      claimBar: waterClaim.marked === 'rated' ? (waterClaim.bar ?? null) : null,
    }),
  }
}

/** Writes any number of new watches with their owners and movements; ids in the order given. Obligations are the caller's next step. */
export async function addWatches({ tx, today, who }: Act, watches: readonly NewWatch[]): Promise<string[]> {
  const ids = watches.map(() => uuidv7())
  const idOf = (index: number) => ids[index] ?? ''
  const rows = watches.map((watch, index) => ({
    id: idOf(index),
    maker: watch.maker,
    model: watch.model ?? null,
    reference: watch.reference ?? null,
    serial: watch.serial ?? null,
    search_serial: watch.serial ? serialKey(watch.serial) : null,
    known_duplicate: watch.knownDuplicate ?? false,
    own_mark: watch.ownMark ?? null,
    description: watch.description ?? null,
    kind: watch.kind,
    display: watch.display ?? null,
    claim_marked: watch.waterClaim?.marked ?? 'unknown',
    claim_bar: watch.waterClaim?.marked === 'rated' ? (watch.waterClaim.bar ?? null) : null,
    case_material: watch.caseMaterial ?? null,
    diameter_mm: watch.diameterMm ?? null,
    crystal: watch.crystal ?? 'unknown',
    luminous: watch.luminous ?? 'unknown',
    thickness_mm: watch.thicknessMm ?? null,
    lug_width_mm: watch.lugWidthMm ?? null,
    crystal_held: watch.crystalHeld ?? null,
    made: watch.made ?? null,
    sold: watch.sold ?? null,
    do_not: watch.doNot ?? [],
    first_seen: watch.firstSeen ?? today,
    owner_id: watch.ownerId ?? null,
    calibre_id: watch.calibreId ?? null,
    movement_serial: watch.movementSerial ?? null,
    ownership_id: uuidv7(),
    movement_id: uuidv7(),
  }))
  const written = JSON.stringify(rows)
  await tx.$executeRaw`
    insert into watch (id, maker, model, reference, serial, search_serial, known_duplicate, own_mark, description, kind, display, claim_marked,
      claim_bar, case_material, diameter_mm, thickness_mm, lug_width_mm, crystal, crystal_held, luminous, made, sold, do_not, first_seen, owner_id, owner_known_on, created_by)
    select id, maker, model, reference, serial, search_serial, known_duplicate, own_mark, description, kind, display, claim_marked,
      claim_bar, case_material, diameter_mm, thickness_mm, lug_width_mm, crystal, crystal_held, luminous, made, sold, do_not, first_seen, owner_id, first_seen, ${who.name}
    from jsonb_to_recordset(${written}::jsonb) as r (id uuid, maker text, model text, reference text, serial text, search_serial text,
      known_duplicate boolean, own_mark text, description text, kind text, display text, claim_marked text, claim_bar numeric,
      case_material text, diameter_mm numeric, thickness_mm numeric, lug_width_mm numeric, crystal text, crystal_held text, luminous text, made text, sold text, do_not text[], first_seen date, owner_id uuid)`
  if (rows.some((row) => row.owner_id))
    await tx.$executeRaw`
      insert into ownership (id, watch_id, owner_id, from_day, learned, how, recorded_by)
      select ownership_id, id, owner_id, first_seen, first_seen, 'booked in', ${who.name}
      from jsonb_to_recordset(${written}::jsonb) as r (id uuid, ownership_id uuid, owner_id uuid, first_seen date)
      where owner_id is not null`
  if (rows.some((row) => row.calibre_id))
    await tx.$executeRaw`
      insert into movement (id, watch_id, calibre_id, serial, from_day, learned, recorded_by)
      select movement_id, id, calibre_id, movement_serial, first_seen, first_seen, ${who.name}
      from jsonb_to_recordset(${written}::jsonb) as r (id uuid, movement_id uuid, calibre_id uuid, movement_serial text, first_seen date)
      where calibre_id is not null`
  return ids
}

export async function addWatch(act: Act, input: NewWatch): Promise<Created> {
  refuseFuture('The day it was first seen', input.firstSeen, act.today, '/firstSeen')
  refuseFuture('The making of a watch', input.made, act.today, '/made')
  refuseFuture('The sale of a watch', input.sold, act.today, '/sold')
  const known = input.serial ? await findBySerial(act.tx, input.maker, input.serial) : null
  if (known && !input.knownDuplicate) throw new Refusal('serial-known', { id: known })
  const [id] = await addWatches(act, [input])
  await rewriteObligations(act.tx, [id ?? ''], act.today)
  return { location: `/v1/watches/${id}`, etag: etagOf(1), body: await getWatch(act.tx, id ?? '', act.today) }
}

/** A watch of this maker with this serial, spaces, dashes and O/0, I/1 aside. */
export async function findBySerial(db: Db, maker: string, serial: string): Promise<string | null> {
  const key = serialKey(serial)
  if (key === null) return null
  const row = await db.watch.findFirst({
    where: { searchSerial: key, maker: { equals: maker, mode: 'insensitive' } },
    select: { id: true },
  })
  return row?.id ?? null
}

export async function getWatch(db: Db, id: string, today: Day) {
  const row = await db.watch.findUnique({ where: { id } })
  if (!row) throw new Refusal('not-found', { what: 'watch', id })
  const movements = await db.movement.findMany({ where: { watchId: id }, orderBy: [{ fromDay: 'asc' }, { id: 'asc' }] })
  const hazards = await db.hazard.findMany({ where: { watchId: id }, orderBy: { id: 'asc' } })
  const struck = new Set(
    (await db.strike.findMany({ where: { watchId: id }, select: { factId: true } })).map((strike) => strike.factId),
  )
  const inside = movements.filter((movement) => !struck.has(movement.id)).at(-1)
  return {
    ...shown(row),
    movement: inside
      ? { id: inside.id, calibreId: inside.calibreId, serial: inside.serial, fromDay: dayFrom(inside.fromDay) }
      : null,
    hazards: hazards
      .filter((hazard) => !struck.has(hazard.id))
      .map((hazard) => ({
        id: hazard.id,
        kind: hazard.kind,
        note: hazard.note,
        confirmedBy: hazard.confirmedBy,
        seenOn: dayFrom(hazard.seenOn),
      })),
    waterNow: await waterNow(db, row, struck),
    ...(await obligationsSummary(db, id, today)),
  }
}

type Row = Awaited<ReturnType<Db['watch']['findUniqueOrThrow']>>

const shown = (row: Row) => ({
  id: row.id,
  version: row.version,
  maker: row.maker,
  model: row.model,
  reference: row.reference,
  serial: row.serial,
  knownDuplicate: row.knownDuplicate,
  ownMark: row.ownMark,
  description: row.description,
  kind: row.kind,
  display: row.display,
  waterClaim: { marked: row.claimMarked, bar: row.claimBar?.toNumber() ?? null },
  caseMaterial: row.caseMaterial,
  diameterMm: row.diameterMm?.toNumber() ?? null,
  crystal: row.crystal,
  luminous: row.luminous,
  thicknessMm: row.thicknessMm?.toNumber() ?? null,
  lugWidthMm: row.lugWidthMm?.toNumber() ?? null,
  crystalHeld: row.crystalHeld,
  made: row.made,
  sold: row.sold,
  firstSeen: dayFrom(row.firstSeen),
  state: row.state,
  stateSince: dayOrNull(row.stateSince),
  doNot: row.doNot,
  ownerId: row.ownerId,
  inHouse: row.inHouse,
})

/** Watches by serial (from its beginning, tolerant), by maker and model, or of one owner. */
export async function searchWatches(
  db: Db,
  filter: {
    serial?: string | undefined
    maker?: string | undefined
    model?: string | undefined
    ownerId?: string | undefined
  },
  after: readonly string[] | null,
  limit: number,
) {
  const key = filter.serial === undefined ? undefined : serialKey(filter.serial)
  if (key === null) return []
  const rows = await db.watch.findMany({
    where: {
      ...(key && { searchSerial: { startsWith: key } }),
      ...(filter.maker && { maker: filter.maker }),
      ...(filter.model && { model: filter.model }),
      ...(filter.ownerId && { ownerId: filter.ownerId }),
      ...(after && { id: { gt: String(after[0]) } }),
    },
    orderBy: { id: 'asc' },
    take: limit + 1,
  })
  return rows.map(shown)
}

export type WatchEdit = Partial<WatchFields> & {
  state?: string | undefined
  stateSince?: Day | undefined
  reason?: string | undefined
}

/** Mends a watch's record; its dates are reckoned again. */
export async function editWatch(act: Act, id: string, expected: (version: number) => void, input: WatchEdit) {
  const { tx, today } = act
  const { reason, state, stateSince, ...fields } = input
  refuseFuture('The making of a watch', fields.made, today, '/made')
  refuseFuture('The sale of a watch', fields.sold, today, '/sold')
  refuseFuture('The change of state', stateSince, today, '/stateSince')
  await lockWatches(tx, [id])
  const before = await tx.watch.findUnique({ where: { id } })
  if (!before) throw new Refusal('not-found', { what: 'watch', id })
  expected(before.version)
  if (fields.waterClaim) {
    const marked = { marked: before.claimMarked, bar: before.claimBar?.toNumber() ?? null }
    await refuseLesserClaim(act, id, marked, fields.waterClaim, reason)
  }
  const { luminous = before.luminous, made = before.made, serial = before.serial } = fields
  await refuseOtherWatch(act, id, before, { luminous, made, serial })
  await keepBefore(act, 'watch', before, reason)
  await tx.watch.update({
    where: { id },
    data: {
      ...columnsOf(fields),
      ...(state !== undefined && { state, stateSince: dateOf(stateSince ?? today) }),
      version: { increment: 1 },
    },
  })
  await rewriteObligations(tx, [id], today)
  if (state !== undefined) await wakeWatch(tx, id, today)
  return getWatch(tx, id, today)
}

/** A reason that held letters back may have ended: the next nightly run looks at the watch. */
export async function wakeWatch(tx: Db, watchId: string, today: Day): Promise<void> {
  await lookAgain(tx, today, { watches: [watchId] })
}

/** The watch passes to another owner, or to nobody known. Letters to the former owner that are still queued are withdrawn. */
export async function changeOwner(
  act: Act,
  watchId: string,
  input: { ownerId: string | null; from: Day; how: string },
): Promise<Created> {
  const { tx, today, who } = act
  if (input.from > today)
    throw new Refusal('fact-in-future', { what: 'A change of owner', today }, [
      { pointer: '/from', detail: `lies after today, ${today}` },
    ])
  if (!(await lockWatches(tx, [watchId])).has(watchId)) throw new Refusal('not-found', { what: 'watch', id: watchId })
  const before = await tx.watch.findUniqueOrThrow({ where: { id: watchId } })
  if (input.ownerId) {
    const owner = await tx.owner.findUnique({ where: { id: input.ownerId } })
    if (!owner) throw new Refusal('not-found', { what: 'owner', id: input.ownerId })
    if (owner.mergedInto) throw new Refusal('owner-merged', { into: owner.mergedInto })
    if (owner.erasedOn) throw new Refusal('owner-erased')
  }
  await tx.ownership.create({
    data: {
      watchId,
      ownerId: input.ownerId,
      fromDay: dateOf(input.from),
      learned: dateOf(today),
      how: input.how,
      recordedBy: who.name,
    },
  })
  await settleOwner(act, watchId)
  const after = await tx.watch.findUniqueOrThrow({ where: { id: watchId } })
  if (before.ownerId && before.ownerId !== after.ownerId)
    await withdrawQueued(act, before.ownerId, 'a watch of the letter has another owner')
  await rewriteObligations(tx, [watchId], today)
  await wakeWatch(tx, watchId, today)
  return { location: `/v1/watches/${watchId}`, body: await getWatch(tx, watchId, today) }
}

/** Another movement inside: the calibre's rules from that day on, and the event the reckoning lives on. */
export async function replaceMovement(
  act: Act,
  watchId: string,
  input: {
    calibreId: string
    kind?: WatchKind | undefined
    serial?: string | undefined
    on: Day
    condition: MovementCondition
    source: 'own-record' | 'paper' | 'owner-word'
  },
): Promise<Created> {
  const { tx, today, who } = act
  if (input.on > today)
    throw new Refusal('fact-in-future', { what: 'A replacement', today }, [
      { pointer: '/on', detail: `lies after today, ${today}` },
    ])
  if (!(await lockWatches(tx, [watchId])).has(watchId)) throw new Refusal('not-found', { what: 'watch', id: watchId })
  await tx.movement.create({
    data: {
      watchId,
      calibreId: input.calibreId,
      kind: input.kind ?? null,
      serial: input.serial ?? null,
      fromDay: dateOf(input.on),
      learned: dateOf(today),
      recordedBy: who.name,
    },
  })
  if (input.kind) {
    const before = await tx.watch.findUniqueOrThrow({ where: { id: watchId } })
    await keepBefore(act, 'watch', before, 'movement replaced')
    await tx.watch.update({ where: { id: watchId }, data: { kind: input.kind, version: { increment: 1 } } })
  }
  await recordFacts(act, {
    events: [
      {
        watchId,
        event: 'movement-fitted',
        on: input.on as unknown as PartialDay,
        source: input.source,
        condition: input.condition,
      },
    ],
  })
  return { location: `/v1/watches/${watchId}`, body: await getWatch(tx, watchId, today) }
}

export async function recordHazard(
  act: Act,
  watchId: string,
  input: { kind: string; note?: string | undefined; confirmedBy?: string | undefined },
): Promise<Created> {
  const { tx, today, who } = act
  if (!(await lockWatches(tx, [watchId])).has(watchId)) throw new Refusal('not-found', { what: 'watch', id: watchId })
  await tx.hazard.create({
    data: {
      watchId,
      kind: input.kind,
      note: input.note ?? null,
      confirmedBy: input.confirmedBy ?? null,
      seenOn: dateOf(today),
      recordedBy: who.name,
    },
  })
  return { location: `/v1/watches/${watchId}`, body: await getWatch(tx, watchId, today) }
}

/** Every fact of a watch in the order it was recorded, struck ones with what struck them. */
export async function historyOf(db: Db, watchId: string) {
  const [events, wear, notes, ownerships, strikes] = await Promise.all([
    db.watchEvent.findMany({ where: { watchId }, orderBy: { id: 'asc' } }),
    db.wearStatement.findMany({ where: { watchId }, orderBy: { id: 'asc' } }),
    db.watchmakerNote.findMany({ where: { watchId }, orderBy: { id: 'asc' } }),
    db.ownership.findMany({ where: { watchId }, orderBy: { id: 'asc' } }),
    db.strike.findMany({ where: { watchId } }),
  ])
  const struckBy = new Map(
    strikes.map((strike) => [
      strike.factId,
      { reason: strike.reason, by: strike.recordedBy, on: dayFrom(strike.learned), replacedBy: strike.replacedBy },
    ]),
  )
  const signed = (row: { id: string; recordedAt: Date; recordedBy: string }) => ({
    id: row.id,
    recordedAt: row.recordedAt.toISOString(),
    recordedBy: row.recordedBy,
    struck: struckBy.get(row.id) ?? null,
  })
  return {
    events: events.map((row) => ({
      ...signed(row),
      event: row.event,
      on: row.happened,
      source: row.source,
      learned: dayFrom(row.learned),
      condition: row.condition,
      passed: row.passed,
      bar: row.bar?.toNumber() ?? null,
      sign: row.sign,
      bestBefore: row.bestBefore,
      capacityMah: row.capacityMah?.toNumber() ?? null,
      consumptionMicroamps: row.consumptionMicroamps?.toNumber() ?? null,
      note: row.note,
    })),
    wear: wear.map((row) => ({
      ...signed(row),
      ownerId: row.ownerId,
      daily: row.daily,
      vibration: row.vibration,
      heat: row.heat,
      cold: row.cold,
      water: row.water,
      salt: row.salt,
      chlorine: row.chlorine,
      hotWater: row.hotWater,
      magnets: row.magnets,
      learned: dayFrom(row.learned),
      source: row.source,
    })),
    notes: notes.map((row) => ({
      ...signed(row),
      obligation: row.obligation,
      months: row.months,
      on: dayFrom(row.notedOn),
      reason: row.reason,
    })),
    ownerships: ownerships.map((row) => ({
      ...signed(row),
      ownerId: row.ownerId,
      from: dayFrom(row.fromDay),
      learned: dayFrom(row.learned),
      how: row.how,
    })),
  }
}
