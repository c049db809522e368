import { type Db, dateOf, dayFrom } from '../../db/open.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { type DateCodeLayout, whyNoTable } from '../../domain/stock/date-codes.ts'
import { hasCheckDigit } from '../../domain/stock/gs1.ts'
import {
  type Chemistry,
  canonicalDesignation,
  type Drain,
  readDesignation,
  sizeOf,
  systems,
  whyNoSubstitute,
} from '../../domain/stock/sizes.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'

type ItemRow = Awaited<ReturnType<Db['stockItem']['findMany']>>[number]
const decimal = (value: { toString(): string } | null) => (value === null ? null : Number(value))

const shownDesignation = (row: ItemRow) => ({
  id: row.id,
  version: row.version,
  name: row.name,
  written: row.written,
  chemistry: row.chemistry as Chemistry,
  volts: decimal(row.volts),
  drain: row.drain as Drain | 'unknown',
  diameterMm: decimal(row.diameterMm),
  heightMm: decimal(row.heightMm),
  capacityMah: decimal(row.capacityMah),
  weightMg: row.weightMg,
  wasteFee: row.wasteFee === null ? null : Number(row.wasteFee),
  ageingMonths: row.ageingMonths,
  shelfLifeMonths: row.shelfLifeMonths,
  leadWeeks: row.leadWeeks,
})

export type NewDesignation = {
  designation: string
  chemistry?: Chemistry | undefined
  volts?: number | undefined
  drain: Drain | 'unknown'
  diameterMm?: number | undefined
  heightMm?: number | undefined
  capacityMah?: number | undefined
  weightMg?: number | undefined
  wasteFee?: number | undefined
  ageingMonths?: number | undefined
  shelfLifeMonths?: number | undefined
  leadWeeks?: number | undefined
}

/** A designation by the open size code; dimensions come from the table of sizes or from the pack, never from the digits. */
export async function addDesignation({ tx, who }: Act, input: NewDesignation): Promise<Created> {
  const name = canonicalDesignation(input.designation)
  const read = readDesignation(input.designation)
  const size = sizeOf(input.designation)
  const system = read ? systems[read.system] : null
  const chemistry = input.chemistry ?? system?.chemistry
  if (!chemistry) throw faulty(['/chemistry', 'is needed: the designation does not begin with a known system letter'])
  if (system && chemistry !== system.chemistry && chemistry !== 'rechargeable') {
    throw faulty(['/chemistry', `does not match the system letter ${read?.system}, which is ${system.chemistry}`])
  }
  if (await tx.stockItem.findFirst({ where: { what: 'cell', name } })) throw new Refusal('item-known', { name })
  const row = await tx.stockItem.create({
    data: {
      what: 'cell',
      name,
      written: input.designation,
      chemistry,
      volts: input.volts ?? system?.volts ?? null,
      drain: input.drain,
      diameterMm: input.diameterMm ?? size?.diameterMm ?? null,
      heightMm: input.heightMm ?? size?.heightMm ?? null,
      capacityMah: input.capacityMah ?? null,
      weightMg: input.weightMg ?? null,
      wasteFee: input.wasteFee ?? null,
      ageingMonths: input.ageingMonths ?? null,
      shelfLifeMonths: input.shelfLifeMonths ?? null,
      leadWeeks: input.leadWeeks ?? null,
      createdBy: who.name,
    },
  })
  return { location: `/v1/designations/${row.id}`, etag: `"v${row.version}"`, body: shownDesignation(row) }
}

async function findDesignation(db: Db, id: string): Promise<ItemRow> {
  const row = await db.stockItem.findUnique({ where: { id } })
  if (row?.what !== 'cell') throw new Refusal('not-found', { what: 'designation', id })
  return row
}

export async function showDesignation(db: Db, id: string) {
  const row = await findDesignation(db, id)
  const substitutes = await db.substitute.findMany({
    where: { itemId: id, withdrawnOn: null },
    orderBy: { place: 'asc' },
  })
  const named = await db.stockItem.findMany({ where: { id: { in: substitutes.map((s) => s.substituteId) } } })
  const numbers = await db.itemNumber.findMany({ where: { itemId: id }, orderBy: { number: 'asc' } })
  return {
    ...shownDesignation(row),
    substitutes: substitutes.map((s) => ({
      id: s.id,
      designationId: s.substituteId,
      name: named.find((one) => one.id === s.substituteId)?.name ?? '',
      place: s.place,
      reason: s.reason,
      approvedBy: s.approvedBy,
      approvedOn: dayFrom(s.approvedOn),
    })),
    itemNumbers: numbers.map((n) => ({ number: n.number, pieces: n.pieces })),
  }
}

export async function listDesignations(db: Db, after: string | null, limit: number) {
  const rows = await db.stockItem.findMany({
    where: { what: 'cell', ...(after && { name: { gt: after } }) },
    orderBy: { name: 'asc' },
    take: limit + 1,
  })
  return rows.map(shownDesignation)
}

