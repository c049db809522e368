import { type Db, dateOf, dayFrom, dayOrNull } from '../../db/open.ts'
import type { Money } from '../../domain/money.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { type Chemistry, wasteBoxOf } from '../../domain/stock/sizes.ts'
import type { WasteBox } from '../../generated/prisma/client.ts'
import type { Created } from '../../http/creating.ts'
import { etagOf } from '../../http/editing.ts'
import type { Act } from '../../http/service.ts'
import { refuseMoreThanThere, writeEntry } from '../stock-entries/entries.ts'
import { refuseCurrency } from '../stock-entries/keeping.ts'
import { lockLot } from '../stock-entries/lots.ts'

export type BoxContents = ReturnType<typeof wasteBoxOf>

export async function openBox(
  { tx, today, who }: Act,
  input: { contents: BoxContents; label: string },
): Promise<Created> {
  const open = await tx.wasteBox.findFirst({ where: { contents: input.contents, collectedOn: null } })
  if (open) throw new Refusal('waste-box-open', { contents: input.contents, label: open.label })
  if (await tx.wasteBox.findFirst({ where: { label: input.label } }))
    throw new Refusal('item-known', { name: `the label ${input.label}` })
  const box = await tx.wasteBox.create({ data: { ...input, openedOn: dateOf(today), openedBy: who.name } })
  return { location: `/v1/waste-boxes/${box.id}`, etag: etagOf(box.version), body: await showBox(tx, box.id) }
}

type Into = {
  came: 'written-off' | 'spent' | 'damaged'
  chemistry: Chemistry
  pieces: number
  weightMg: number
  polesInsulated?: boolean | undefined
  entryId?: string
}

/** Pieces into the open box of their kind. Lithium only with insulated poles; where no box is open, somebody must open one. */
async function putIn({ tx, today, who }: Act, into: Into): Promise<string> {
  const contents = wasteBoxOf(into.chemistry)
  const [box] = await tx.$queryRaw<{ id: string }[]>`
    select id from waste_box where contents = ${contents} and collected_on is null for no key update`
  if (!box) throw new Refusal('waste-box-missing', { contents })
  if (into.chemistry.startsWith('lithium') && into.polesInsulated !== true) {
    throw faulty(['/polesInsulated', 'must be true: lithium cells go into the box with insulated poles'])
  }
  await tx.wasteItem.create({
    data: {
      boxId: box.id,
      cameFrom: into.came,
      chemistry: into.chemistry,
      pieces: into.pieces,
      weightMg: into.weightMg,
      putInOn: dateOf(today),
      poles: into.polesInsulated ?? false,
      entryId: into.entryId ?? null,
      recordedBy: who.name,
    },
  })
  return box.id
}

export type SpentCells = {
  chemistry: Chemistry
  pieces: number
  weightMg: number
  polesInsulated?: boolean | undefined
}

/** Spent cells from watches, or brought by people: by weight, by chemistry. */
export async function putSpentIn(act: Act, input: SpentCells): Promise<Created> {
  const boxId = await putIn(act, { came: 'spent', ...input })
  return { location: `/v1/waste-boxes/${boxId}`, body: await showBox(act.tx, boxId) }
}

export type WriteOff = {
  pieces: number
  reason: string
  weightMg?: number | undefined
  polesInsulated?: boolean | undefined
}

/** Out of the drawer by a person's signature: the entry, its cost, and the weight in the box of its kind, the same day. */
export async function writeOffCells(act: Act, lotId: string, input: WriteOff): Promise<Created> {
  const lot = await lockLot(act.tx, lotId, 'cell')
  if (lot.blocked === 'recall') throw new Refusal('blocked-by-recall')
  refuseMoreThanThere(lot, 'written-off', input.pieces)
  const weightMg = input.weightMg ?? (lot.weightMg === null ? undefined : lot.weightMg * input.pieces)
  if (weightMg === undefined) throw faulty(['/weightMg', 'is needed: the designation has no weight a piece'])
  const { pieces, reason, polesInsulated } = input
  const entryId = await writeEntry(act, { lotId, kind: 'written-off', pieces, on: act.today, reason })
  const boxId = await putIn(act, {
    came: 'written-off',
    chemistry: lot.chemistry as Chemistry,
    pieces,
    weightMg,
    polesInsulated,
    entryId,
  })
  return {
    location: `/v1/stock-entries/${entryId}`,
    body: {
      entryId,
      boxId,
      pieces,
      cost: { amount: pieces * lot.unitCost, currency: lot.currency },
      weightMg,
      slip: 'to follow' as const,
    },
  }
}

