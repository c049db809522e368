import type { Db } from '../../db/open.ts'
import { frequencyOf } from '../../domain/readings/computed.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import type { Created } from '../../http/creating.ts'
import { etagOf } from '../../http/editing.ts'
import type { Act } from '../../http/service.ts'
import { keepBefore } from '../edits.ts'
import { startReReckoning } from '../re-reckonings/re-reckonings.ts'
import { forgetForecasts } from '../reports/demand.ts'

export type CalibreFields = {
  name: string
  energy: 'primary-cell' | 'rechargeable' | 'none' | 'unknown'
  beatsPerHour?: number | null | undefined
  jewels?: number | null | undefined
  diameterMm?: number | null | undefined
  /** in place of `diameterMm` */
  diameterLignes?: number | undefined
  liftAngleDegrees?: number | null | undefined
  powerReserveHours?: number | null | undefined
  frequencyHertz?: number | null | undefined
  inhibitionPeriodSeconds?: number | null | undefined
  motorPulseSeconds?: number | null | undefined
  consumptionMaxMicroamps?: number | null | undefined
  consumptionWithModuleMaxMicroamps?: number | null | undefined
  coilResistanceMinKiloohm?: number | null | undefined
  coilResistanceMaxKiloohm?: number | null | undefined
  workingVoltageMax?: number | null | undefined
  cellDesignation?: string | null | undefined
  cellCount?: number | undefined
  thermocompensated?: boolean | undefined
  endOfLifeSign?: string | null | undefined
}

type Row = Awaited<ReturnType<Db['calibre']['findUniqueOrThrow']>>
const numberOrNull = (value: { toNumber: () => number } | null) => value?.toNumber() ?? null

const shown = (row: Row) => ({
  id: row.id,
  version: row.version,
  name: row.name,
  energy: row.energy,
  beatsPerHour: row.beatsPerHour,
  // derived, exact only where it divides: the integer of A/h is what is kept
  hertz: row.beatsPerHour === null ? null : frequencyOf(row.beatsPerHour),
  jewels: row.jewels,
  diameterMm: numberOrNull(row.diameterMm),
  diameterLignes: row.diameterMm === null ? null : Math.round((row.diameterMm.toNumber() / MM_A_LIGNE) * 100) / 100,
  liftAngleDegrees: numberOrNull(row.liftAngleDegrees),
  powerReserveHours: row.powerReserveHours,
  frequencyHertz: row.frequencyHertz,
  inhibitionPeriodSeconds: row.inhibitionPeriodSeconds,
  motorPulseSeconds: row.motorPulseSeconds,
  consumptionMaxMicroamps: numberOrNull(row.consumptionMaxMicroamps),
  consumptionWithModuleMaxMicroamps: numberOrNull(row.consumptionWithModuleMaxMicroamps),
  coilResistanceMinKiloohm: numberOrNull(row.coilResistanceMinKiloohm),
  coilResistanceMaxKiloohm: numberOrNull(row.coilResistanceMaxKiloohm),
  workingVoltageMax: numberOrNull(row.workingVoltageMax),
  cellDesignation: row.cellDesignation,
  cellCount: row.cellCount,
  thermocompensated: row.thermocompensated,
  endOfLifeSign: row.endOfLifeSign,
})

export async function addCalibres({ tx, who }: Act, calibres: readonly CalibreFields[]): Promise<Row[]> {
  return tx.calibre.createManyAndReturn({
    data: calibres.map((calibre) => ({ ...defined(calibre), createdBy: who.name })) as never,
  })
}

/** The old French line, by which the trade tells the size of a movement (GNU units 2.22). */
const MM_A_LIGNE = 2.255829

/** What was said, in the units it is kept in. */
function defined({ diameterLignes, ...fields }: Partial<CalibreFields>): object {
  if (diameterLignes !== undefined && fields.diameterMm !== undefined)
    throw faulty(['/diameterLignes', 'stands beside diameterMm: give one of the two'])
  const kept =
    diameterLignes === undefined
      ? fields
      : { ...fields, diameterMm: Math.round(diameterLignes * MM_A_LIGNE * 100) / 100 }
  return Object.fromEntries(Object.entries(kept).filter(([, value]) => value !== undefined))
}

/** Within one calibre the least is not more than the most. */
function refuseRange(least: number | null | undefined, most: number | null | undefined): void {
  if (least != null && most != null && least > most)
    throw faulty(['/coilResistanceMaxKiloohm', 'must not lie below coilResistanceMinKiloohm'])
}

export async function addCalibre(act: Act, input: CalibreFields): Promise<Created> {
  refuseRange(input.coilResistanceMinKiloohm, input.coilResistanceMaxKiloohm)
  const [row] = await addCalibres(act, [input])
  if (!row) throw new Error('a calibre was written and not returned')
  return { location: `/v1/calibres/${row.id}`, etag: etagOf(1), body: shown(row) }
}

export async function getCalibre(db: Db, id: string) {
  const row = await db.calibre.findUnique({ where: { id } })
  if (!row) throw new Refusal('not-found', { what: 'calibre', id })
  return shown(row)
}

export async function listCalibres(db: Db, search: string | undefined, after: readonly string[] | null, limit: number) {
  const rows = await db.calibre.findMany({
    where: {
      ...(search && { name: { contains: search, mode: 'insensitive' as const } }),
      ...(after && { name: { gt: String(after[0]) } }),
    },
    orderBy: { name: 'asc' },
    take: limit + 1,
  })
  return rows.map(shown)
}

/** Mends a calibre; where its beat changes, every watch it is in is reckoned again. */
export async function editCalibre(
  act: Act,
  id: string,
  expected: (version: number) => void,
  input: Partial<CalibreFields>,
) {
  const { tx, today } = act
  await tx.$queryRaw`select 1 from calibre where id = ${id}::uuid for update`
  const before = await tx.calibre.findUnique({ where: { id } })
  if (!before) throw new Refusal('not-found', { what: 'calibre', id })
  expected(before.version)
  const whole = { ...shown(before), ...defined(input) } as CalibreFields
  refuseRange(whole.coilResistanceMinKiloohm, whole.coilResistanceMaxKiloohm)
  await keepBefore(act, 'calibre', before)
  const row = await tx.calibre.update({
    where: { id },
    data: { ...defined(input), version: { increment: 1 } },
  })
  if (row.beatsPerHour !== before.beatsPerHour)
    await startReReckoning(act, { calibreId: id }, { of: 'calibre', calibreId: id }, today)
  if (row.cellDesignation !== before.cellDesignation || row.cellCount !== before.cellCount) await forgetForecasts(tx)
  return shown(row)
}