export type DesignationChange = Partial<Omit<NewDesignation, 'designation' | 'chemistry'>>

export async function changeDesignation(
  { tx }: Act,
  id: string,
  input: DesignationChange,
  check: (version: number) => void,
) {
  const row = await findDesignation(tx, id)
  check(row.version)
  const given = Object.fromEntries(Object.entries(input).filter(([, value]) => value !== undefined))
  const changed = await tx.stockItem.updateMany({
    where: { id, version: row.version },
    data: { ...given, version: row.version + 1 },
  })
  if (changed.count === 0) throw new Refusal('if-match-failed')
  return shownDesignation(await findDesignation(tx, id))
}

/** A watchmaker lets one designation stand in for another, one way, after those approved before. */
export async function approveSubstitute(
  { tx, who, today }: Act,
  itemId: string,
  input: { designation: string; reason: string },
): Promise<Created> {
  const wanted = await findDesignation(tx, itemId)
  const name = canonicalDesignation(input.designation)
  const offered = await tx.stockItem.findFirst({ where: { what: 'cell', name } })
  if (!offered) throw faulty(['/designation', `is not on file as a designation (${name})`])
  if (offered.id === itemId) throw faulty(['/designation', 'is the designation itself'])
  const sides = [wanted, offered].map((item) => ({
    chemistry: item.chemistry as Chemistry,
    drain: item.drain as Drain | 'unknown',
  }))
  const why = whyNoSubstitute(sides[0]!, sides[1]!)
  if (why) throw new Refusal('substitute-impossible', { why: substituteFaults[why] })
  await tx.$queryRaw`select 1 from stock_item where id = ${itemId}::uuid for no key update`
  const standing = await tx.substitute.findMany({ where: { itemId, withdrawnOn: null }, orderBy: { place: 'desc' } })
  if (standing.some((s) => s.substituteId === offered.id))
    throw new Refusal('item-known', { name: `the substitute ${name}` })
  await tx.substitute.create({
    data: {
      itemId,
      substituteId: offered.id,
      place: (standing[0]?.place ?? 0) + 1,
      reason: input.reason,
      approvedOn: dateOf(today),
      approvedBy: who.name,
    },
  })
  return { location: `/v1/designations/${itemId}`, body: await showDesignation(tx, itemId) }
}

const substituteFaults = {
  'other-chemistry': 'it has another chemistry',
  'other-drain': 'their drain differs, or is known of only one',
  mercury: 'mercury cells are not fitted any more',
}

export async function withdrawSubstitute({ tx, who, today }: Act, itemId: string, substituteId: string) {
  const done = await tx.substitute.updateMany({
    where: { id: substituteId, itemId, withdrawnOn: null },
    data: { withdrawnOn: dateOf(today), withdrawnBy: who.name },
  })
  if (done.count === 0) throw new Refusal('not-found', { what: 'substitute in force', id: substituteId })
  return showDesignation(tx, itemId)
}

/** The number under the bars of a pack, so that a delivery can be scanned. */
export async function addItemNumber(
  { tx, who }: Act,
  itemId: string,
  input: { number: string; pieces: number },
): Promise<Created> {
  await findDesignation(tx, itemId)
  if (input.number.length !== 14 || !hasCheckDigit(input.number)) {
    throw faulty(['/number', 'must be an item number of 14 digits with its check digit'])
  }
  const known = await tx.itemNumber.findUnique({ where: { number: input.number } })
  if (known) throw new Refusal('item-known', { name: `the item number ${input.number}` })
  await tx.itemNumber.create({ data: { ...input, itemId, recordedBy: who.name } })
  return { location: `/v1/designations/${itemId}`, body: await showDesignation(tx, itemId) }
}

export type NewDateCodeTable = { name: string; layout: DateCodeLayout; monthSigns?: string | undefined; source: string }

export async function addDateCodeTable({ tx, who }: Act, input: NewDateCodeTable): Promise<Created> {
  const why = whyNoTable(input)
  if (why) throw faulty(['/monthSigns', why])
  if (await tx.dateCodeTable.findUnique({ where: { name: input.name } }))
    throw new Refusal('item-known', { name: `the table ${input.name}` })
  await tx.dateCodeTable.create({ data: { ...input, monthSigns: input.monthSigns ?? null, recordedBy: who.name } })
  return { location: '/v1/date-code-tables', body: { ...input, monthSigns: input.monthSigns ?? null } }
}

export async function listDateCodeTables(db: Db) {
  const rows = await db.dateCodeTable.findMany({ orderBy: { name: 'asc' } })
  return { items: rows.map(({ name, layout, monthSigns, source }) => ({ name, layout, monthSigns, source })) }
}