/** Gaskets and other parts leave the drawer without a box of their own. */
export async function writeOffOthers(
  act: Act,
  what: 'gasket' | 'part',
  lotId: string,
  input: { pieces: number; reason: string },
): Promise<Created> {
  const lot = await lockLot(act.tx, lotId, what)
  if (lot.blocked === 'recall') throw new Refusal('blocked-by-recall')
  refuseMoreThanThere(lot, 'written-off', input.pieces)
  const entryId = await writeEntry(act, {
    lotId,
    kind: 'written-off',
    pieces: input.pieces,
    on: act.today,
    reason: input.reason,
  })
  return {
    location: `/v1/stock-entries/${entryId}`,
    body: { entryId, pieces: input.pieces, cost: { amount: input.pieces * lot.unitCost, currency: lot.currency } },
  }
}

export async function showBox(db: Db, id: string) {
  const box = await db.wasteBox.findUnique({ where: { id } })
  if (!box) throw new Refusal('not-found', { what: 'waste box', id })
  return shownBox(box, (await contentOf(db, [id])).get(id))
}

type Sum = { id: string; pieces: number; weightMg: number }

async function contentOf(db: Db, ids: readonly string[]): Promise<Map<string, Sum>> {
  const sums = await db.$queryRaw<Sum[]>`
    select box_id as id, sum(pieces)::int as pieces, coalesce(sum(weight_mg), 0)::float8 as "weightMg" from waste_item
    where box_id = any(${ids}::uuid[]) group by box_id`
  return new Map(sums.map((sum) => [sum.id, sum]))
}

function shownBox(box: WasteBox, sum: Sum | undefined) {
  return {
    id: box.id,
    version: box.version,
    contents: box.contents as BoxContents,
    label: box.label,
    openedOn: dayFrom(box.openedOn),
    openedBy: box.openedBy,
    pieces: sum?.pieces ?? 0,
    weightMg: sum?.weightMg ?? 0,
    collectedOn: dayOrNull(box.collectedOn),
    collector: box.collector,
    licence: box.licence,
    slipNumber: box.slipNumber,
    credit: box.credit === null ? null : { amount: Number(box.credit), currency: box.currency as string },
    caution:
      box.contents === 'mercury'
        ? 'Keep sealed and apart from every other box. Hand only to a collector licensed for mercury; the law of the place governs.'
        : 'Keep sealed, dry and away from metal. Hand only to a licensed collector; the law of the place governs.',
  }
}

export async function listBoxes(db: Db, after: string | null, limit: number) {
  const rows = await db.wasteBox.findMany({
    where: after ? { id: { gt: after } } : {},
    orderBy: { id: 'asc' },
    take: limit + 1,
  })
  const sums = await contentOf(
    db,
    rows.map((row) => row.id),
  )
  return rows.map((row) => shownBox(row, sums.get(row.id)))
}

export type Collection = { collector: string; licence: string; slipNumber: string; credit?: Money | undefined }

/** Handed to the licensed collector: his slip closes the box. */
export async function collectBox(act: Act, id: string, input: Collection, currency: string): Promise<Created> {
  const { tx, today, who } = act
  if (input.credit) refuseCurrency(input.credit, currency, '/credit')
  const [box] = await tx.$queryRaw<{ collected: boolean }[]>`
    select collected_on is not null as collected from waste_box where id = ${id}::uuid for no key update`
  if (!box) throw new Refusal('not-found', { what: 'waste box', id })
  if (box.collected) throw new Refusal('waste-box-collected')
  await tx.wasteBox.update({
    where: { id },
    data: {
      version: { increment: 1 },
      collectedOn: dateOf(today),
      collectedBy: who.name,
      collector: input.collector,
      licence: input.licence,
      slipNumber: input.slipNumber,
      credit: input.credit?.amount ?? null,
      currency: input.credit?.currency ?? null,
    },
  })
  return { location: `/v1/waste-boxes/${id}`, body: await showBox(tx, id) }
}
